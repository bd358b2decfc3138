"""The first sheet: what is to be seen in twenty seconds, in words a patient understands too.

At most `MAX_WORDS` words and `MAX_NUMBERS` numbers of at least 10.5 points. What has no room
here stands on the sheets behind it, and the sheet says so.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from battery.people import person_label
from battery.recording import Hand
from battery.report import shapes, words
from battery.report.alarming import alarm_lines
from battery.report.combined import COMPOSITE, TITLES
from battery.report.glance_panels import SIZE_PT, STRIP_PT, panel, strip
from battery.report.hand_words import PLAIN, direction_words, told_of
from battery.report.judged import Page
from battery.report.lines import Line
from battery.report.points import rule_of
from battery.report.shapes import PT_PER_MM
from battery.report.sheet import ROOM_MM, SHEET_WIDTH_MM, Paper, row_groups
from battery.report.timeline import Timeline
from battery.report.widths import lines_of, shortened
from norms import sentences

MAX_WORDS, MAX_NUMBERS = 250, 60
LINE_MM = SIZE_PT * 1.2 / PT_PER_MM
BIG_MM = 15 * 1.15 / PT_PER_MM
TASK_MM, WORDS_MM, PANEL_MM = 38.0, 33.0, 42.0
MIN_ROW_MM, MAX_ROW_MM = 4 * LINE_MM + 1.0, 30.0
MAX_SMALL_LINES = 4
MAX_ALARMS, MAX_ALARM_LINES, MAX_ALARM_WORDS = 3, 5, 60
ALARM_ROOM_PT = (SHEET_WIDTH_MM - 7) * PT_PER_MM
HEADS = "Coordination test Alarm: not acknowledged yet Task Left Right Keep in mind"
UNSEEN = frozenset({"hand", "strong"})  # what only chooses a look
CAUTION = (
    "Not a diagnosis, no alarm service, no advice on treatment or dose; the clinician and "
    "local rules decide. When to stop and when to call for help: overleaf."
)
OVERLEAF = "More overleaf."
LATEST_WITHIN = "latest within error"
LEGEND = (
    "Lower is better. Pale: getting used to it. Small: an earlier series. Hollow: baseline. "
    "Solid: since. ×: not counted. Broad line: running mean. Shaded: the limits that decide. "
    "Dashed: an event. !: alarm."
)


def glance(page: Page, paper: Paper) -> dict[str, Any]:
    """Return what the template of the first sheet needs."""
    rows = _rows(page)
    fixed = _fixed(page)
    room_mm = ROOM_MM[paper] - _height_mm(fixed, len(rows))
    ends = f"1 {len(page.rows.visits)} " * len(page.hands) if rows else ""
    told = [HEADS, "invented data" * page.simulated, ends, *_strings(fixed), *_strings(rows)]
    minded: list[str] = []
    optional = _optional(page)
    for said in optional:
        trial = [*told, *minded, said, OVERLEAF]
        if _fits(trial) and _mind_mm([*minded, said]) <= room_mm:
            minded.append(said)
    if len(minded) < len(optional):
        minded.append(OVERLEAF)
    left_mm = room_mm - _mind_mm(minded)
    row_mm = min(MIN_ROW_MM + max(left_mm, 0.0) / max(len(rows), 1), MAX_ROW_MM)
    time = _timeline(page) if page.rows.visits else None
    groups = row_groups(page)
    for row, lines in zip(rows, groups, strict=True):
        for cell in row["cells"]:
            line = next((x for x in lines if x.hand == cell["hand"]), None)
            cell["panel"] = (
                panel(line, lines, time, (row_mm - 1.2) * PT_PER_MM) if line and time else ""
            )
    return fixed | {
        "rows": rows,
        "row_mm": f"{row_mm:.2f}",
        "strip": strip(time) if time else "",
        "mind": minded,
    }


def _timeline(page: Page) -> Timeline:
    """Return the page's time axis, as wide as the small pictures are."""
    time = Timeline.of(page, PANEL_MM)
    axis = replace(time.axis, start=4.0, end=time.width - 4.0)
    return replace(time, axis=axis)


def size(text: str) -> tuple[int, int]:
    """Count words and numbers of a text; a date is one number."""
    tokens = re.findall(r"\S+", text)
    numbers = sum(any(c.isdigit() for c in token) for token in tokens)
    return sum(any(c.isalpha() for c in t) for t in tokens), numbers


def _fits(texts: Sequence[str]) -> bool:
    n_words, n_numbers = size(" ".join(texts))
    return n_words <= MAX_WORDS and n_numbers <= MAX_NUMBERS


def _strings(found: Any) -> list[str]:
    if isinstance(found, str):
        return [found]
    inside = found
    if isinstance(found, Mapping):
        inside = [x for key, x in found.items() if key not in UNSEEN]
    return [text for x in inside for text in _strings(x)] if inside else []


def _fixed(page: Page) -> dict[str, Any]:
    """Say what always stands on the sheet."""
    return {
        "code": person_label(page.rows.person),
        "about": _about(page),
        "alarms": _alarms(page),
        "baseline": words.new_baseline(page),
        "hands": [_hand(page, hand) for hand in page.hands],
        "both": words.both_hands(page),
        "legend": LEGEND if page.hands else "",
        "caution": [sentences.LIMITS, CAUTION],
    }


def _about(page: Page) -> str:
    visits, state = page.rows.visits, page.rows.state
    n = len(visits)
    said = "No visit yet"
    if visits:
        first, last = visits[0].when, visits[-1].when
        said = f"{n} visit{'' if n == 1 else 's'}, {first:%Y-%m-%d} to {last:%Y-%m-%d}"
    if state is not None and state.state != "active":
        said += f"; {state.state} from {state.from_date}"
    return f"{said}."


