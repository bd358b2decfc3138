"""From plain rows to a judged page: every line with its verdict. Pure; reads no store."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from battery.recording import Hand
from battery.report.combined import (
    COMPOSITE,
    TITLES,
    by_measure,
    headline_of,
    ratio_name,
    ratio_readings,
)
from battery.report.doubts import freed
from battery.report.lines import Line, line_of
from battery.report.page_rows import PageRows, Pool, Reading, Trace, VisitRow
from battery.report.points import hand_order, rule_of
from battery.scoring import MEASURES, PRIMARY, Measure
from battery.scoring.measures import Direction
from norms import sentences
from norms.band import Prior
from norms.limits import Kind
from tasks.registry import TASKS

# What is set against what: faster to the right, more exact upwards. Of a speed neither side is
# better by itself, so it has a direction here for the words "faster" and "slower" only.
SPEED: dict[str, tuple[str, Direction]] = {
    "tapping": ("tapping.movement_time_s", "lower"),
    "pursuit": ("pursuit.delay_s", "lower"),
    "slide": ("slide.mean_speed_mm_s", "higher"),
    "trail": ("trail.time_per_link_s", "lower"),
}
EXACT: dict[str, str] = {
    "tapping": "tapping.radial_error_mm",
    "pursuit": "pursuit.tracking_rmse_mm",
    "slide": "slide.jitter_across_mm",
    "trail": "trail.n_errors",
}


@dataclass(frozen=True, slots=True)
class Occasion:
    """Something that happened at a time and is marked on the time axis with a letter."""

    letter: str
    when: datetime
    what: str
    words: str


@dataclass(frozen=True, slots=True)
class Page:
    """Everything on a person's page, judged.

    Parameters
    ----------
    hands : tuple of str
        Those that were tested, the more affected one first.
    tasks : tuple of str
        Those that were done.
    lines : mapping
        By measure and hand.
    sides : mapping of str to Line
        By task: the ratio of the first hand to the second in its primary measure.
    traces : mapping
        By task and hand: at the baseline and at the latest visit.
    """

    rows: PageRows
    hands: tuple[Hand, ...]
    tasks: tuple[str, ...]
    lines: Mapping[tuple[str, Hand], Line]
    sides: Mapping[str, Line]
    occasions: tuple[Occasion, ...]
    made: datetime
    traces: Mapping[tuple[str, Hand], tuple[Trace | None, Trace | None]] = field(
        default_factory=dict
    )

    def line(self, measure: str, hand: Hand) -> Line | None:
        """Return a measure's line, or None if that hand was never tested in it."""
        return self.lines.get((measure, hand))

    def headline(self, hand: Hand) -> Line | None:
        """Return the line the hand's sentence is about: all tasks together, or the only one."""
        together = self.line(COMPOSITE.name, hand)
        own = [line for t in self.tasks if (line := self.line(PRIMARY[t].name, hand))]
        return together or (own[0] if own else None)

    def pair(self, task: str, hand: Hand) -> tuple[Line, Line] | None:
        """Return the speed and the accuracy of a task as lines that may be set together."""
        speed = self.lines.get((f"speed.{task}", hand))
        exact = self.line(EXACT[task], hand)
        return (speed, exact) if speed and exact else None

    def pair_words(self, task: str, hand: Hand) -> str:
        """Say how speed and accuracy moved together; empty without a verdict on both."""
        pair = self.pair(task, hand)
        if pair is None or any(line.verdict.word != "beyond error" for line in pair):
            return ""
        return sentences.pair_words(pair[0].verdict.better, pair[1].verdict.better)

    def visit(self, number: int) -> VisitRow:
        """Return a visit by its number."""
        return self.rows.visits[number - 1]

    @property
    def simulated(self) -> bool:
        """Whether any visit was made up."""
        return any(v.origin == "simulated" for v in self.rows.visits)


