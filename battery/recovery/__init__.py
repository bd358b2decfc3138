"""Does scoring find what participants are made of: ``python -m battery.recovery FILE``.

Every person plays every task on every pointer several times; the scores are set beside the
truth. The page names bias and spread, and marks what lies outside the limits promised.
"""

from __future__ import annotations

from battery.recovery.document import page
from battery.recovery.finding import Found, find, play, recover
from battery.recovery.people import PEOPLE
from battery.recovery.quantities import QUANTITIES, Quantity

__all__ = ["PEOPLE", "QUANTITIES", "Found", "Quantity", "find", "page", "play", "recover"]
