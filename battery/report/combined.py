"""What is made of several readings: all tasks together, and one hand over the other."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

from battery.recording import HANDS, Hand
from battery.report.page_rows import Reading
from battery.report.points import point_of
from battery.scoring import MEASURES, PRIMARY, Measure
from norms import sentences
from norms.asymmetry import ratio_points
from norms.baseline import BaselineRule
from norms.composite import TYPICAL_SCATTER, Composite, composite
from norms.series import SeriesKey
from tasks.registry import TASKS

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


def measure_words(name: str) -> str:
    """Say a measure in words, with its task; the name itself where it is not known here."""
    measure = MEASURES.get(name)
    if measure is None or measure.task not in TITLES:
        return name
    return f"{TITLES[measure.task]}: {measure.title[:1].lower()}{measure.title[1:]}"


def ratio_name(measure: str) -> str:
    """Name of the ratio of the hands in a measure."""
    return f"ratio.{measure}"


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
                point_of(by_visit[v][task], least[task])
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
    points = ratio_points([point_of(r) for r in upper], [point_of(r) for r in lower])
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
