"""One measure of one hand over the visits: its series, its verdict, where each point stands."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

from battery.recording import HANDS, Hand
from battery.report.page_rows import Reading
from battery.scoring import MEASURES, PRIMARY, Measure
from battery.store import Person
from norms import sentences
from norms.asymmetry import ratio_points
from norms.band import OutsideSem, Prior
from norms.baseline import BaselineRule, Point, Split, split
from norms.composite import TYPICAL_SCATTER, Composite, composite
from norms.limits import Kind
from norms.pooled import weeks_of
from norms.series import Break, SeriesKey, breaks, series_of
from norms.verdict import Verdict, judge
from tasks.registry import TASKS

Standing = Literal["familiarisation", "baseline", "later", "earlier", "aside"]

TITLES = {
    "tapping": "Touching targets",
    "slide": "Sliding",
    "pursuit": "Following",
    "trail": "Connecting",
}
COMPOSITE = Measure(
    "all.composite",
    sentences.COMPOSITE,
    sentences.COMPOSITE_MEANING,
    "",
    "lower",
    "definition of this project",
    primary=True,
    limits="Its unit means nothing; its change in percent does.",
)


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


def ratio_name(measure: str) -> str:
    """Name of the ratio of the hands in a measure."""
    return f"ratio.{measure}"


def rule_of(person: Person) -> BaselineRule:
    """Return the rule fixed when the person was enrolled."""
    return BaselineRule(person.n_familiarisation, person.n_baseline)


def role(hand: Hand, person: Person) -> str:
    """Return the role of a hand: scatter is pooled over hands of the same role."""
    if person.affected_side in ("both", "unknown"):
        return person.affected_side
    return "affected" if hand == person.affected_side else "other"


def hand_order(person: Person) -> tuple[Hand, Hand]:
    """Return the hands as the page lists them: the more affected one first."""
    first: Hand = person.dominant_hand
    if person.affected_side == "left":
        first = "left"
    elif person.affected_side == "right":
        first = "right"
    return (first, "left" if first == "right" else "right")


def headline_of(readings: Collection[tuple[str, Hand]], hand: Hand) -> str:
    """Return what a hand's sentence is about: all tasks together, or the first that was done.

    Parameters
    ----------
    readings : collection of (measure, hand)
        Of which there are readings; empty is returned where there is none of the hand.
    """
    names = (COMPOSITE.name, *(PRIMARY[task].name for task in TASKS))
    return next((name for name in names if (name, hand) in readings), "")


def by_measure(
    readings: Iterable[Reading],
    rule: BaselineRule | None = None,
    restart_visit: int | None = None,
) -> dict[tuple[str, Hand], tuple[Reading, ...]]:
    """Sort one person's readings by measure and hand, composites included.

    Parameters
    ----------
    readings : iterable of Reading
    rule : BaselineRule, optional
        Fixed at enrolment; parts of a composite are set against the baseline by it.
    restart_visit : int, optional
        First visit of a new baseline.
    """
    found: dict[tuple[str, Hand], list[Reading]] = {}
    for reading in sorted(readings, key=lambda r: r.visit):
        found.setdefault((reading.measure, reading.hand), []).append(reading)
    for hand in HANDS:
        primaries = {
            task: own for task in TASKS if (own := found.get((PRIMARY[task].name, hand)))
        }
        combined = composite_readings(primaries, hand, rule, restart_visit)
        if combined:
            found[COMPOSITE.name, hand] = list(combined)
    return {name: tuple(own) for name, own in found.items()}


def composite_readings(
    primaries: Mapping[str, Sequence[Reading]],
    hand: Hand,
    rule: BaselineRule | None = None,
    restart_visit: int | None = None,
) -> tuple[Reading, ...]:
    """Combine a hand's primary measures, visit by visit and series by series."""
    by_visit: dict[int, dict[str, Reading]] = {}
    least = {task: PRIMARY[task].min_compared for task in primaries}
    for task, own in primaries.items():
        for reading in own:
            by_visit.setdefault(reading.visit, {})[task] = _above_zero(reading, least[task])
    keys = _keys_of_visits(by_visit, hand)
    combined: list[Reading] = []
    for key in dict.fromkeys(keys.values()):
        visits = [visit for visit in by_visit if keys[visit] == key]
        points = {
            TITLES[task].lower(): [
                _point(by_visit[v][task], least[task])
                for v in sorted(visits)
                if task in by_visit[v]
            ]
            for task in primaries
        }
        scatter = {TITLES[task].lower(): TYPICAL_SCATTER[task] for task in primaries}
        min_compared = {TITLES[task].lower(): least[task] for task in primaries}
        made = composite(
            points,
            rule=rule,
            restart_visit=restart_visit,
            scatter=scatter,
            min_compared=min_compared,
        )
        combined += [
            _combined(point, key, hand, by_visit[point.visit], tuple(primaries))
            for point in made
        ]
    return tuple(sorted(combined, key=lambda r: r.visit))


