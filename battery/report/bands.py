"""What the page says of each main measure, as rows that a table can hold."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from battery.report.gather import gather_primaries
from battery.report.judged import page_data
from battery.report.lines import Line
from battery.store import Store
from norms.band import Band


def band_rows(store: Store, *, now: datetime) -> Iterator[tuple[str, dict[str, Any]]]:
    """Give everybody's lines of the main measures: code, and what is said without the code."""
    for rows, readings in gather_primaries(store):
        page = page_data(rows, made=now, readings=readings)
        lines = [*page.lines.values(), *page.sides.values()]
        told = {
            (line.measure.name, line.hand): line
            for line in lines
            if line.measure.primary or line.measure.name.startswith("ratio.")
        }
        for _, line in sorted(told.items()):
            yield rows.person.code, _row(line)


def _row(line: Line) -> dict[str, Any]:
    verdict = line.verdict
    band = verdict.band
    return {
        "measure": line.measure.name,
        "hand": line.hand,
        "log_scale": line.measure.log_scale,
        "n_baseline": len(line.of("baseline")),
        "centre": _known(band.centre) if band else None,
        "low": _known(band.low) if band else None,
        "high": _known(band.high) if band else None,
        "error_from": _source(band) if band else None,
        "latest": _known(line.latest.value) if line.latest else None,
        "verdict": verdict.word,
        "better": verdict.better,
        "reason": verdict.reason or None,
    }


def _source(band: Band) -> str:
    if band.source:
        return "outside"
    return "own" if band.provisional else "pooled"


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
