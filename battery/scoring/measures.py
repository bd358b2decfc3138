"""The measures: each defined once. Scores, dictionary, page and docs take them from here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Direction = Literal["lower", "higher", "toward_one", "none"]


@dataclass(frozen=True, slots=True)
class Measure:
    """What a measure is.

    Parameters
    ----------
    name : str
        ``task.what_unit``.
    title : str
        As a therapist reads it.
    meaning : str
        One sentence: what is computed from what.
    unit : str
        UCUM-like; ``1`` for a ratio.
    direction : {"lower", "higher", "toward_one", "none"}
        Which way is better.
    primary : bool
        One a task, named in advance; only this one gets a verdict.
    log_scale : bool
        Whether visits are compared on the log scale.
    source : str
        Where the definition comes from.
    limits : str
        What it cannot tell.
    """

    name: str
    title: str
    meaning: str
    unit: str
    direction: Direction
    source: str
    primary: bool = False
    log_scale: bool = True
    limits: str = ""

    @property
    def task(self) -> str:
        """The task it belongs to."""
        return self.name.split(".")[0]


_ERRORS = "Hancock, Butler & Fischman 1995, J Mot Behav 27:241-250"
_DEVICE = "Holds for one device only: the digitiser and its drivers are part of it."
_OWN = "definition of this project"

_ALL = (
    Measure(
        "tapping.radial_error_mm",
        "End-point error",
        "Mean distance of the first contact after lift-off from the centre of the target.",
        "mm",
        "lower",
        _ERRORS,
        primary=True,
        limits="Touch panels add an offset of some mm; only change on one device has meaning.",
    ),
    Measure(
        "tapping.variable_error_mm",
        "Scatter of end points",
        "Root mean square distance of the end points from their own mean (population form).",
        "mm",
        "lower",
        _ERRORS,
    ),
    Measure(
        "tapping.hit_rate",
        "Targets hit",
        "Share of answered trials whose first contact lay inside the target.",
        "1",
        "higher",
        "interval: Wilson 1927, J Am Stat Assoc 22:209-212",
        log_scale=False,
        limits="Blunt near all or none; the end-point error says more.",
    ),
    Measure(
        "tapping.movement_time_s",
        "Movement time",
        "Median time from lift-off to the first contact, hits and misses alike.",
        "s",
        "lower",
        "common practice, no source",
        limits="Faster means better only if the end-point error has not grown.",
    ),
    Measure(
        "tapping.reaction_time_s",
        "Reaction time",
        "Median time from the go cue on the screen to lift-off; below 0.1 s and above 5 s "
        "left out.",
        "s",
        "lower",
        "common practice, no source",
        limits="Contains the jump of the eyes and the unknown delay of the device.",
    ),
    Measure(
        "pursuit.tracking_rmse_mm",
        "Tracking error",
        "Root mean square distance of the finger from the chip as shown, while in contact.",
        "mm",
        "lower",
        "root mean square; common practice, no source",
        primary=True,
        limits="Mixes lag and jitter.",
    ),
    Measure(
        "pursuit.delay_s",
        "Tracking delay",
        "Slope of the phase of finger against chip over frequency, least squares at the "
        "frequencies of the movement; of the unpredictable part where there is one.",
        "s",
        "lower",
        "linear systems identification; common practice, no source",
        log_scale=False,
        limits="People predict a single sine, so that its delay may be 0 or below.",
    ),
    Measure(
        "pursuit.gain",
        "Tracking gain",
        "Size of the finger's movement over the chip's at the same frequencies, weighted by "
        "the chip's power.",
        "1",
        "toward_one",
        "linear systems identification; common practice, no source",
        log_scale=False,
    ),
    Measure(
        "pursuit.jitter_across_mm",
        "Jitter across the path",
        "Root mean square displacement across the path in 3-12 Hz, from the position spectrum.",
        "mm",
        "lower",
        "Welch 1967, IEEE Trans Audio Electroacoust 15:70-73",
        limits=_DEVICE,
    ),
    Measure(
        "pursuit.contact_loss",
        "Time off the glass",
        "Share of the scored time without contact.",
        "1",
        "lower",
        _OWN,
        log_scale=False,
    ),
    Measure(
        "slide.jitter_across_mm",
        "Jitter across the track",
        "Root mean square displacement across the track in 3-12 Hz while the chip is dragged.",
        "mm",
        "lower",
        "Welch 1967, IEEE Trans Audio Electroacoust 15:70-73",
        primary=True,
        limits=_DEVICE,
    ),
    Measure(
        "slide.extent_mm",
        "Extent",
        "Median of how far out the chip was taken.",
        "mm",
        "higher",
        _OWN,
        limits="Ends at the end of the track; not a range of motion.",
    ),
    Measure(
        "slide.mean_speed_mm_s",
        "Speed",
        "Median over passes of the path along the track divided by its time.",
        "mm/s",
        "none",
        _OWN,
    ),
    Measure(
        "slide.sparc",
        "Smoothness (SPARC)",
        "Spectral arc length of the speed of each movement out and back; median.",
        "1",
        "higher",
        "Balasubramanian et al. 2015, J NeuroEng Rehabil 12:112",
        log_scale=False,
        limits="Tremor lowers it as well as halting.",
    ),
    Measure(
        "trail.time_per_link_s",
        "Time per link",
        "Completion time of the finished trails divided by their links.",
        "s",
        "lower",
        _OWN,
        primary=True,
    ),
    Measure(
        "trail.completion_time_s",
        "Completion time",
        "Sum over the trails from leaving the first node to capturing the last; the clock "
        "runs through errors.",
        "s",
        "lower",
        _OWN,
        limits="Missing, not the limit, when a trail was not finished. Not comparable to any "
        "test on paper.",
    ),
    Measure(
        "trail.search_time_s",
        "Search time",
        "Part of the completion time before the chip moves, in pauses and away from the next "
        "node.",
        "s",
        "lower",
        _OWN,
        limits="Planning during movement is not seen.",
    ),
    Measure(
        "trail.travel_time_s",
        "Travel time",
        "The rest of the completion time.",
        "s",
        "lower",
        _OWN,
    ),
    Measure(
        "trail.n_errors",
        "Errors",
        "Wrong nodes captured.",
        "1",
        "lower",
        _OWN,
        log_scale=False,
    ),
)

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
