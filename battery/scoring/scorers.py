"""What scores a task: one record a task, in the only list of them.

A task without a scorer is refused by name; nothing is scored by the rules of another task.
Names, limits and flags load without the libraries that computing takes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from battery.errors import ScoringError
from battery.scoring.definitions.pursuit import PURSUIT
from battery.scoring.definitions.slide import SLIDE
from battery.scoring.definitions.tapping import TAPPING
from battery.scoring.definitions.trail import TRAIL
from battery.scoring.measure import Measure

if TYPE_CHECKING:
    from battery.recording import Block
    from battery.scoring.score import Score
    from battery.scoring.stats.resampling import Bootstrap

Row = dict[str, Any]


class Computing(NamedTuple):
    """What computes of a block; the stamps of its samples are known to be in order.

    Parameters
    ----------
    score : callable
        Given a finished test block, the source of draws for intervals and the size of a pixel
        in mm: every measure of the task, in any order.
    trials : callable
        One row a trial, for the export. A value that cannot be had is None or nan.
    tries : callable
        Of each try of a practice, whether it shows that the task was understood.
    """

    score: Callable[[Block, Bootstrap, float], Sequence[Score]]
    trials: Callable[[Block], list[Row]]
    tries: Callable[[Block], list[bool]]


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskScorer:
    """How a task is scored.

    Parameters
    ----------
    task : str
        Its name in `tasks.registry`.
    measures : tuple of Measure
        In the order in which they are shown; exactly one is primary.
    partner : str
        The measure that is shown beside the primary: accuracy is never shown without its speed,
        nor the other way round.
    min_trials : int
        A primary that stands on fewer trials, windows or links is not compared.
    min_trials_usual : int
        One that stands on fewer is compared with care.
    flag_measures : tuple of str
        Measures, beside the primary, that flags stand on.
    load : callable
        Returns what computes, with all the libraries that it needs.

    Attributes
    ----------
    primary : Measure
        The measure that gets a verdict.
    """

    task: str
    measures: tuple[Measure, ...]
    partner: str
    min_trials: int
    min_trials_usual: int
    flag_measures: tuple[str, ...]
    load: Callable[[], Computing]
    primary: Measure = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        names = [measure.name for measure in self.measures]
        strange = [n for n in names if n.split(".")[0] != self.task]
        lost = sorted({self.partner, *self.flag_measures} - set(names))
        n_primary = sum(measure.primary for measure in self.measures)
        if strange or lost or n_primary != 1 or len(set(names)) != len(names):
            msg = (
                f"scorer of {self.task!r}: {strange=} {lost=} {n_primary=}, "
                f"{len(names)} measures with {len(set(names))} names"
            )
            raise ValueError(msg)
        primary = next(measure for measure in self.measures if measure.primary)
        object.__setattr__(self, "primary", primary)


def _tapping() -> Computing:
    from battery.scoring.tapping import scores, trials

    return Computing(
        lambda block, draw, _: scores.score(block, draw), trials.rows, trials.tries
    )


def _slide() -> Computing:
    from battery.scoring.slide import scores, trials

    return Computing(scores.score, trials.rows, trials.tries)


def _pursuit() -> Computing:
    from battery.scoring.pursuit import scores, trials

    return Computing(scores.score, trials.rows, trials.tries)


def _trail() -> Computing:
    from battery.scoring.trail import scores, trials

    return Computing(
        lambda block, draw, _: scores.score(block, draw), trials.rows, trials.tries
    )


def _quality_of(task: str) -> tuple[str, ...]:
    """Name the measures of a record's quality, which every task has."""
    return tuple(
        f"{task}.{name}"
        for name in ("late_change_sd", "extra_contact_share", "gap_share", "queued_share")
    )


SCORERS: dict[str, TaskScorer] = {
    scorer.task: scorer
    for scorer in (
        TaskScorer(
            task="tapping",
            measures=TAPPING,
            partner="tapping.movement_time_s",
            min_trials=15,
            min_trials_usual=20,
            flag_measures=(
                *_quality_of("tapping"),
                "tapping.anticipation_rate",
                "tapping.hit_rate",
            ),
            load=_tapping,
        ),
        TaskScorer(
            task="slide",
            measures=SLIDE,
            partner="slide.mean_speed_mm_s",
            min_trials=4,
            min_trials_usual=6,
            flag_measures=(
                *_quality_of("slide"),
                "slide.extent_percent",
                "slide.jitter_pixels",
                "slide.jumps_per_min",
            ),
            load=_slide,
        ),
        TaskScorer(
            task="pursuit",
            measures=PURSUIT,
            partner="pursuit.delay_s",
            min_trials=4,
            min_trials_usual=8,
            flag_measures=(
                *_quality_of("pursuit"),
                "pursuit.contact_loss",
                "pursuit.jitter_pixels",
                "pursuit.jumps_per_min",
            ),
            load=_pursuit,
        ),
        TaskScorer(
            task="trail",
            measures=TRAIL,
            partner="trail.n_errors",
            min_trials=7,
            min_trials_usual=14,
            flag_measures=(*_quality_of("trail"), "trail.finished_share"),
            load=_trail,
        ),
    )
}


def scorer_of(task: str) -> TaskScorer:
    """Return the scorer of a task.

    Raises
    ------
    ScoringError
        If there is none.
    """
    try:
        return SCORERS[task]
    except KeyError:
        msg = f"no scorer of task {task!r}; there are those of {', '.join(SCORERS)}"
        raise ScoringError(msg) from None
