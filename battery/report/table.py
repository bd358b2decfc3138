"""The first sheet as a table: one row a main measure and hand, for a spreadsheet."""

from __future__ import annotations

import csv
import io
import math

from battery.cells import harmless
from battery.report.judged import Page
from battery.report.lines import Line
from battery.report.sheet import row_groups
from battery.report.trend import scale_of
from battery.report.words import role_words

COLUMNS = (
    "code", "page_made", "measure", "unit", "hand", "side", "baseline", "n_baseline_visits",
    "latest", "latest_low", "latest_high", "latest_visit", "latest_date", "latest_n",
    "change_percent", "band_low", "band_high", "verdict", "better", "since_visit", "reason",
    "flags",
)  # fmt: skip


def page_csv(page: Page) -> str:
    """Return the sheet's rows as CSV with a header; what is missing is empty.

    Values are in the unit of the measure; all tasks together are percent of their baseline.
    """
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for group in row_groups(page):
        for line in group:
            writer.writerow(_row(page, line))
    return out.getvalue()


def _row(page: Page, line: Line) -> dict[str, str]:
    scale, verdict, latest = scale_of(line), line.verdict, line.latest
    band, average = verdict.band, verdict.average
    beyond = verdict.word == "beyond error"
    row = {
        "code": page.rows.person.code,
        "page_made": f"{page.made:%Y-%m-%d}",
        "measure": line.measure.name,
        "unit": line.measure.unit,
        "hand": line.hand,
        "side": role_words(line.hand, page),
        "n_baseline_visits": str(len(line.of("baseline"))),
        "change_percent": _number(verdict.change_percent),
        "verdict": verdict.word,
        "better": {True: "yes", False: "no", None: ""}[verdict.better],
        "since_visit": str(average.since_visit) if beyond and average else "",
        "reason": verdict.reason,
    }
    if band is not None:
        row |= {
            "baseline": _number(band.centre * scale),
            "band_low": _number(band.low * scale),
            "band_high": _number(band.high * scale),
        }
    if latest is not None:
        row |= {
            "latest": _number(latest.value * scale),
            "latest_low": _number(latest.low * scale),
            "latest_high": _number(latest.high * scale),
            "latest_visit": str(latest.visit),
            "latest_date": f"{page.visit(latest.visit).when:%Y-%m-%d}",
            "latest_n": str(latest.n),
            "flags": " ".join(latest.flags),
        }
    return {name: _cell(text) for name, text in row.items()}


def _cell(text: str) -> str:
    """Keep a number as it is; no text may be run by a spreadsheet."""
    try:
        float(text)
    except ValueError:
        return harmless(text)
    return text


def _number(value: float | None) -> str:
    return "" if value is None or math.isnan(value) else f"{value:.6g}"
