"""Scores of a trail block."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from battery.recording import Block
from battery.scoring import quality
from battery.scoring.score import Score, missing
from battery.scoring.signal.path import Floats
from battery.scoring.stats import summary
from battery.scoring.stats.intervals import (
    NONE,
    Bootstrap,
    Interval,
    around,
    of_count,
    of_mean,
    ratio,
)
from battery.scoring.trail.links import Form, Link, forms

KINDS = ("numbers", "alternating", "pairs")


def score(block: Block, draw: Bootstrap) -> list[Score]:
    """Score a finished trail block."""
    found = forms(block)
    n_forms = len(block.header.settings["forms"])
    limit_s = float(block.header.settings["limit_s"])
    done = [form for form in found if form.done]
    return [
        *_times(found, done, n_forms, limit_s),
        *_movement(found, draw),
        *_counts(found, n_forms, block),
        *_by_kind(found),
        *cost_of_alternating(done, draw),
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


def per_link(name: str, found: Sequence[Form]) -> Score:
    """Score the time spent on trails over the links made in them.

    An unfinished trail enters with its whole time and the links it has: to be stuck, to rest
    or to break off can only make the ratio larger. Of finished trails it is the mean; of cut
    off ones the estimate of largest likelihood if times are exponential (Cox DR, Oakes D 1984,
    Analysis of Survival Data, 3.2; from memory).
    """
    links = _links(found)
    n, spent_s = len(links), sum(form.spent_s for form in found)
    if n == 0:
        return missing(name, f"no link was made in {spent_s:.1f} s")
    if all(form.done for form in found):
        times_s = _whole_s(links)
        return Score(name, float(times_s.mean()), n, *of_mean(times_s))
    fewest, most = of_count(n)
    return Score(name, spent_s / n, n, spent_s / most, spent_s / fewest)


def _times(
    found: Sequence[Form], done: Sequence[Form], n_forms: int, limit_s: float
) -> list[Score]:
    """Time per link, and the completion time with its two parts, which add up to it exactly."""
    links = _links(done)
    n = len(links)
    share = len(done) / n_forms
    scores = [
        per_link("trail.time_per_link_s", found),
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
    search, travel = float(search_s.sum()), float(travel_s.sum())
    return [
        *scores,
        Score("trail.completion_time_s", search + travel, n, *_of_sum(_whole_s(links))),
        Score("trail.search_time_s", search, n, *_of_sum(search_s)),
        Score("trail.travel_time_s", travel, n, *_of_sum(travel_s)),
    ]


def _of_sum(values: Floats) -> Interval:
    low, high = of_mean(values)
    return len(values) * low, len(values) * high


def _movement(found: Sequence[Form], draw: Bootstrap) -> list[Score]:
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
            value = float(ratio(values[None])[0])
            scores.append(Score(name, value, n, *draw.interval(values, ratio)))
    return scores


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
            per_link(name, own) if own else missing(name, f"no trail of {kind} was begun")
        )
    return scores


def cost_of_alternating(done: Sequence[Form], draw: Bootstrap) -> list[Score]:
    """Score alternating less numbers, and the one over the other, of finished trails."""
    names = ("trail.alternating_minus_numbers_s", "trail.alternating_to_numbers")
    hard = [form for form in done if form.kind == "alternating"]
    easy = [form for form in done if form.kind == "numbers"]
    if not hard or not easy:
        return [missing(name, "needs a finished trail of each kind") for name in names]
    hard_s, easy_s = _whole_s(_links(hard)), _whole_s(_links(easy))
    n = len(hard_s) + len(easy_s)
    drawn_hard = _form_times(draw, hard_s, len(hard))
    drawn_easy = _form_times(draw, easy_s, len(easy))[::-1]  # not the same links together
    mean_hard, mean_easy = float(hard_s.sum()) / len(hard), float(easy_s.sum()) / len(easy)
    found = (mean_hard - mean_easy, mean_hard / mean_easy)
    drawn = (drawn_hard - drawn_easy, drawn_hard / drawn_easy)
    few = min(len(hard_s), len(easy_s)) < 5
    return [
        Score(name, value, n, *(NONE if few else around(values, value)))
        for name, value, values in zip(names, found, drawn, strict=True)
    ]


def _form_times(draw: Bootstrap, times_s: Floats, n_forms: int) -> Floats:
    """Mean completion time of resampled trails of one kind."""
    return draw.values(times_s, lambda drawn: np.asarray(drawn.sum(axis=1))) / n_forms
