"""The sheets after the first: everything behind it, for whoever asks where a number is from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from battery.home_plan import dose_words
from battery.recording import HANDS, Hand
from battery.report import pictures, sheet, strips, trend, words
from battery.report.alarming import acknowledged_lines, alarm_lines
from battery.report.combined import COMPOSITE, TITLES
from battery.report.judged import Page
from battery.report.lines import Line
from battery.report.page_rows import Reading, Trace
from battery.report.shapes import PT_PER_MM
from battery.report.timeline import Timeline
from battery.scoring import MEASURES, Measure, measures_of
from battery.scoring.flags import FLAGS
from battery.scoring.score import NOT_GIVEN
from norms import reference, sentences
from norms.multiplicity import standing_out
from norms.trend import trend as drift

WIDE_MM = 186.0
MOST_TURNS = 14
FELT = ("none", "a little", "clear", "strong")
REACTION = "tapping.reaction_time_s"
TOPICS: dict[str, tuple[str, ...]] = {
    "tapping": ("reaction_time", "throughput"),
    "pursuit": ("tremor",),
    "slide": ("tremor",),
    "trail": ("paper_trail",),
}
_NO_CHANGE = {"interval": "", "change": "", "band": ""}
EFFECTS = {
    "not_scored": "not scored",
    "not_trended": "shown, not counted",
    "new_series": "counted, in a series of its own",
    "care": "counted, with care",
    "shown": "counted",
}


def details(page: Page) -> dict[str, Any]:
    """Return what the template of the further sheets needs."""
    return {
        "pictures": picture_rows(page),
        "spectra": spectra(page),
        "verdicts": verdicts(page),
        "rule_detail": sentences.RULE_DETAIL,
        "drifts": drifts(page),
        "tables": tables(page),
        "stands_out": stands_out(page),
        "visits": visits(page),
        "flags": flags(page),
        "occasions": [
            {"letter": o.letter, "when": f"{o.when:%Y-%m-%d}", "words": o.words}
            for o in page.occasions
        ],
        "sources": sources(page),
        "definitions": definitions(page),
        "reference": references(page),
        "cautions": [
            words.STOP,
            words.EMERGENCY,
            words.SEATED,
            words.ASK_FIRST,
            words.INTENDED,
        ],
        "alarms": alarm_lines(page.rows.open_alarms),
        "acknowledged": acknowledged_lines(page.rows.alarms),
        "home": home_lines(page),
        "standing": [words.state(page), words.asked_first(page)],
    }


def home_lines(page: Page) -> dict[str, Any]:
    """Say what was agreed for home and what was told of head turns, the latest last."""
    turns = page.rows.head_turns[-MOST_TURNS:]
    return {
        "agreed": [dose_words(entry, TITLES) for entry in page.rows.home_plan],
        "n_turns": len(page.rows.head_turns),
        "turns": [
            {
                "day": entry.local_date,
                "minutes": words.DASH if entry.minutes is None else f"{entry.minutes:g}",
                "before": _felt(entry.symptoms_before),
                "after": _felt(entry.symptoms),
                "beat": _beats(entry.clear_beats_per_min),
            }
            for entry in turns
        ],
    }


def _felt(level: int | None) -> str:
    return words.DASH if level is None else FELT[level]


def _beats(beats: int | None) -> str:
    if beats is None:
        return words.DASH
    return f"{beats} a minute" if beats else "at none"


def picture_rows(page: Page) -> list[dict[str, Any]]:
    """For each task the pictures of both hands, baseline beside latest."""
    rows = []
    for task in page.tasks:
        wanted: list[tuple[Hand, str, Trace]] = []
        for hand in page.hands:
            first, latest = page.traces.get((task, hand), (None, None))
            wanted += [(hand, "baseline", first)] if first else []
            wanted += [(hand, "latest", latest)] if latest else []
        if not wanted:
            continue
        drawn = pictures.row_of_pictures(task, wanted)
        rows.append(
            {
                "title": TITLES[task],
                "about": pictures.ABOUT[task],
                "pictures": [
                    {
                        "hand": hand,
                        "figure": figure,
                        "words": f"{when}, visit {trace.visit}",
                    }
                    for (hand, when, trace), figure in zip(wanted, drawn, strict=True)
                ],
            }
        )
    return rows


def spectra(page: Page) -> list[dict[str, Any]]:
    """For the tasks with a path: the spectra across it."""
    rows = []
    for task in page.tasks:
        figures = []
        for hand in page.hands:
            first, latest = page.traces.get((task, hand), (None, None))
            figure = pictures.spectra(hand, TITLES[task].lower(), first, latest)
            if figure:
                figures.append({"hand": hand, "figure": figure, "words": _peaks(first, latest)})
        if figures:
            rows.append({"title": TITLES[task], "figures": figures})
    return rows


def _peaks(first: Trace | None, latest: Trace | None) -> str:
    told = [
        f"{when} {peak:.1f} Hz"
        for when, trace in (("baseline", first), ("latest", latest))
        if not math.isnan(peak := pictures.peak_hz(trace))
    ]
    return f"largest at {', '.join(told)}" if told else ""


def verdicts(page: Page) -> list[dict[str, Any]]:
    """For each hand's headline: the running mean large enough to be read off."""
    found = []
    lines = [line for hand in page.hands if (line := page.headline(hand))]
    for line in lines:
        if line.verdict.average is None:
            continue
        time = Timeline.of(page, WIDE_MM)
        said = [sentences.average_words(line.verdict), sentences.interval_words(line.verdict)]
        found.append(
            {
                "hand": line.hand,
                "title": line.measure.title,
                "figure": trend.panel(line, lines, time, 30 * PT_PER_MM, running=True),
                "footer": strips.footer_strip(time),
                "words": "; ".join(s for s in said if s),
            }
        )
    return found


