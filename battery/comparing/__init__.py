"""What scoring again changed: value by value with its reason, in numbers that can be added up.

A block's scores depend on its record and the scoring version alone. So it does not matter who
compares which blocks, or in which order: what several found is added up, and told once.
"""

from battery.comparing.outcome import Rescored
from battery.comparing.score_pairs import Held

__all__ = ["Held", "Rescored"]
