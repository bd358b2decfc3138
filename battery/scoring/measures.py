"""The measures: each defined once. Scores, dictionary, page and docs take them from here."""

from __future__ import annotations

from collections.abc import Mapping

from battery.scoring.definitions.pursuit import PURSUIT
from battery.scoring.definitions.slide import SLIDE
from battery.scoring.definitions.tapping import TAPPING
from battery.scoring.definitions.trail import TRAIL
from battery.scoring.measure import Direction, Measure

__all__ = ["MEASURES", "PARTNER", "PRIMARY", "Direction", "Measure", "measures_of"]

_ALL = (*TAPPING, *SLIDE, *PURSUIT, *TRAIL)

MEASURES: Mapping[str, Measure] = {measure.name: measure for measure in _ALL}
PRIMARY: Mapping[str, Measure] = {m.task: m for m in _ALL if m.primary}
# Accuracy is never shown without its speed, nor the other way round.
PARTNER: Mapping[str, str] = {
    "tapping": "tapping.movement_time_s",
    "pursuit": "pursuit.delay_s",
    "slide": "slide.mean_speed_mm_s",
    "trail": "trail.n_errors",
}


def measures_of(task: str) -> tuple[Measure, ...]:
    """List the measures of a task in their order."""
    return tuple(m for m in _ALL if m.task == task)
