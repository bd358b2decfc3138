"""From a person's data to one self-contained HTML page."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from battery.errors import StoreError
from battery.recording import HANDS, PROTOCOL_VERSION, Hand
from battery.report import figures, svg
from battery.report.data import RULE, Line, PageData, gather, measures_of, role
from battery.scoring import PARTNER, PRIMARY, SCORING_VERSION
from battery.scoring.flags import FLAGS
from battery.store import Store
from norms import sentences
from norms.baseline import split
from norms.verdict import Verdict
from tasks.registry import TASKS

TITLES = {
    "tapping": "Touching targets",
    "slide": "Sliding",
    "pursuit": "Following",
    "trail": "Connecting",
}


def write_page(store: Store, code: str, out: Path, *, now: datetime) -> Path:
    """Write a person's page and return its path.

    Raises
    ------
    UsageError
        If nobody has the code.
    StoreError
        If the file cannot be written.
    """
    html = render(gather(store, code, now=now))
    try:
        part = out.with_name(out.name + ".part")
        part.write_text(html, encoding="utf-8")
        part.replace(out)
    except OSError as error:
        msg = f"cannot write '{out}': {error.strerror or error}; the store was not changed"
        raise StoreError(msg) from error
    return out


def render(data: PageData) -> str:
    """Return the page as HTML: one A4 sheet first, details after."""
    environment = Environment(
        loader=PackageLoader("battery.report"), autoescape=True, undefined=StrictUndefined
    )
    template = environment.get_template("page.html.j2")
    return template.render(
        code=data.person.code,
        person=data.person,
        made=f"{data.made:%Y-%m-%d %H:%M}",
        visits=_visits(data),
        headlines=[_headline(data, hand) for hand in _hand_order(data)],
        trends=_trends(data),
        rows=_rows(data),
        details=_details(data),
        traces=_traces(data),
        limits=sentences.LIMITS,
        band_note=_band_note(data),
        scoring_version=SCORING_VERSION,
        protocol_version=PROTOCOL_VERSION,
        devices=sorted({_device(v.header.device) for v in data.visits}),
        plans=sorted({f"{v.header.plan_name} ({v.header.plan_hash[:8]})" for v in data.visits}),
        flags=sorted({f for line in data.lines.values() for v in line.values for f in v.flags}),
        flag_words={name: flag.says for name, flag in FLAGS.items()},
        simulated=any(v.header.origin == "simulated" for v in data.visits),
    )


def _device(device: Any) -> str:
    screen = device.screen
    size = f"{screen.width_mm:.0f} x {screen.height_mm:.0f} mm"
    return f"{device.alias}, {size} ({screen.scale_source})"


def _hand_order(data: PageData) -> tuple[Hand, ...]:
    first = data.person.first_hand
    return (first, "left" if first == "right" else "right")


def _headline(data: PageData, hand: Hand) -> dict[str, Any]:
    """One sentence a hand: what every primary measure allows us to say."""
    side = {"affected": "more affected", "other": "less affected"}.get(
        role(hand, data.person), ""
    )
    groups: dict[str, list[str]] = {}
    learning = False
    pairs = []
    for task in TASKS:
        line = data.line(PRIMARY[task].name, hand)
        if line is None:
            continue
        words = sentences.change_words(line.verdict)
        name = line.measure.title.lower()
        told = line.verdict.word in ("beyond error", "possible, repeat")
        if told:
            name += f" {sentences.percent_words(line.verdict)}"
        groups.setdefault(words, []).append(name)
        learning |= line.verdict.learning and line.verdict.word != "withheld"
        pair = _pair(data, task, hand)
        if pair and told:
            pairs.append(f"{TITLES[task].lower()}: {pair}")
    said = "; ".join(f"{_and(names)}: {words}" for words, names in groups.items())
    text = (said[:1].upper() + said[1:] + ".") if said else "Not tested yet."
    if pairs:
        text += f" {'; '.join(pairs).capitalize()}."
    if learning:
        text += f" {sentences.LEARNING}"
    return {"hand": hand, "side": side, "text": text}


def _and(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _pair(data: PageData, task: str, hand: Hand) -> str:
    if task != "tapping":
        return ""
    accuracy = data.line(PRIMARY[task].name, hand)
    speed = data.line(PARTNER[task], hand)
    if accuracy is None or speed is None:
        return ""
    return sentences.pair_words(speed.verdict.better, accuracy.verdict.better)


def _trends(data: PageData) -> list[dict[str, Any]]:
    rows = []
    for task in TASKS:
        lines = [
            line
            for hand in _hand_order(data)
            if (line := data.line(PRIMARY[task].name, hand)) is not None
        ]
        if lines:
            rows.append(
                {
                    "title": TITLES[task],
                    "direction": figures.DIRECTIONS[PRIMARY[task].direction],
                    "figures": [figures.trend(data, lines, line) for line in lines],
                }
            )
    return rows


def _rows(data: PageData) -> list[dict[str, str]]:
    rows = []
    for task in TASKS:
        for hand in _hand_order(data):
            line = data.line(PRIMARY[task].name, hand)
            if line is not None:
                rows.append(_row(task, line))
    return rows


def _row(task: str, line: Line) -> dict[str, str]:
    verdict = line.verdict
    unit = "" if line.measure.unit == "1" else f" {line.measure.unit}"
    baseline = split([v.point for v in line.values], RULE).baseline
    own = verdict.band
    latest = next((v for v in reversed(line.values) if v.point.counts), None)
    return {
        "task": TITLES[task],
        "hand": line.hand,
        "measure": line.measure.title,
        "baseline": f"{svg.number(own.centre)}{unit} ({len(baseline)})" if own else "–",
        "latest": f"{svg.number(latest.score.value)}{unit} ({latest.score.n})"
        if latest
        else "–",
        "trace": f"visit {latest.visit}, block {latest.score.block_id[:8]}" if latest else "",
        "change": f"{verdict.change_percent:+.0f} %".replace("-", "\N{MINUS SIGN}")
        if verdict.change_percent is not None
        else "–",
        "band": _band(verdict),
        "verdict": verdict.word + (f" ({verdict.reason})" if verdict.reason else ""),
        "flags": ", ".join(latest.flags) if latest else "",
    }


def _band(verdict: Verdict) -> str:
    if verdict.band is None:
        return "–"
    low, high = verdict.band.percent
    return f"{low:+.0f} to {high:+.0f} %".replace("-", "\N{MINUS SIGN}")


def _band_note(data: PageData) -> str:
    bands = [line.verdict.band for line in data.lines.values() if line.verdict.band is not None]
    if not bands:
        return (
            "No error band yet: the first 2 visits are for getting used to the test and the "
            "next 4 are the baseline."
        )
    if any(b.provisional for b in bands):
        return (
            "The error band is provisional and wide: it stands on this person's own baseline "
            "visits, as too few others can be pooled."
        )
    people = max(b.n_people for b in bands)
    return (
        f"The error band combines this person's {bands[0].n_baseline} baseline visits with the "
        f"scatter of up to {people} hands in this store with the same plan."
    )


def _details(data: PageData) -> list[dict[str, Any]]:
    """Every measure of every task: baseline, latest and interval, for both hands."""
    tables = []
    for task in TASKS:
        rows = []
        for measure in measures_of(task):
            cells = []
            for hand in HANDS:
                line = data.line(measure.name, hand)
                cells.append(_cell(line))
            rows.append(
                {
                    "title": measure.title,
                    "meaning": measure.meaning,
                    "limits": measure.limits,
                    "source": measure.source,
                    "unit": measure.unit,
                    "direction": figures.DIRECTIONS[measure.direction],
                    "primary": measure.primary,
                    "cells": cells,
                }
            )
        tables.append({"title": TITLES[task], "rows": rows})
    return tables


def _cell(line: Line | None) -> dict[str, str]:
    if line is None or not line.values:
        return {"baseline": "–", "latest": "–", "reason": "not tested"}
    latest = line.values[-1]
    own = line.verdict.band
    score = latest.score
    value = "–" if math.isnan(score.value) else svg.number(score.value)
    if not math.isnan(score.low) and value != "–":
        value += f" ({svg.number(score.low)} to {svg.number(score.high)})"
    return {
        "baseline": svg.number(own.centre) if own is not None else "–",
        "latest": value,
        "reason": score.reason,
    }


def _traces(data: PageData) -> list[dict[str, Any]]:
    rows = []
    for task in TASKS:
        pictures = [
            {"hand": hand, "figures": figures.traces(*data.traces[task, hand])}
            for hand in _hand_order(data)
        ]
        if any(p["figures"] for p in pictures):
            rows.append({"title": TITLES[task], "hands": pictures})
    return rows


def _visits(data: PageData) -> list[dict[str, Any]]:
    rows = []
    flags: dict[int, set[str]] = {}
    for line in data.lines.values():
        for value in line.values:
            flags.setdefault(value.visit, set()).update(value.flags)
    for visit in data.visits:
        header = visit.header
        rows.append(
            {
                "number": header.sequence,
                "date": header.started_utc[:10],
                "plan": header.plan_name,
                "device": header.device.alias,
                "ending": visit.ending or "open",
                "flags": ", ".join(sorted(flags.get(header.sequence, set()))),
            }
        )
    return rows
