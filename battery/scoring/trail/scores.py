"""Scores of a trail block."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from battery.recording import Block
from battery.scoring import quality
from battery.scoring.definitions.trail import TRAIL
from battery.scoring.score import NO_INTERVAL, Score, missing
from battery.scoring.signal.path import Floats
from battery.scoring.stats import summary
from battery.scoring.stats.dependent_windows import of_ratio
from battery.scoring.stats.intervals import (
    Interval,
    middle_half,
    of_difference,
    on_log_scale,
    t_reach,
)
from battery.scoring.stats.resampling import Bootstrap, ratio
from battery.scoring.trail.links import Form, Link, forms

NAN = math.nan
MIN_STARTS = 3
NOT_ALL = f"{NO_INTERVAL}: not all of these trails were finished"
MEASURES_OF_TRAIL = {measure.name: measure for measure in TRAIL}
KINDS = ("numbers", "alternating", "pairs")


def score(block: Block, draw: Bootstrap) -> list[Score]:
    """Score a finished trail block."""
    del draw
    found = forms(block)
    n_forms = len(block.header.settings["forms"])
    limit_s = float(block.header.settings["limit_s"])
    done = [form for form in found if form.done]
    return [
        *_times(found, done, n_forms, limit_s),
        *_movement(found),
        *_counts(found, n_forms, block),
        *_by_kind(found),
        *cost_of_alternating(done),
        *quality.scores(
            block,
            _whole_s(_links(done)),
            [(link.start_s, link.end_s) for link in _links(found)],
            "links",
        ),
    ]


def _links(found: Sequence[Form]) -> list[Link]:
    return [link for form in found for link in form.links]


def _whole_s(links: Sequence[Link]) -> Floats:
    return np.array([link.search_time_s + link.travel_time_s for link in links])


def per_link(name: str, own: Sequence[Form], found: Sequence[Form]) -> Score:
    """Score the time for which trails were shown over the links made in them.

    An unfinished trail enters with its whole time and the links it has: to be stuck, to rest
    or to break off can only make the ratio larger, and to think before leaving the first node
    as much as afterwards. Of cut off trails it is the estimate of largest likelihood if times
    are exponential (Cox DR, Oakes D 1984, Analysis of Survival Data, 3.2; from memory).

    Parameters
    ----------
    own : sequence of Form
        The trails that count.
    found : sequence of Form
        All trails of the block: they tell how unlike its starts are.
    """
    links = _links(own)
    n, spent_s = len(links), sum(form.spent_s for form in own)
    if n == 0:
        return missing(name, f"no link was made in {spent_s:.1f} s")
    value = spent_s / n
    if not all(form.done for form in own):
        return Score(name, value, n, reason=NOT_ALL)
    starts_s = np.array([form.start_s for form in found if form.done])
    variance_s2 = float(starts_s.var(ddof=1)) if len(starts_s) >= MIN_STARTS else NAN
    starts = _Chance(variance_s2, len(starts_s) - 1)
    half_s = _half_of_sum((n, _of_times(links, _whole_s(links))), (len(own), starts))
    return Score(name, value, n, *on_log_scale(value, half_s / n))


class _Chance(NamedTuple):
    """Variance of one time, and its degrees of freedom."""

    variance: float
    freedom: float


def _of_times(links: Sequence[Link], times_s: Floats) -> _Chance:
    """Scatter of links about what their kind and length let expect: nobody draws the layout.

    The first link of a trail is a kind of its own: its search may lie before its beginning.
    """
    kinds = sorted({link.kind for link in links})
    first = [
        link is links[0] or link.form != before.form
        for before, link in zip([links[0], *links], links, strict=False)
    ]
    design = np.array(
        [
            [link.straight_mm, begins, *(link.kind == kind for kind in kinds)]
            for link, begins in zip(links, first, strict=True)
        ],
        dtype=np.float64,
    )
    solved, _, rank, _ = np.linalg.lstsq(design, times_s, rcond=None)
    freedom = len(links) - int(rank)
    if freedom < 3:
        return _Chance(NAN, freedom)
    return _Chance(float(np.sum((times_s - design @ solved) ** 2)) / freedom, freedom)


def _half_of_sum(*parts: tuple[int, _Chance]) -> float:
    """Half of the interval of a sum of times, so many of each; nan where it is not known.

    Notes
    -----
    Student's t with the degrees of freedom of Welch BL (1947), Biometrika 34:28-35.
    """
    variances = [n * own.variance for n, own in parts]
    whole = sum(variances)
    if not whole > 0:
        return NAN
    freedom = whole**2 / sum(
        v**2 / own.freedom for v, (_, own) in zip(variances, parts, strict=True)
    )
    return t_reach(freedom) * math.sqrt(whole)


def _times(
    found: Sequence[Form], done: Sequence[Form], n_forms: int, limit_s: float
) -> list[Score]:
    """Time per link, and the completion time with its two parts, which add up to it exactly."""
    links = _links(done)
    n = len(links)
    share = len(done) / n_forms
    scores = [
        per_link("trail.time_per_link_s", found, found),
        Score("trail.finished_share", share, n_forms, share, share),
    ]
    if len(done) < n_forms:
        spent_s = sum(form.spent_s for form in found)
        reason = (
            f"{len(done)} of {n_forms} trails finished within the limit of {limit_s:.0f} s: "
            f"the time is longer than {spent_s:.1f} s"
        )
        names = ("completion_time_s", "search_time_s", "travel_time_s")
        return [*scores, *(missing(f"trail.{name}", reason, n) for name in names)]
    search_s = np.array([link.search_time_s for link in links])
    travel_s = np.array([link.travel_time_s for link in links])
    whole_s = float(search_s.sum()) + float(travel_s.sum())
    return [
        *scores,
        Score("trail.completion_time_s", whole_s, n, *_of_sum(links, _whole_s(links))),
        Score("trail.search_time_s", float(search_s.sum()), n, *_of_sum(links, search_s)),
        Score("trail.travel_time_s", float(travel_s.sum()), n, *_of_sum(links, travel_s)),
    ]


def _of_sum(links: Sequence[Link], times_s: Floats) -> Interval:
    half_s = _half_of_sum((len(links), _of_times(links, times_s)))
    return on_log_scale(float(times_s.sum()), half_s)


def _movement(found: Sequence[Form]) -> list[Score]:
    links = _links(found)
    n = len(links)
    rows = {
        "trail.travel_speed_mm_s": [(k.travel_mm, k.travel_time_s) for k in links],
        "trail.path_efficiency": [(k.chord_mm, k.path_mm) for k in links],
    }
    scores = []
    for name, pairs in rows.items():
        values = np.array(pairs, dtype=np.float64).reshape(-1, 2)
        if not links:
            scores.append(missing(name, "no link was made"))
        elif values[:, 1].sum() <= 0:
            scores.append(missing(name, "the chip never travelled", n))
        else:
            scores.append(_of_links(name, values))
    return scores


def _of_links(name: str, values: Floats) -> Score:
    """Score a sum over a sum; of the efficiency the spread over links stands beside it."""
    value, n = float(ratio(values[None])[0]), len(values)
    if MEASURES_OF_TRAIL[name].width == "interval":
        return Score(name, value, n, *of_ratio(values))
    each = values[values[:, 1] > 0]
    low, high = middle_half(each[:, 0] / each[:, 1])
    return Score(name, value, n, min(low, value), max(high, value))


def _counts(found: Sequence[Form], n_forms: int, block: Block) -> list[Score]:
    """Errors by kind, slips and lifts, over everything done."""
    links = _links(found)
    n = len(links)
    kinds = block.events["kind"]
    alternating = any(
        form["kind"] == "alternating" for form in block.header.settings["forms"][:n_forms]
    )
    # An error on a link that was never finished is an error all the same.
    n_errors, n_slips = int((kinds == "error").sum()), int((kinds == "slip").sum())
    n_set = sum(link.n_set_errors for link in links)
    set_errors = (
        summary.count_of("trail.n_set_errors", n_set, n)
        if alternating
        else missing("trail.n_set_errors", "no alternating trail in this plan", n)
    )
    return [
        summary.count_of("trail.n_errors", n_errors, n),
        summary.count_of("trail.n_sequence_errors", n_errors - n_set, n),
        set_errors,
        summary.count_of("trail.n_slips", n_slips, n),
        summary.count_of("trail.n_lifts", sum(link.n_lifts for link in links), n),
    ]


def _by_kind(found: Sequence[Form]) -> list[Score]:
    scores = []
    for kind in KINDS:
        name = f"trail.{kind}_time_per_link_s"
        own = [form for form in found if form.kind == kind]
        scores.append(
            per_link(name, own, found)
            if own
            else missing(name, f"no trail of {kind} was begun")
        )
    return scores


def cost_of_alternating(done: Sequence[Form]) -> list[Score]:
    """Score alternating less numbers, and the one over the other, of finished trails."""
    names = ("trail.alternating_minus_numbers_s", "trail.alternating_to_numbers")
    hard = [form for form in done if form.kind == "alternating"]
    easy = [form for form in done if form.kind == "numbers"]
    if not hard or not easy:
        return [missing(name, "needs a finished trail of each kind") for name in names]
    (slow_s, slow), (quick_s, quick) = (_mean_time_s(own) for own in (hard, easy))
    n = len(_links(hard)) + len(_links(easy))
    apart = of_difference((slow_s, slow), (quick_s, quick))
    logs = of_difference(_logs(slow_s, slow), _logs(quick_s, quick))
    return [
        Score(names[0], slow_s - quick_s, n, *apart),
        Score(names[1], slow_s / quick_s, n, math.exp(logs[0]), math.exp(logs[1])),
    ]


def _mean_time_s(own: Sequence[Form]) -> tuple[float, Interval]:
    """Mean completion time of trails of one kind."""
    links = _links(own)
    times_s = _whole_s(links)
    low, high = _of_sum(links, times_s)
    return float(times_s.sum()) / len(own), (low / len(own), high / len(own))


def _logs(value: float, interval: Interval) -> tuple[float, Interval]:
    low, high = interval
    return math.log(value), (math.log(low), math.log(high))