def drifts(page: Page) -> list[dict[str, str]]:
    """For each line of the first sheet: how its visits drift; a description, no verdict."""
    found = []
    for group in sheet.row_groups(page):
        for line in group:
            counted = line.of("familiarisation", "baseline", "later")
            if not counted:
                continue
            days = [page.visit(r.visit).when.timestamp() / 86_400 for r in counted]
            told = drift(
                [r.value for r in counted],
                [(day - days[0]) / 7 for day in days],
                log_scale=line.measure.log_scale,
            )
            found.append(
                {
                    "hand": line.hand,
                    "title": line.measure.title,
                    "words": sentences.trend_words(told),
                }
            )
    return found


def tables(page: Page) -> list[dict[str, Any]]:
    """Every measure of every task, both hands: baseline, latest, change, band."""
    found = []
    for task in page.tasks:
        rows = [
            {
                "title": measure.title,
                "name": measure.name,
                "unit": words.unit_words(measure),
                "direction": trend.DIRECTIONS[measure.direction].removesuffix(" is better"),
                "primary": measure.primary,
                "cells": [_cell(page.line(measure.name, hand), measure) for hand in page.hands],
                "note": words.loop_delay(page) if measure.name == REACTION else "",
            }
            for measure in told_measures(page, task)
        ]
        found.append({"title": TITLES[task], "rows": rows})
    return found


def told_measures(page: Page, task: str) -> list[Measure]:
    """List the measures of a task that the page tells: those somebody had a value in.

    Parts of a measure (one side of the screen, one frequency) are for the export.
    """
    return [
        measure
        for measure in measures_of(task)
        if not _is_part(measure)
        and any(
            s.reading.counts or s.reading.reason or s.reading.aside
            for hand in page.hands
            if (line := page.line(measure.name, hand))
            for s in line.shown
        )
    ]


def _is_part(measure: Measure) -> bool:
    return bool(getattr(measure, "detail", False))


def _cell(line: Line | None, measure: Measure) -> dict[str, str]:
    if line is None:
        return {"baseline": words.DASH, "latest": words.DASH, "reason": "not done"} | _NO_CHANGE
    latest = line.latest
    own = line.verdict.band
    if latest is None:
        last = line.shown[-1].reading
        reason = last.aside or last.reason
        return {"baseline": words.DASH, "latest": words.DASH, "reason": reason} | _NO_CHANGE
    interval = ""
    if not math.isnan(latest.low):
        interval = trend.width_words(measure, latest.low, latest.high)
    value, reason = words.value_words(measure, latest.value, unit=False), latest.reason
    reason = "" if reason == NOT_GIVEN else reason
    last = line.shown[-1].reading
    if last.visit > latest.visit:  # the newest visit has none: an older one is named as such
        value = f"{value} (visit {latest.visit})"
        reason = f"visit {last.visit}: {last.aside or last.reason}"
    return {
        "baseline": words.value_words(measure, own.centre, unit=False) if own else words.DASH,
        "latest": value,
        "interval": interval,
        "reason": reason,
        "change": words.change_words(line),
        "band": words.band_words(line),
    }