def _above_zero(reading: Reading, least: float) -> Reading:
    if reading.counts and max(reading.value, least) <= 0:
        return reading._replace(aside="a value of 0 has no logarithm")
    return reading


def _keys_of_visits(
    by_visit: Mapping[int, Mapping[str, Reading]], hand: Hand
) -> dict[int, SeriesKey]:
    """One key a visit; a visit where nothing counts goes with the one before it."""
    keys: dict[int, SeriesKey] = {}
    made: dict[tuple[SeriesKey, str], SeriesKey] = {}
    known: dict[SeriesKey, SeriesKey] = {}  # one object a key, told apart at a glance
    before: SeriesKey | None = None

    def of_all(key: SeriesKey, pointers: str) -> SeriesKey:
        if (key, pointers) not in made:
            whole = replace(key, task="", hand=hand, input_type=pointers)
            made[key, pointers] = known.setdefault(whole, whole)
        return made[key, pointers]

    for visit in sorted(by_visit):
        here = list(by_visit[visit].values())
        counting = [r for r in here if r.counts]
        if counting:
            pointers = " and ".join(sorted({r.key.input_type for r in counting}))
            before = of_all(counting[0].key, pointers)
        keys[visit] = before or of_all(here[0].key, here[0].key.input_type)
    return keys


def _combined(
    point: Composite,
    key: SeriesKey,
    hand: Hand,
    parts: Mapping[str, Reading],
    tasks: Sequence[str],
) -> Reading:
    flags = tuple(sorted({flag for reading in parts.values() for flag in reading.flags}))
    return Reading(
        COMPOSITE.name,
        hand,
        point.visit,
        "",
        point.value,
        key,
        n=len(parts),
        reason=_led(point, parts, tasks) if point.counts else "",
        flags=flags,
        aside="" if point.counts else _why_not(parts, tasks),
        error=point.error,
        day=next(iter(parts.values())).day,
    )


def _led(point: Composite, parts: Mapping[str, Reading], tasks: Sequence[str]) -> str:
    """Say which part leads, and which are missing."""
    said = []
    if point.leads:
        said.append(f"led by {point.leads}: {100 * point.lead_share:.0f} % of the change")
    lacking = [t for t in tasks if t not in parts or not parts[t].counts]
    if lacking:
        said.append(f"without {_why_not(parts, tasks)}")
    return "; ".join(said)


def _why_not(parts: Mapping[str, Reading], tasks: Sequence[str]) -> str:
    """Say why tasks cannot be taken together; a reason that all share is said once."""
    reasons: dict[str, list[str]] = {}
    for task in tasks:
        reading = parts.get(task)
        if reading is None or not reading.counts:
            why = "not done" if reading is None else reading.aside or reading.reason
            reasons.setdefault(why, []).append(TITLES[task].lower())
    if len(reasons) == 1 and len(next(iter(reasons.values()))) == len(tasks):
        return next(iter(reasons))
    return "; ".join(f"{', '.join(told)}: {why}" for why, told in reasons.items())


def ratio_readings(
    upper: Sequence[Reading], lower: Sequence[Reading], name: str
) -> tuple[Reading, ...]:
    """Return the ratio of the hands, visit by visit, as readings of the upper hand."""
    keys = {r.visit: (r.key, r.day) for r in upper}
    points = ratio_points([_point(r) for r in upper], [_point(r) for r in lower])
    return tuple(
        Reading(
            ratio_name(name),
            upper[0].hand,
            point.visit,
            "",
            point.value,
            keys[point.visit][0],
            aside="" if point.counts else point.reason,
            day=keys[point.visit][1],
        )
        for point in points
    )


def baseline_values(readings: Sequence[Reading], rule: BaselineRule) -> tuple[float, ...]:
    """Return the baseline of the current series; empty before it is complete."""
    return baseline_and_series(readings, rule)[0]


def baseline_and_series(
    readings: Sequence[Reading], rule: BaselineRule
) -> tuple[tuple[float, ...], tuple[float, ...], list[int]]:
    """Return the baseline of the current series, it with all that followed, and their weeks.

    All are empty before the baseline is complete.
    """
    points, _, _ = _current(readings)
    parts = split(points, rule)
    if len(parts.baseline) < rule.baseline:
        return (), (), []
    whole = (*parts.baseline, *parts.later)
    series = tuple(p.value for p in whole)
    return series[: rule.baseline], series, weeks_of(p.day for p in whole)


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
    points, begun, split_at = _current(readings, days or {})

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
    doubtful = _doubtful(readings, with_doubts, parts, rule)
    if doubtful:
        again = [
            _point(doubtful[p.visit], day=p.day) if p.visit in doubtful else p for p in points
        ]
        other = told(again)
        if _badness(other) > _badness(verdict):
            verdict = replace(other, doubt=_doubt_words(readings, doubtful))
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


