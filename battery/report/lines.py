"""One measure of one hand over the visits: its series, its verdict, where each point stands."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from battery.recording import Hand
from battery.report.doubts import badness, doubt_words, doubtful_readings
from battery.report.page_rows import Reading
from battery.report.points import current_points, point_of
from battery.scoring import Measure
from norms.band import OutsideSem, Prior
from norms.baseline import BaselineRule, Point, split
from norms.limits import Kind
from norms.series import Break
from norms.verdict import Verdict, judge

Standing = Literal["familiarisation", "baseline", "later", "earlier", "aside"]


@dataclass(frozen=True, slots=True)
class Shown:
    """A reading and what it counts for."""

    reading: Reading
    standing: Standing


@dataclass(frozen=True, slots=True)
class Line:
    """One measure of one hand over the visits, and what may be said of it.

    Parameters
    ----------
    shown : tuple of Shown
        In order of visits.
    breaks : tuple of Break
        Where visits stop being comparable with those before.
    begun : str
        Why the current series is apart from the visits before it; empty for the first.
    """

    measure: Measure
    hand: Hand
    shown: tuple[Shown, ...]
    verdict: Verdict
    breaks: tuple[Break, ...] = ()
    begun: str = ""

    def of(self, *standings: Standing) -> tuple[Reading, ...]:
        """Return the readings that stand so."""
        return tuple(s.reading for s in self.shown if s.standing in standings)

    @property
    def latest(self) -> Reading | None:
        """The last reading of the current series that counts."""
        found = self.of("familiarisation", "baseline", "later")
        return found[-1] if found else None

    @property
    def told(self) -> bool:
        """Whether the verdict tells a side."""
        return self.verdict.word in ("beyond error", "possible, repeat")


def line_of(
    measure: Measure,
    readings: Sequence[Reading],
    prior: Prior | None,
    rule: BaselineRule,
    *,
    restart_visit: int | None = None,
    outside: OutsideSem | None = None,
    kind: Kind = "line",
    days: Mapping[int, float] | None = None,
    with_doubts: Sequence[Reading] = (),
) -> Line:
    """Judge one measure of one hand.

    Parameters
    ----------
    readings : sequence of Reading
        All of them, in order of visits; at least one.
    kind : {"headline", "line", "alone"}
        Which part of the page's price the line keeps.
    days : mapping of int to float
        By visit, when it was, in days: visits a few days apart are one look.
    with_doubts : sequence of Reading
        The same, doubtful ones counting. A verdict for the worse is told with them, one for the
        better only if they do not speak against it.
    """
    points, begun, split_at = current_points(readings, days or {})

    def told(own: Sequence[Point]) -> Verdict:
        return judge(
            own,
            prior,
            log_scale=measure.log_scale,
            direction=_side(measure),
            rule=rule,
            restart_visit=restart_visit,
            outside=outside,
            new_series=begun,
            kind=kind,
        )

    verdict = told(points)
    parts = split(points, rule, restart_visit=restart_visit)
    doubtful = doubtful_readings(readings, with_doubts, parts, rule)
    if doubtful:
        again = [
            point_of(doubtful[p.visit], day=p.day) if p.visit in doubtful else p for p in points
        ]
        other = told(again)
        if badness(other) > badness(verdict):
            verdict = replace(other, doubt=doubt_words(readings, doubtful))
            parts = split(again, rule, restart_visit=restart_visit)
        else:
            doubtful = {}
    standing: dict[int, Standing] = {p.visit: "earlier" for p in parts.earlier}
    standing |= {p.visit: "familiarisation" for p in parts.familiarisation}
    standing |= {p.visit: "baseline" for p in parts.baseline}
    standing |= {p.visit: "later" for p in parts.later}
    shown = tuple(
        Shown(
            r._replace(value=doubtful[r.visit].value) if r.visit in doubtful else r,
            standing.get(r.visit, "earlier") if r.counts or r.visit in doubtful else "aside",
        )
        for r in readings
    )
    return Line(measure, readings[0].hand, shown, verdict, split_at, begun)


def _side(measure: Measure) -> Literal["lower", "higher", "toward_one", "none"]:
    """Return which side is better; of a measure that aims at a value of its own, neither."""
    named: tuple[Literal["lower", "higher", "toward_one"], ...]
    named = ("lower", "higher", "toward_one")
    return next((side for side in named if side == measure.direction), "none")


def gaps_days(days: Sequence[float]) -> float:
    """Return how many days between two visits are a gap that no line crosses.

    More than 10 for weekly visits; for another rhythm 1.6 times the usual distance.
    """
    between = sorted(b - a for a, b in itertools.pairwise(days))
    usual = between[len(between) // 2] if between else 7.0
    return max(10.0, 1.6 * usual)