def stands_out(page: Page) -> str:
    """Say which secondary measures stand out once the number looked at is allowed for."""
    looked = {
        f"{hand} hand, {TITLES[line.measure.task].lower()}, {line.measure.title.lower()}": own
        for (name, hand), line in page.lines.items()
        if name in MEASURES
        and not line.measure.primary
        and not _is_part(line.measure)
        and (own := line.verdict)
    }
    found, n_looked = standing_out(looked)
    if not n_looked:
        return ""
    named = "; ".join(found) if found else "none"
    return (
        f"Secondary measures get no verdict. Of {n_looked} looked at, those whose recent mean "
        f"stands out from baseline, allowing for so many (Benjamini and Hochberg 1995, at most "
        f"5 % of those named by chance, for one look planned beforehand): {named}."
    )


def visits(page: Page) -> list[dict[str, Any]]:
    """List the visits with their flags and what was said about them later."""
    raised: dict[int, set[str]] = {}
    aside: dict[int, set[str]] = {}
    for reading in page.rows.readings:
        raised.setdefault(reading.visit, set()).update(reading.flags)
        if reading.aside:
            where = f"{TITLES[reading.measure.split('.')[0]].lower()}, {reading.hand}"
            aside.setdefault(reading.visit, set()).add(f"{where}: {reading.aside}")
    return [
        {
            "number": v.number,
            "when": f"{v.when:%Y-%m-%d %H:%M}",
            "plan": f"{v.plan} ({v.plan_hash[:8]})",
            "device": v.device,
            "ending": v.ending,
            "id": v.visit_id[:8],
            "flags": ", ".join(sorted(f.replace("_", " ") for f in raised.get(v.number, ()))),
            "aside": sorted(aside.get(v.number, ())),
            "remarks": v.remarks,
        }
        for v in page.rows.visits
    ]


def flags(page: Page) -> list[dict[str, str]]:
    """Explain every flag that was raised."""
    raised = sorted({flag for reading in page.rows.readings for flag in reading.flags})
    return [
        {
            "name": name.replace("_", " "),
            "says": FLAGS[name].says,
            "effect": EFFECTS[FLAGS[name].effect],
        }
        for name in raised
    ]


def sources(page: Page) -> list[dict[str, Any]]:
    """For each numbered row of the first sheet: the visits and blocks behind its numbers."""
    found: list[dict[str, Any]] = []
    for group in sheet.row_groups(page):
        for line in group:
            latest = line.latest
            found.append(
                {
                    "number": len(found) + 1,
                    "title": f"{line.hand} hand, {line.measure.title.lower()}",
                    "measure": line.measure.name,
                    "baseline": _blocks(page, line, line.of("baseline")),
                    "latest": _blocks(page, line, (latest,) if latest else ()),
                }
            )
    return found


def _blocks(page: Page, line: Line, readings: Sequence[Reading]) -> str:
    told = []
    for reading in readings:
        if line.measure.name == COMPOSITE.name:
            told.append(f"visit {reading.visit}")
        else:
            value = words.value_words(line.measure, reading.value)
            told.append(f"visit {reading.visit}, block {reading.block_id[:8]}: {value}")
    return "; ".join(told) or words.DASH


def definitions(page: Page) -> list[dict[str, str]]:
    """Say of every measure shown how it is made and what it cannot tell."""
    shown = [m for task in page.tasks for m in told_measures(page, task)]
    together = (
        [COMPOSITE] if any((COMPOSITE.name, hand) in page.lines for hand in HANDS) else []
    )
    return [
        {
            "name": m.name,
            "title": m.title if m is COMPOSITE else f"{TITLES[m.task]}: {m.title}",
            "meaning": m.meaning,
            "limits": m.limits,
            "source": m.source,
        }
        for m in [*together, *shown]
    ]


def references(page: Page) -> list[str]:
    """Values from the literature about what the tasks come near to; context only."""
    topics = dict.fromkeys(topic for task in page.tasks for topic in TOPICS[task])
    return [
        sentences.reference_words(value) for topic in topics for value in reference.shown(topic)
    ]