def page_data(
    rows: PageRows,
    *,
    made: datetime,
    headlines_only: bool = False,
    readings: Mapping[tuple[str, Hand], tuple[Reading, ...]] | None = None,
) -> Page:
    """Judge everything a person's rows allow to be judged.

    Parameters
    ----------
    made : datetime
        When the page is made, with its offset.
    headlines_only : bool
        Judge nothing but the headline of each hand, as a list of many people needs it.
    readings : mapping, optional
        Those of the rows by measure and hand, by `by_measure`, where it was asked already.

    Returns
    -------
    Page
        Without traces: which blocks are to be drawn is known only now (`wanted_blocks`).
    """
    if readings is None:
        readings = by_measure(rows.readings, rule_of(rows.person), rows.restart_visit)
    hands = tuple(
        hand for hand in hand_order(rows.person) if any(own == hand for _, own in readings)
    )
    tasks = tuple(
        task for task in TASKS if any((PRIMARY[task].name, hand) in readings for hand in hands)
    )
    case = _Case(rows, readings, _with_doubts(rows))
    if headlines_only:
        heads = {
            (name, hand): case.line(_measure(name), name, hand, "headline")
            for hand in hands
            if (name := headline_of(readings, hand))
        }
        return Page(rows, hands, tasks, heads, {}, (), made)
    lines: dict[tuple[str, Hand], Line] = {}
    # All tasks together come first: what they say decides how their parts are judged.
    for name, hand in sorted(readings, key=lambda own: own[0] != COMPOSITE.name):
        measure = COMPOSITE if name == COMPOSITE.name else MEASURES.get(name)
        if measure is not None:
            kind = _kind(measure, lines.get((COMPOSITE.name, hand)))
            lines[name, hand] = case.line(measure, name, hand, kind)
    for task in tasks:
        name, direction = SPEED[task]
        for hand in hands:
            if (name, hand) in lines:
                measure = replace(MEASURES[name], direction=direction)
                lines[f"speed.{task}", hand] = case.line(measure, name, hand, "alone")
    return Page(
        rows=rows,
        hands=hands,
        tasks=tasks,
        lines=lines,
        sides=_sides(rows, readings, hands, tasks),
        occasions=_occasions(rows, lines, tasks),
        made=made,
    )


def _measure(name: str) -> Measure:
    return COMPOSITE if name == COMPOSITE.name else MEASURES[name]


def _with_doubts(rows: PageRows) -> dict[tuple[str, Hand], tuple[Reading, ...]]:
    """Return the readings with doubtful ones counting; none where there are none."""
    if not any(r.doubtful for r in rows.readings):
        return {}
    rule = rule_of(rows.person)
    counting = freed(rows.readings, rule, rows.restart_visit)
    return by_measure(counting, rule, rows.restart_visit)


def _kind(measure: Measure, together: Line | None) -> Kind:
    """Return the price of a line: a headline's, a part's beneath one that moved, or alone."""
    if not measure.primary:
        return "alone"
    if measure.name == COMPOSITE.name or together is None:
        return "headline"
    return "line" if together.verdict.word == "beyond error" else "alone"


@dataclass(frozen=True, slots=True)
class _Case:
    """A person's readings as they count, and with doubtful ones counting."""

    rows: PageRows
    readings: Mapping[tuple[str, Hand], tuple[Reading, ...]]
    with_doubts: Mapping[tuple[str, Hand], tuple[Reading, ...]]

    def line(self, measure: Measure, name: str, hand: Hand, kind: Kind) -> Line:
        """Judge a measure of a hand."""
        return _line(
            self.rows,
            measure,
            self.readings[name, hand],
            _prior(self.rows, _measure(name), hand),
            kind,
            self.with_doubts.get((name, hand), ()),
        )


def _line(
    rows: PageRows,
    measure: Measure,
    readings: tuple[Reading, ...],
    prior: Prior | None,
    kind: Kind,
    with_doubts: tuple[Reading, ...] = (),
) -> Line:
    return line_of(
        measure,
        readings,
        prior,
        rule_of(rows.person),
        restart_visit=rows.restart_visit,
        outside=rows.outside.get(measure.name),
        kind=kind,
        days={v.number: v.when.timestamp() / 86_400 for v in rows.visits},
        with_doubts=with_doubts,
    )