def freed(
    readings: Iterable[Reading], rule: BaselineRule, restart_visit: int | None = None
) -> tuple[Reading, ...]:
    """Return a person's readings with doubtful ones after the baseline counting."""
    own: dict[tuple[str, Hand], list[Reading]] = {}
    for reading in readings:
        own.setdefault((reading.measure, reading.hand), []).append(reading)
    told: list[Reading] = []
    for theirs in own.values():
        if not any(r.doubtful for r in theirs):
            told += theirs
            continue
        points, _, _ = _current(sorted(theirs, key=lambda r: r.visit))
        baseline = split(points, rule, restart_visit=restart_visit).baseline
        end = baseline[-1].visit if len(baseline) == rule.baseline else math.inf
        told += [r._replace(aside="") if r.doubtful and r.visit > end else r for r in theirs]
    return tuple(told)


def _doubtful(
    readings: Sequence[Reading],
    with_doubts: Sequence[Reading],
    parts: Split,
    rule: BaselineRule,
) -> dict[int, Reading]:
    """Return the doubtful readings after a complete baseline, by visit, as if they counted."""
    if len(parts.baseline) < rule.baseline:
        return {}
    end = parts.baseline[-1].visit
    key = next(r.key for r in readings if r.visit == end)
    before = {r.visit: (r.counts, r.value) for r in readings}
    return {
        r.visit: r
        for r in with_doubts
        if r.visit > end and r.counts and r.key == key and before[r.visit] != (True, r.value)
    }


def _badness(verdict: Verdict) -> int:
    """Order verdicts from good news to bad; what tells no side stands in the middle."""
    sure = verdict.word == "beyond error"
    if verdict.better is None:
        return 0
    return (-2 if sure else -1) if verdict.better else (2 if sure else 1)


def _doubt_words(readings: Sequence[Reading], doubtful: Mapping[int, Reading]) -> str:
    """Say which visits were doubtful and why; a reason that they share is said once."""
    reasons: dict[str, list[int]] = {}
    for reading in readings:
        if reading.visit in doubtful:
            why = reading.aside or reading.reason or "in part"
            reasons.setdefault(why, []).append(reading.visit)
    return "; ".join(
        f"visit{'s' if len(visits) > 1 else ''} {_runs_of(visits)} ({why})"
        for why, visits in reasons.items()
    )


def _runs_of(numbers: Sequence[int]) -> str:
    """List numbers in order, three and more in a row by their ends: "4, 8 to 14"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    told = [
        f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    ]
    return ", ".join(told)


def _side(measure: Measure) -> Literal["lower", "higher", "toward_one", "none"]:
    """Return which side is better; of a measure that aims at a value of its own, neither."""
    named: tuple[Literal["lower", "higher", "toward_one"], ...]
    named = ("lower", "higher", "toward_one")
    return next((side for side in named if side == measure.direction), "none")


def _point(reading: Reading, least: float | None = None, day: float | None = None) -> Point:
    """Return a reading as a point; the least that is compared may be told, as many are made."""
    reason = reading.aside or (reading.reason if math.isnan(reading.value) else "")
    value = max(reading.value, _least(reading.measure) if least is None else least)
    # nan stays nan
    day = reading.day if day is None else day
    return Point(reading.visit, value, not reading.aside, reason, reading.error, day)


def _least(name: str) -> float:
    """Value below which readings are equal."""
    measure = MEASURES.get(name)
    return measure.min_compared if measure is not None else 0.0


def _current(
    readings: Sequence[Reading], days: Mapping[int, float] = MappingProxyType({})
) -> tuple[list[Point], str, tuple[Break, ...]]:
    """Return the points of the current series, why it began, and all breaks before it.

    Only readings that count make a series: a broken-off block on another tablet begins none.
    """
    least = _least(readings[0].measure) if readings else 0.0  # they are all of one measure
    counting = [r for r in readings if r.counts]
    if not counting:
        return [_point(r, least, days.get(r.visit)) for r in readings], "", ()
    only = counting[0].key
    if all(r.key is only for r in counting):  # as it nearly always is
        first = counting[0].visit
        points = [
            _point(r, least, days.get(r.visit)) for r in readings if r.counts or r.visit > first
        ]
        return points, "", ()
    keyed = [(_point(r, least), r.key) for r in counting]
    current = series_of(keyed)[-1]
    inside = {p.visit for p in current.points}
    points = [
        _point(r, least, days.get(r.visit))
        for r in readings
        if r.visit in inside or (not r.counts and r.visit > min(inside))
    ]
    return points, current.reason, breaks([(p.visit, key) for p, key in keyed])


def gaps_days(days: Sequence[float]) -> float:
    """Return how many days between two visits are a gap that no line crosses.

    More than 10 for weekly visits; for another rhythm 1.6 times the usual distance.
    """
    between = sorted(b - a for a, b in itertools.pairwise(days))
    usual = between[len(between) // 2] if between else 7.0
    return max(10.0, 1.6 * usual)
