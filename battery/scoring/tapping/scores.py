"""Scores of a tapping block."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from battery.recording import Block
from battery.scoring import quality
from battery.scoring.score import Score, missing
from battery.scoring.signal.path import Floats
from battery.scoring.stats import rhythm, summary
from battery.scoring.stats.resampling import Bootstrap, of_each_left_out
from battery.scoring.tapping import accuracy, reaches
from battery.scoring.tapping.reading import ANTICIPATION_S, LATE_S, Tap, home_mm, taps
from battery.scoring.tapping.throughput import throughput_bit_s
from tasks.contract import NS_PER_S

MIN_TRIALS = 5
MIN_ENDS = 8
MIN_FOR_AREA = 15
MIN_FOR_SLOPE = 20
MIN_INTERVALS = 20
ANSWERED = "answered trials"
OVER = "trials, answered or not"
NO_HOME = "without a home pad it is not known where a reach began"
NO_LIFT = "without a home pad there is no lift from home"


def score(block: Block, draw: Bootstrap) -> list[Score]:
    """Score a finished tapping block."""
    del draw
    found = taps(block)
    answered = [tap for tap in found if tap.answered]
    over = [tap for tap in found if tap.outcome != "unfinished"]
    return [
        *_primary(block, over),
        *_ends(block, answered),
        *_throughput(block, answered),
        *_rhythm(answered),
        *_counts(block, found),
        *_sides(block, over),
        *reaches.score(block, found),
        *quality.scores(
            block,
            np.array([tap.radial_error_mm for tap in answered]),
            [(tap.start_s, tap.end_s) for tap in answered],
            ANSWERED,
        ),
    ]


def errors_mm(block: Block, over: Sequence[Tap]) -> Floats:
    """End-point error of every trial that is over, shape (n,).

    A trial without an answer counts as a finger that stayed at home: the whole way to the
    target.
    """
    return np.array(
        [t.radial_error_mm if t.answered else _way_mm(block, t) for t in over],
        dtype=np.float64,
    )


def _way_mm(block: Block, tap: Tap) -> float:
    settings = block.header.settings
    home = (float(settings["home_x_mm"]), float(settings["home_y_mm"]))
    return math.dist(home, (tap.target_x_mm, tap.target_y_mm))


def n_idle(block: Block, over: Sequence[Tap]) -> int:
    """Count the trials that could have been done, unanswered, while nothing was done.

    Whoever stops in the middle is asked for more until the time is up: one trial for every
    two limits of an answer (20 s) from one trial's end to the next's, or to the block's.
    """
    ends_s = [0.0, *(t.end_s for t in over), block.ended_ns / NS_PER_S]
    longest_s = 2 * float(block.header.settings["answer_limit_s"])
    return sum(
        int((after - before) / longest_s) for before, after in itertools.pairwise(ends_s)
    )


def movements_s(block: Block, over: Sequence[Tap]) -> Floats:
    """Movement time of every trial that is over; without an answer the limit for it."""
    limit_s = float(block.header.settings["answer_limit_s"])
    return np.array(
        [t.movement_time_s if t.answered else limit_s for t in over], dtype=np.float64
    )


def _primary(block: Block, over: Sequence[Tap]) -> list[Score]:
    answered = [t for t in over if t.answered]
    hits = sum(t.outcome == "hit" for t in over)
    errors = errors_mm(block, over)
    if len(over):
        away_mm = float(np.mean([_way_mm(block, t) for t in over]))
        errors = np.append(errors, np.full(n_idle(block, over), away_mm))
    movement = summary.median_of(
        "tapping.movement_time_s", movements_s(block, over), least=MIN_TRIALS, what=OVER
    )
    if home_mm(block) is None and not movement.reason:
        movement = _noting(movement, "from target to target by way of a place not seen")
    return [
        summary.mean_of("tapping.radial_error_mm", errors, least=MIN_TRIALS, what=OVER),
        movement,
        _reaction(block, answered, "tapping.reaction_time_s"),
        summary.share_of("tapping.hit_rate", hits, len(over), least=MIN_TRIALS, what=OVER),
    ]


def _reaction(block: Block, answered: Sequence[Tap], name: str) -> Score:
    if home_mm(block) is None:
        return missing(name, NO_LIFT)
    all_s = np.array([t.reaction_time_s for t in answered])
    all_s = all_s[~np.isnan(all_s)]
    kept_s = all_s[(all_s >= ANTICIPATION_S) & (all_s <= LATE_S)]
    found = summary.median_of(name, kept_s, least=MIN_TRIALS, what="usable reactions")
    if found.reason or len(kept_s) == len(all_s):
        return found
    return _noting(found, f"{len(all_s) - len(kept_s)} of {len(all_s)} left out")


def _noting(score: Score, reason: str) -> Score:
    return Score(score.measure, score.value, score.n, score.low, score.high, reason)


def _ends(block: Block, answered: Sequence[Tap]) -> list[Score]:
    """Constant and variable error, areas, over- and undershoot."""
    n = len(answered)
    aimed = home_mm(block) is not None
    errors_mm = _errors_mm(answered, in_reach=aimed)
    both = ("variable_error_mm", "constant_error_mm")
    if n < MIN_ENDS:
        reason = summary.few(n, MIN_ENDS, ANSWERED)
        scores = [missing(f"tapping.{name}", reason, n) for name in both]
    else:
        hows = (
            (accuracy.variable_mm, accuracy.variable_interval),
            (accuracy.constant_mm, accuracy.constant_interval),
        )
        scores = [
            Score(f"tapping.{name}", float(of(errors_mm)), n, *interval(errors_mm))
            for name, (of, interval) in zip(both, hows, strict=True)
        ]
    return [*scores, *_areas(errors_mm), *_along(block, answered)]


def _errors_mm(answered: Sequence[Tap], *, in_reach: bool) -> Floats:
    """End points minus targets, shape (n, 2): along and across the reach, or in x and y."""
    rows = [
        (t.along_mm, t.across_mm)
        if in_reach
        else (t.x_mm - t.target_x_mm, t.y_mm - t.target_y_mm)
        for t in answered
    ]
    return np.array(rows, dtype=np.float64).reshape(-1, 2)


def _areas(errors_mm: Floats) -> list[Score]:
    n = len(errors_mm)
    names = ("tapping.bcea95_mm2", "tapping.prediction_ellipse_mm2")
    if n < MIN_FOR_AREA:
        reason = summary.few(n, MIN_FOR_AREA, ANSWERED)
        return [missing(name, reason, n) for name in names]
    areas = (accuracy.bcea_mm2(errors_mm), accuracy.prediction_ellipse_mm2(errors_mm))
    return [
        Score(name, area, n, *accuracy.area_interval(area, n))
        for name, area in zip(names, areas, strict=True)
    ]


def _along(block: Block, answered: Sequence[Tap]) -> list[Score]:
    """Score what needs to know where the reach began."""
    means = ("constant_error_along_mm", "constant_error_across_mm", "overshoot_percent")
    rates = ("overshoot_rate", "undershoot_rate")
    home = home_mm(block)
    n = len(answered)
    if home is None:
        return [missing(f"tapping.{name}", NO_HOME, n) for name in (*means, *rates)]
    errors_mm = _errors_mm(answered, in_reach=True)
    along_mm = errors_mm[:, 0]
    percent = 100 * along_mm / _distances_mm(answered, home)
    rim_mm = float(block.header.settings["target_r_mm"])
    beyond, short = int((along_mm > rim_mm).sum()), int((along_mm < -rim_mm).sum())
    return [
        *(
            summary.mean_of(f"tapping.{name}", values, least=MIN_ENDS, what=ANSWERED)
            for name, values in zip(means, (along_mm, errors_mm[:, 1], percent), strict=True)
        ),
        *(
            summary.share_of(f"tapping.{name}", count, n, least=MIN_ENDS, what=ANSWERED)
            for name, count in zip(rates, (beyond, short), strict=True)
        ),
    ]


def _distances_mm(answered: Sequence[Tap], home: tuple[float, float]) -> Floats:
    return np.array(
        [np.hypot(t.target_x_mm - home[0], t.target_y_mm - home[1]) for t in answered]
    )


def _throughput(block: Block, answered: Sequence[Tap]) -> list[Score]:
    names = ("tapping.throughput_bit_s", "tapping.throughput_xy_bit_s")
    home = home_mm(block)
    if home is None:
        return [missing(name, NO_HOME) for name in names]
    timed = [t for t in answered if t.movement_time_s > 0]
    n = len(timed)
    if n < MIN_FOR_AREA:
        reason = summary.few(n, MIN_FOR_AREA, ANSWERED)
        return [missing(name, reason, n) for name in names]
    errors_mm = _errors_mm(timed, in_reach=True)
    reached_mm = _distances_mm(timed, home) + errors_mm[:, 0]
    movement_s = np.array([t.movement_time_s for t in timed])
    rows = np.column_stack([reached_mm, movement_s, errors_mm])

    def along(values: Floats) -> Floats:
        return throughput_bit_s(values[..., 0], values[..., 2], values[..., 1])

    def both(values: Floats) -> Floats:
        return throughput_bit_s(values[..., 0], values[..., 2:], values[..., 1])

    return [
        missing(name, "the end points do not scatter", n)
        if math.isnan(of(rows))
        else Score(name, float(of(rows)), n, *of_each_left_out(rows, of))
        for name, of in zip(names, (along, both), strict=True)
    ]


def _rhythm(answered: Sequence[Tap]) -> list[Score]:
    """Evenness of the intervals from contact to contact, and slowing of the movement."""
    names = ("tapping.interval_cv_percent", "tapping.interval_rmssd_percent")
    intervals_s = np.array(
        [
            after.end_s - before.end_s - after.wait_s
            for before, after in itertools.pairwise(answered)
            if after.trial == before.trial + 1
        ]
    )
    n = len(intervals_s)
    if n < MIN_INTERVALS:
        reason = summary.few(n, MIN_INTERVALS, "intervals without an omission")
        scores = [missing(name, reason, n) for name in names]
    else:
        kept_s, n_cut = rhythm.capped(intervals_s)
        rmssd = rhythm.rmssd_percent(kept_s)
        note = f"{n_cut} of {n} counted as three medians" if n_cut else ""
        scores = [
            Score(names[0], float(rhythm.cv_percent(kept_s)), n, reason=note),
            Score(names[1], rmssd, n, reason=note),
        ]
    name = "tapping.fatigue_slope_ms"
    timed = [t for t in answered if not np.isnan(t.movement_time_s)]
    if len(timed) < MIN_FOR_SLOPE:
        reason = summary.few(len(timed), MIN_FOR_SLOPE, ANSWERED)
        return [*scores, missing(name, reason, len(timed))]
    slope, interval = rhythm.slope(
        np.array([1000 * t.movement_time_s for t in timed]),
        np.array([float(t.trial) for t in timed]),
    )
    return [*scores, Score(name, slope, len(timed), *interval)]


def _counts(block: Block, found: Sequence[Tap]) -> list[Score]:
    kinds = block.events["kind"]
    minutes = block.ended_ns / 60e9
    begun = [t for t in found if t.outcome != "unfinished"]
    unanswered = sum(t.outcome == "no_answer" for t in begun)
    name = "tapping.anticipation_rate"
    if home_mm(block) is None:
        anticipation = missing(name, NO_LIFT)
    else:
        early = int((kinds == "early").sum())
        reactions_s = [t.reaction_time_s for t in found if not np.isnan(t.reaction_time_s)]
        guessed = sum(t < ANTICIPATION_S for t in reactions_s)
        anticipation = summary.share_of(
            name, early + guessed, early + len(reactions_s), least=MIN_ENDS, what="lifts"
        )
    return [
        anticipation,
        summary.share_of(
            "tapping.no_answer_rate", unanswered, len(begun), least=MIN_ENDS, what="trials"
        ),
        *(
            summary.rate_of(name, int((kinds == kind).sum()), minutes, n=len(found))
            for name, kind in (
                ("tapping.extra_contacts_per_min", "extra"),
                ("tapping.bounces_per_min", "bounce"),
            )
        ),
    ]


def _sides(block: Block, over: Sequence[Tap]) -> list[Score]:
    """Score the primary figures for targets on either side of the screen."""
    scores = []
    for side in ("left", "right"):
        mine = [t for t in over if t.side == side]
        what = f"trials on the {side}"
        hits = sum(t.outcome == "hit" for t in mine)
        scores += [
            summary.mean_of(
                f"tapping.radial_error_{side}_mm",
                errors_mm(block, mine),
                least=MIN_TRIALS,
                what=what,
            ),
            summary.median_of(
                f"tapping.movement_time_{side}_s",
                movements_s(block, mine),
                least=MIN_TRIALS,
                what=what,
            ),
            _reaction(
                block, [t for t in mine if t.answered], f"tapping.reaction_time_{side}_s"
            ),
            summary.share_of(
                f"tapping.hit_rate_{side}", hits, len(mine), least=MIN_TRIALS, what=what
            ),
        ]
    return scores