def _prior(rows: PageRows, measure: Measure, hand: Hand) -> Prior | None:
    """Pool everybody's scatter.

    How one week resembles the next is estimated from primary measures only; a secondary one
    takes that of its task's primary.
    """
    own = _prior_of(rows.pools.get((measure.name, hand)), measure)
    if own is None or measure.primary:
        return own
    first = PRIMARY[measure.task]
    lead = _prior_of(rows.pools.get((first.name, hand)), first)
    return own.with_autocorrelation_of(lead) if lead else own


def _prior_of(pooled: Pool | None, measure: Measure) -> Prior | None:
    return None if pooled is None else pooled.prior(log_scale=measure.log_scale)


def _sides(
    rows: PageRows,
    readings: Mapping[tuple[str, Hand], tuple[Reading, ...]],
    hands: tuple[Hand, ...],
    tasks: tuple[str, ...],
) -> dict[str, Line]:
    if len(hands) < 2:
        return {}
    sides = {}
    for task in tasks:
        name = PRIMARY[task].name
        upper, lower = (readings.get((name, hand), ()) for hand in hands)
        if not upper or not lower:
            continue
        measure = replace(
            PRIMARY[task],
            name=ratio_name(name),
            unit="1",
            direction="toward_one",
            log_scale=True,
        )
        own = ratio_readings(upper, lower, name)
        prior = _prior_of(rows.pools.get((measure.name, hands[0])), measure)
        sides[task] = _line(rows, measure, own, prior, "alone")
    return sides


def _occasions(
    rows: PageRows, lines: Mapping[tuple[str, Hand], Line], tasks: tuple[str, ...]
) -> tuple[Occasion, ...]:
    """Letter the markers and the breaks of the series in order of time."""
    happened = [
        (m.when, m.kind, f"{m.kind}: {m.note}" if m.note else m.kind) for m in rows.markers
    ]
    apart: dict[tuple[int, str], set[str]] = {}
    for (name, _), line in lines.items():
        task = name.split(".")[0]
        if line.measure.primary and task in tasks:
            for gap in line.breaks:
                apart.setdefault((gap.visit, gap.reason), set()).add(task)
    numbers = {v.number: v for v in rows.visits}
    for (visit, reason), where in apart.items():
        only = (
            "" if where == set(tasks) else f" ({', '.join(TITLES[t] for t in sorted(where))})"
        )
        happened.append(
            (_just_before(numbers, visit), "new series", f"new series, {reason}{only}")
        )
    if rows.restart_visit in numbers:
        happened.append(
            (_just_before(numbers, rows.restart_visit), "new baseline", "new baseline begun")
        )
    happened.sort(key=lambda h: h[0])
    return tuple(
        Occasion(_letter(i), when, what, words)
        for i, (when, what, words) in enumerate(happened)
    )


def _just_before(numbers: Mapping[int, VisitRow], visit: int | None) -> datetime:
    """Three quarters of the way from the visit before to this one."""
    here = numbers[visit or 0]
    before = max((v.when for v in numbers.values() if v.when < here.when), default=here.when)
    return here.when - (here.when - before) / 4


def _letter(index: int) -> str:
    first = chr(ord("A") + index % 26)
    return first if index < 26 else f"{first}{index // 26}"


def wanted_blocks(page: Page) -> dict[tuple[str, Hand], tuple[str, str]]:
    """Name the blocks to be drawn: the middle one of the baseline and the latest.

    Before there is a baseline it is the first that counts; with one visit only it stands alone.
    """
    wanted = {}
    for task in page.tasks:
        for hand in page.hands:
            line = page.line(PRIMARY[task].name, hand)
            latest = line.latest if line else None
            if line is None or latest is None:
                continue
            baseline = line.of("baseline") or line.of("familiarisation")
            first = _middle(baseline)
            ends = (first.block_id, latest.block_id) if first.visit != latest.visit else (
                "", latest.block_id
            )  # fmt: skip
            wanted[task, hand] = ends
    return wanted


def _middle(readings: tuple[Reading, ...]) -> Reading:
    """Return the reading whose value is the (lower) median: neither a good nor a bad day."""
    ranked = sorted(readings, key=lambda r: r.value)
    return ranked[(len(ranked) - 1) // 2]
