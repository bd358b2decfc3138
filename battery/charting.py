"""Charts for a clinic's record system: what the page says, handed to the export."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from datetime import datetime
from functools import cache
from pathlib import Path

from battery.errors import UsageError
from battery.export.fhir import Page as Attached
from battery.export.fhir import Said, Value
from battery.report import page_data, page_of, render, words, write_pdf, write_text
from battery.report.alarming import alarm_lines
from battery.report.combined import COMPOSITE
from battery.report.gather import gather
from battery.report.judged import Page
from battery.report.lines import Line
from battery.report.points import rule_of
from battery.report.pool_reading import read_pools
from battery.report.pooling import Pools
from battery.report.trend import scale_of
from battery.store import Person, Store

ATTACH = {"html": "text/html", "pdf": "application/pdf"}


def saying(
    store: Store, now: datetime, attach: str | None, pools: Callable[[], Pools] | None = None
) -> Callable[[Person], Said]:
    """Return what says of a person what the page says.

    Parameters
    ----------
    attach : {"html", "pdf"} or None
        Form in which the page itself is attached.
    pools : callable, optional
        Returns what everybody brings, where it is at hand; default: it is read once.

    Raises
    ------
    UsageError
        If it cannot be attached in that form.
    """
    if attach is not None and attach not in ATTACH:
        msg = f"no page as {attach!r}: say {' or '.join(ATTACH)}. Nothing was exported"
        raise UsageError(msg, field="attach")

    @cache
    def everybodys() -> Pools:
        """Read what everybody brings once, not once a person."""
        return read_pools(store) if pools is None else pools()

    def say(person: Person) -> Said:
        if attach is None:
            rows = gather(store, person.code, everybodys())
            return said_of(page_data(rows, made=now))
        page = page_of(store, person.code, now=now, pools=everybodys())
        told = said_of(page)
        data = render(page).encode() if attach == "html" else _pdf(page)
        made = page.made.isoformat(timespec="milliseconds")
        return Said(told.values, told.sentences, Attached(ATTACH[attach], data, made))

    return say


def said_of(page: Page) -> Said:
    """Take from a judged page the main measures of every visit, and its sentences."""
    lines = [
        line
        for (name, _), line in page.lines.items()
        if line.measure.primary and not name.startswith("speed.")
    ]
    return Said([v for line in lines for v in _values(page, line)], tuple(_sentences(page)))


def _values(page: Page, line: Line) -> Iterator[Value]:
    scale = scale_of(line)
    for shown in line.shown:
        reading = shown.reading
        yield Value(
            measure=reading.measure,
            hand=reading.hand,
            visit_id=page.visit(reading.visit).visit_id,
            block_id="" if line.measure.name == COMPOSITE.name else reading.block_id,
            value=reading.value * scale,
            n=reading.n,
            low=reading.low,
            high=reading.high,
            reason=reading.reason,
            flags=reading.flags,
            aside=reading.aside,
            scoring=reading.key.scoring,
        )


def _sentences(page: Page) -> Iterator[str]:
    """Say alarms first, then each hand, then what to keep in mind."""
    for alarm in alarm_lines(page.rows.open_alarms):
        yield f"ALARM, not acknowledged: {alarm}."
    for hand in page.hands:
        said, below = words.headline(page, hand)
        yield f"{hand.capitalize()} hand. {' '.join(part for part in (said, below) if part)}"
    more = [words.both_hands(page), words.new_baseline(page)]
    yield from (told for told in more if told)
    yield from words.keep_in_mind(page, rule_of(page.rows.person))


def _pdf(page: Page) -> bytes:
    with tempfile.TemporaryDirectory(prefix="battery-chart-") as folder:
        written = write_text(Path(folder) / "page.html", render(page))
        return write_pdf(written, Path(folder) / "page.pdf").read_bytes()