def _alarms(page: Page) -> list[str]:
    """Say the first alarms that nobody has acknowledged, and how many more there are."""
    told = list(alarm_lines(page.rows.open_alarms))
    kept: list[str] = []
    for said in told[:MAX_ALARMS]:
        longer = [*kept, said]
        n_words, _ = size(" ".join(longer))
        if kept and (n_words > MAX_ALARM_WORDS or _n_lines(longer) > MAX_ALARM_LINES):
            break
        kept.append(shortened(said, ALARM_ROOM_PT, MAX_ALARM_LINES, SIZE_PT))
    more = len(told) - len(kept)
    return [*kept, f"{more} more overleaf."] if more else kept


def _n_lines(alarms: Sequence[str]) -> int:
    return sum(len(lines_of(said, ALARM_ROOM_PT, SIZE_PT)) for said in alarms)


def _hand(page: Page, hand: Hand) -> dict[str, str]:
    told = told_of(page, hand)
    if not told.sentences:
        return {"hand": hand, "title": told.title, "big": told.big, "small": ""}
    return {
        "hand": hand,
        "title": told.title,
        "big": told.big,
        "small": _small(told.sentences),
        "strong": "strong" if told.strong else "",
    }


def _small(said: Sequence[str]) -> str:
    """Say the sentences there is room for."""
    room = (SHEET_WIDTH_MM / 2 - 5) * PT_PER_MM
    kept = shortened(said[0], room, MAX_SMALL_LINES, SIZE_PT)
    for sentence in said[1:]:  # whole ones only; the others stand on the next sheet
        longer = f"{kept} {sentence}"
        if len(lines_of(longer, room, SIZE_PT)) <= MAX_SMALL_LINES:
            kept = longer
    return kept


def _rows(page: Page) -> list[dict[str, Any]]:
    """One row for all tasks together and for each task; both hands side by side."""
    rows = []
    for lines in row_groups(page):
        measure = lines[0].measure
        together = measure.name == COMPOSITE.name
        plain = PLAIN.get(measure.name)
        cells = []
        for hand in page.hands:
            line = next((x for x in lines if x.hand == hand), None)
            cells.append(_cell(hand, line))
        rows.append(
            {
                "title": measure.title if together else TITLES[measure.task],
                "what": "" if together else plain.what if plain else measure.title.lower(),
                "cells": cells,
            }
        )
    return rows


def _cell(hand: Hand, line: Line | None) -> dict[str, str]:
    if line is None:
        return {"hand": hand, "say": "not done", "since": "", "amounts": "", "strong": ""}
    verdict = line.verdict
    values = ""
    if line.measure.name != COMPOSITE.name and line.latest is not None:
        now = shapes.number(line.latest.value)
        unit = words.unit_words(line.measure)
        was = f"{shapes.number(verdict.band.centre)} → " if verdict.band else ""
        values = f"{was}{now} {unit}".strip()
    return {
        "hand": hand,
        "say": direction_words(line),
        "since": ", ".join(
            x
            for x in (
                words.since_words(line),
                LATEST_WITHIN * bool(sentences.back_words(verdict)),
                "doubtful" * bool(verdict.doubt),
            )
            if x
        ),
        "amounts": values,
        "strong": "strong" if verdict.word == "beyond error" else "",
    }


def _optional(page: Page) -> list[str]:
    """List what limits the reading, the most telling first; as much as there is room for."""
    mind = words.keep_in_mind(page, rule_of(page.rows.person))
    said = [x for x in mind if x not in (sentences.LIMITS, words.NOT_A)]
    asked = "" if page.rows.asked else words.asked_first(page)
    events = [f"{o.when:%Y-%m-%d} {o.words}" for o in page.occasions]
    told = f"On the time axis: {'; '.join(events[-3:])}." if events else ""
    return [x for x in (*said, told, words.goals(page), asked) if x]


def _height_mm(fixed: Mapping[str, Any], n_rows: int) -> float:
    """Estimate what stands beside the optional sentences, with rows at their lowest."""
    whole, half = SHEET_WIDTH_MM * PT_PER_MM, (SHEET_WIDTH_MM / 2 - 5) * PT_PER_MM

    def high(text: str, room: float) -> float:
        return LINE_MM * len(lines_of(text, room, SIZE_PT)) if text else 0.0

    total = 14.5
    if fixed["alarms"]:
        total += 8.0 + LINE_MM * _n_lines(fixed["alarms"]) + 3.5
    total += high(fixed["baseline"], whole) + 1.5
    hands = [
        LINE_MM + high(h["small"], half) + BIG_MM * len(lines_of(h["big"], half, 15, bold=True))
        for h in fixed["hands"]
    ]
    total += max(hands, default=LINE_MM) + 5.0
    total += high(fixed["both"], whole) + 1.0
    if n_rows:
        total += STRIP_PT / PT_PER_MM + LINE_MM + 2.0 + n_rows * (MIN_ROW_MM + 0.3)
        total += high(fixed["legend"], whole) + 1.5
    boxed = (SHEET_WIDTH_MM - 6) * PT_PER_MM
    return total + high(" ".join(fixed["caution"]), boxed) + 6.5


def _mind_mm(minded: Sequence[str]) -> float:
    room = (SHEET_WIDTH_MM - 6) * PT_PER_MM
    return LINE_MM * (len(lines_of(" ".join(minded), room, SIZE_PT)) + 1) if minded else 0.0
