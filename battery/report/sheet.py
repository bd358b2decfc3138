"""The second sheet: what changed in numbers, trends with their axes, what to keep in mind.

Its height is worked out here, from the words it carries, so that it is one sheet on paper.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from battery.people import person_label
from battery.recording import Hand
from battery.report import home_exercise, pairs, shapes, strips, trend, words
from battery.report.combined import COMPOSITE, TITLES
from battery.report.judged import Page
from battery.report.lines import Line
from battery.report.points import rule_of
from battery.report.shapes import PT_PER_MM
from battery.report.timeline import Timeline
from battery.report.widths import lines_of, shortened, width_pt
from battery.scoring import MEASURES, PRIMARY, SCORING_VERSION, Measure
from norms import sentences

Paper = Literal["A4", "letter"]
# Height between the margins of the style sheet, less a reserve for other machines' fonts.
ROOM_MM: dict[Paper, float] = {"A4": 297 - 23 - 3, "letter": 279.4 - 23 - 3}
SHEET_WIDTH_MM = 190.0
LINE_MM = 3.81  # 9 pt set 1.2 apart
MIN_ROW_MM, MAX_ROW_MM = 8.6, 16.0
PAIRS_NEED_MM = 9.4  # rows lower than this have no room for the pairs below them
HEADLINE_MM = 160.0
VERDICT_MM, WIDE_VERDICT_MM = 22.6, 53.0
MAX_KEY_LINES, MAX_CELL_LINES = 3, 3
HEADER_MM, HEADING_MM = 16.2, 7.3
STRIPS_MM = 8.5 + 4.4  # visits above the panels, dates below
PAIR_HEIGHT_MM, PAIR_MM = 22.0, 45.0
PAIRS_BLOCK_MM = HEADING_MM + 3 * LINE_MM + PAIR_HEIGHT_MM + 4 * LINE_MM + 0.8
CHANGE_PT = 30.3 * PT_PER_MM  # what a line of its column holds
SHORT = {"slide.jitter_across_mm": "jitter across"}
CAUTIONS = " Cautions: overleaf. Speed with accuracy and the two hands: overleaf."


@dataclass(frozen=True, slots=True)
class _Fixed:
    """What is on the sheet beside the rows, and how much height it takes."""

    headlines: list[dict[str, str]]
    anew: str
    both: str
    key: str
    goals: str
    mind: list[str]
    n_ratio_lines: int  # of the pairs' last row; 0 without pairs
    with_home_exercise: bool
    with_symptoms: bool

    def height_mm(self) -> float:
        """Estimate, from the line counts."""
        lead = sum(_headline_mm(h) for h in self.headlines)
        whole = (SHEET_WIDTH_MM - 1) * PT_PER_MM
        mind_room = (SHEET_WIDTH_MM - 6) * PT_PER_MM
        mind = LINE_MM * len(lines_of(" ".join(self.mind) + CAUTIONS, mind_room)) + 8.2
        key = LINE_MM * len(lines_of(self.key, whole)) + 0.6 if self.key else 0
        both = LINE_MM + 0.7 if self.both else 0
        both += LINE_MM * len(lines_of(self.anew, whole)) + 0.7 if self.anew else 0
        rule = LINE_MM * len(lines_of(sentences.RULE, whole)) + 0.6
        n_more = self.n_ratio_lines - 1
        block = PAIRS_BLOCK_MM + LINE_MM * n_more if self.n_ratio_lines else 0
        strip = home_exercise.HEIGHT / PT_PER_MM + 0.2 if self.with_home_exercise else 0
        strip += home_exercise.SYMPTOM_HEIGHT / PT_PER_MM + 0.2 if self.with_symptoms else 0
        goals = LINE_MM * len(lines_of(self.goals, whole)) + 0.6 if self.goals else 0
        fixed = HEADER_MM + 2 * HEADING_MM + STRIPS_MM
        return fixed + lead + both + key + rule + block + strip + goals + mind


def _headline_mm(told: dict[str, str]) -> float:
    room = HEADLINE_MM * PT_PER_MM
    said = 4.45 * len(lines_of(told["statement"], room, 10.5, bold=True))
    return max(10.7, 2.2 + said + LINE_MM * len(lines_of(told["below"], room)))


def sheet(page: Page, paper: Paper) -> dict[str, Any]:
    """Return what the template of the second sheet needs."""
    n_rows = sum(len(group) for group in row_groups(page))
    fixed, row_mm = _laid_out(page, paper, n_rows)
    return {
        "code": person_label(page.rows.person),
        "facts": _facts(page),
        "about": _about(page),
        "headlines": fixed.headlines,
        "anew": fixed.anew,
        "both": fixed.both,
        "header_strip": strips.header_strip(Timeline.of(page)) if page.rows.visits else "",
        "footer_strip": strips.footer_strip(Timeline.of(page)) if page.rows.visits else "",
        "home_exercise_strip": home_exercise.home_exercise_strip(page, Timeline.of(page))
        if page.rows.visits
        else "",
        "symptom_strip": home_exercise.symptom_strip(page, Timeline.of(page))
        if page.rows.visits
        else "",
        "home_exercise_words": home_exercise.home_exercise_words(page),
        "goals": fixed.goals,
        "groups": _groups(page, row_mm),
        "row_mm": f"{row_mm:.2f}",
        "key": fixed.key,
        "pairs": pair_columns(page) if fixed.n_ratio_lines else [],
        "overleaf": [] if fixed.n_ratio_lines else pair_columns(page),
        "pairs_title": "Speed with accuracy"
        + (", and the two hands" if len(page.hands) > 1 else ""),
        "mind": fixed.mind,
        "rule": sentences.RULE,
    }


def _laid_out(page: Page, paper: Paper, n_rows: int) -> tuple[_Fixed, float]:
    """Give the rows what height is left; without room for the pairs, those go overleaf."""
    for with_pairs in (True, False):
        fixed = _Fixed(
            headlines=[_headline(page, hand) for hand in page.hands],
            anew=words.new_baseline(page),
            both=words.both_hands(page),
            key=occasion_key(page),
            goals=words.goals(page),
            mind=words.keep_in_mind(page, rule_of(page.rows.person)),
            n_ratio_lines=_ratio_lines(page) if with_pairs else 0,
            with_home_exercise=bool(page.rows.home_exercise and page.rows.visits),
            with_symptoms=any(v.symptoms for v in page.rows.visits),
        )
        left = ROOM_MM[paper] - fixed.height_mm()
        row_mm = min(left / max(n_rows, 1) - 0.2, MAX_ROW_MM)
        if row_mm >= PAIRS_NEED_MM:
            break
    return fixed, max(row_mm, MIN_ROW_MM)


def row_groups(page: Page) -> list[list[Line]]:
    """List the lines of the first sheet: all tasks together, then each; both hands of each."""
    names = [COMPOSITE.name, *(PRIMARY[task].name for task in page.tasks)]
    grouped = [[x for hand in page.hands if (x := page.line(name, hand))] for name in names]
    return [group for group in grouped if group]


def _groups(page: Page, row_mm: float) -> list[dict[str, Any]]:
    """Rows of the table, grouped by measure: the lines of both hands share one axis."""
    groups = []
    number = 0
    for lines in row_groups(page):
        time = Timeline.of(page)
        rows_of_group = []
        for line in lines:
            number += 1
            rows_of_group.append(_row(line, lines, time, row_mm, number))
        measure = lines[0].measure
        together = measure.name == COMPOSITE.name
        unit = f", {measure.unit}" if measure.unit not in ("", "1") else ""
        groups.append(
            {
                "title": measure.title if together else TITLES[measure.task],
                "what": _percent_of(lines) if together else f"{_short(measure)}{unit}",
                "direction": trend.DIRECTIONS[measure.direction],
                "rows": rows_of_group,
                "together": together,
            }
        )
    return groups


def _percent_of(lines: list[Line]) -> str:
    whole = any(line.verdict.band is not None for line in lines)
    return "% of baseline" if whole else "first visit is 100"


def _short(measure: Measure) -> str:
    """Name a measure in as few words as its column has room for."""
    return SHORT.get(measure.name, measure.title.lower())


def _row(
    line: Line, lines: list[Line], time: Timeline, row_mm: float, number: int
) -> dict[str, Any]:
    baseline, n_baseline = words.baseline_words(line, unit=False)
    latest = line.latest
    withheld = line.verdict.word == "withheld"
    room = (WIDE_VERDICT_MM if withheld else VERDICT_MM) * PT_PER_MM
    n_lines = max(1, min(MAX_CELL_LINES, int((row_mm - 0.3) / LINE_MM)))
    strong = line.verdict.word == "beyond error"
    verdict = words.cell_words(line)
    change, recent = words.change_words(line), words.recent_words(line)
    if width_pt(change, bold=True) + width_pt(f"; {recent}") > CHANGE_PT:
        change = change.removesuffix(" %")  # said once, after the mean
    full = ", ".join(w for w in (verdict, words.since_words(line), _flag_words(line)) if w)
    return {
        "hand": line.hand,
        "panel": trend.panel(line, lines, time, row_mm * PT_PER_MM),
        "baseline": baseline,
        "n_baseline": n_baseline,
        "latest": words.latest_words(line, unit=False),
        "n_latest": latest.n if latest else 0,
        "visit": latest.visit if latest else 0,
        "change": change,
        "recent": recent,
        "band": words.band_words(line),
        "verdict": full
        if len(lines_of(full, room, bold=strong)) <= n_lines
        else shortened(verdict, room, n_lines, bold=strong),
        "full": full,
        "strong": strong,
        "withheld": withheld,
        "note": number,
    }


def _flag_words(line: Line) -> str:
    """Name the flags of the latest visit that counts."""
    latest = line.latest
    return ", ".join(flag.replace("_", " ") for flag in latest.flags) if latest else ""


def _headline(page: Page, hand: Hand) -> dict[str, str]:
    statement, below = words.headline(page, hand)
    room = HEADLINE_MM * PT_PER_MM
    return {
        "hand": hand,
        "side": words.role_words(hand, page),
        "statement": shortened(statement, room, 3, 10.5, bold=True),
        "below": shortened(below, room, 3),
    }


def _facts(page: Page) -> list[str]:
    visits = page.rows.visits
    said = []
    if visits:
        last = visits[-1]
        said.append(f"plan {last.plan} ({last.plan_hash[:8]})")
        said.append(f"device {last.device}, {last.screen}")
        versions = f"protocol {last.protocol_version}, scoring {_scoring(page)}"
    else:
        versions = f"scoring {SCORING_VERSION}"
    said.append(f"{versions}; page made {page.made:%Y-%m-%d %H:%M}")
    return said


def _scoring(page: Page) -> str:
    found = sorted({r.key.scoring for r in page.rows.readings if r.key.scoring})
    return " and ".join(found) or str(SCORING_VERSION)


def _about(page: Page) -> list[str]:
    visits, person = page.rows.visits, page.rows.person
    n = len(visits)
    span = (
        f"{n} visit{'' if n == 1 else 's'}, {visits[0].when:%Y-%m-%d} to "
        f"{visits[-1].when:%Y-%m-%d}"
        if visits
        else "no visit yet"
    )
    side = {"both": "both sides affected", "unknown": "more affected side not known"}.get(
        person.affected_side, f"more affected: {person.affected_side}"
    )
    return [span, f"writes with the {person.dominant_hand} hand; {side}"]


def occasion_key(page: Page) -> str:
    """Say what the letters on the time axis stand for; as much as there is room for."""
    told = [f"{o.letter} {o.when:%Y-%m-%d} {o.words}" for o in page.occasions]
    room = (SHEET_WIDTH_MM - 1) * PT_PER_MM
    for kept in range(len(told), 0, -1):
        more = f"; {len(told) - kept} more overleaf" if kept < len(told) else ""
        key = "; ".join(told[:kept]) + more + "."
        if len(lines_of(key, room)) <= MAX_KEY_LINES:
            return key
    return shortened(told[0], room, MAX_KEY_LINES) if told else ""


def _ratio_lines(page: Page) -> int:
    """Count the lines of what is said below the pairs; 0 where there is no pair to draw."""
    if not any(pairs.pair_figure(page, task) for task in page.tasks):
        return 0
    told = [beside["verdict"] for t in page.tasks if (beside := sides(page, t))]
    return max((len(lines_of(said, PAIR_MM * PT_PER_MM)) for said in told), default=1)


def pair_columns(page: Page) -> list[dict[str, Any]]:
    """One column a task: the picture of speed and accuracy, and the two hands side by side."""
    columns = []
    for task in page.tasks:
        figure = pairs.pair_figure(page, task, PAIR_HEIGHT_MM)
        found = next((pair for hand in page.hands if (pair := page.pair(task, hand))), None)
        beside = sides(page, task)
        if found is None or not (figure or (beside and beside["told"])):
            continue
        speed, exact = (line.measure for line in found)
        columns.append(
            {
                "title": TITLES[task],
                "figure": figure,
                "up": _axis_words(exact.title, exact.unit),
                "right": _axis_words(speed.title, speed.unit),
                "sides": beside,
            }
        )
    return columns


def _axis_words(title: str, unit: str) -> str:
    return f"{title.lower()}, {unit}" if unit not in ("", "1") else title.lower()


def sides(page: Page, task: str) -> dict[str, Any] | None:
    """Return both hands' values at baseline and now, their ratio and what may be said."""
    line = page.sides.get(task)
    if line is None:
        return None
    name = PRIMARY[task].name
    first, second = page.hands
    upper, lower = page.lines[name, first], page.lines[name, second]
    latest = line.latest
    visit = latest.visit if latest else 0

    def at(own: Line) -> str:
        values = [s.reading.value for s in own.shown if s.reading.visit == visit]
        return shapes.number(values[0]) if values and latest else words.DASH

    def centre(own: Line) -> str:
        band = own.verdict.band
        return shapes.number(band.centre) if band else words.DASH

    band = line.verdict.band
    reach = f" ({shapes.number(band.low)} to {shapes.number(band.high)})" if band else ""
    if decided := sentences.decided_words(line.verdict):
        reach = f" ({decided})"
    said = line.verdict.word if line.verdict.word != "withheld" else "no verdict yet"
    return {
        "first": first,
        "second": second,
        "baseline": (centre(upper), centre(lower), centre(line)),
        "latest": (at(upper), at(lower), shapes.number(latest.value) if latest else words.DASH),
        "visit": visit,
        "told": band is not None,
        "verdict": f"{said}{reach}",
        "measure": MEASURES[name].title.lower(),
    }
