"""Measures of the trail."""

from __future__ import annotations

from battery.scoring.definitions.quality import quality
from battery.scoring.measure import OWN, Measure

_BESIDE = "Beside it stands the middle half of the links: how unlike they are."
_LINK = "a link"
_ALL_DONE = "all trails finished within the limit"
_POISSON = "interval: Brown, Cai & DasGupta 2003, Stat Sin 13:19-49"
_PAPER = "Not comparable to any test on paper."
_BOTH = "a finished trail of each kind"

TRAIL: tuple[Measure, ...] = (
    Measure(
        "trail.time_per_link_s",
        "Time per link",
        "Time for which the trails were shown, to the last capture or the end, divided by the "
        "links made; so a trail that was not finished counts with all its time.",
        "s",
        "lower",
        OWN,
        primary=True,
        limits=f"A rest before a trail is begun counts as well. {_PAPER}",
        needs=_LINK,
        since=3,
        min_compared=0.3,
    ),
    Measure(
        "trail.finished_share",
        "Trails finished",
        "Share of the trails finished within the time limit.",
        "1",
        "higher",
        OWN,
        log_scale=False,
        detail=True,
        since=3,
    ),
    Measure(
        "trail.completion_time_s",
        "Completion time",
        "Sum over the trails from leaving the first node to capturing the last; the clock "
        "runs through errors.",
        "s",
        "lower",
        OWN,
        limits="Missing, not the limit, when a trail was not finished. What is thought out "
        f"before leaving the first node is not seen. {_PAPER}",
        needs=_ALL_DONE,
    ),
    Measure(
        "trail.search_time_s",
        "Search time",
        "Part of the completion time before the chip moves, in pauses and away from the next "
        "node.",
        "s",
        "lower",
        OWN,
        limits="Planning during movement is not seen.",
        needs=_ALL_DONE,
        since=3,
    ),
    Measure(
        "trail.travel_time_s",
        "Travel time",
        "The rest of the completion time.",
        "s",
        "lower",
        OWN,
        needs=_ALL_DONE,
        since=3,
    ),
    Measure(
        "trail.travel_speed_mm_s",
        "Travel speed",
        "Path while travelling over travel time, low-passed at 1.5 Hz.",
        "mm/s",
        "higher",
        OWN,
        needs=_LINK,
        since=3,
    ),
    Measure(
        "trail.path_efficiency",
        "Path efficiency",
        "Sum of the chords from capture to capture over the length of the path, low-passed at "
        "1.5 Hz. "
        f"{_BESIDE}",
        "1",
        "higher",
        OWN,
        log_scale=False,
        limits="Wandering while searching counts as detour; tremor does not.",
        needs=_LINK,
        since=3,
        width="spread",
    ),
    Measure(
        "trail.n_errors",
        "Errors",
        "Wrong nodes captured.",
        "1",
        "lower",
        _POISSON,
        log_scale=False,
    ),
    Measure(
        "trail.n_sequence_errors",
        "Errors within a set",
        "Wrong nodes captured of the kind that was due: a number for a number, a letter for a "
        "letter.",
        "1",
        "lower",
        _POISSON,
        log_scale=False,
        detail=True,
        since=2,
    ),
    Measure(
        "trail.n_set_errors",
        "Errors of alternation",
        "Wrong nodes captured of the kind that was not due.",
        "1",
        "lower",
        _POISSON,
        log_scale=False,
        needs="an alternating trail",
        detail=True,
        since=2,
    ),
    Measure(
        "trail.n_slips",
        "Slips",
        "Wrong nodes entered and left before they were captured; no errors.",
        "1",
        "lower",
        _POISSON,
        log_scale=False,
        limits="Crossing a node on the way counts as well as turning back from it.",
        since=2,
    ),
    Measure(
        "trail.n_lifts",
        "Lifts",
        "Times contact was lost between leaving the first node and capturing the last.",
        "1",
        "lower",
        _POISSON,
        log_scale=False,
        since=2,
    ),
    *(
        Measure(
            f"trail.{kind}_time_per_link_s",
            f"Time per link, {kind}",
            f"The same over the trails of {kind}.",
            "s",
            "lower",
            OWN,
            limits=_PAPER,
            needs=f"a link in a trail of {kind}",
            detail=True,
            since=3,
        )
        for kind in ("numbers", "alternating", "pairs")
    ),
    Measure(
        "trail.alternating_minus_numbers_s",
        "Cost of alternating",
        "Mean completion time of the alternating trails less that of the number trails.",
        "s",
        "none",
        OWN,
        log_scale=False,
        limits=f"Slow movement enlarges it. {_PAPER}",
        needs=_BOTH,
        since=2,
    ),
    Measure(
        "trail.alternating_to_numbers",
        "Alternating to numbers",
        "Mean completion time of the alternating trails over that of the number trails.",
        "1",
        "none",
        OWN,
        limits=f"Unsteady where the number trails are quick. {_PAPER}",
        needs=_BOTH,
        since=2,
    ),
    *quality("trail", trial="links of finished trails", value="time"),
)
