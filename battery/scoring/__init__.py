"""Arrays in, scores out. Deterministic: the same raw record gives the same bits.

What needs only the names of measures, or the form of a score, loads without the libraries
that computing takes.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from battery.scoring.blocks import score_block
    from battery.scoring.measures import MEASURES, PARTNER, PRIMARY, Measure, measures_of
    from battery.scoring.score import SCORING_VERSION, Score
    from battery.scoring.trials import trial_rows

__all__ = [
    "MEASURES",
    "PARTNER",
    "PRIMARY",
    "SCORING_VERSION",
    "Measure",
    "Score",
    "measures_of",
    "score_block",
    "trial_rows",
]

_HOME = {
    "MEASURES": "measures",
    "PARTNER": "measures",
    "PRIMARY": "measures",
    "Measure": "measures",
    "measures_of": "measures",
    "SCORING_VERSION": "score",
    "Score": "score",
    "score_block": "blocks",
    "trial_rows": "trials",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        msg = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(msg)
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
