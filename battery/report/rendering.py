"""One self-contained HTML page: no network, one sheet first, details after."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime
from functools import cache
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from battery.errors import StoreError, UsageError
from battery.files import replace_whole
from battery.people import person_label
from battery.report.details import details
from battery.report.gather import gather
from battery.report.glance import glance
from battery.report.judged import Page, page_data
from battery.report.note import note_text
from battery.report.pooling import Pools
from battery.report.sheet import ROOM_MM, Paper, sheet
from battery.store import Store


def write_page(
    store: Store, code: str, out: Path, *, now: datetime, paper: Paper = "A4"
) -> Path:
    """Write a person's page and return its path.

    Raises
    ------
    UsageError
        If nobody has the code.
    StoreError
        If the file cannot be written.
    """
    return write_text(out, render(page_of(store, code, now=now), paper=paper))


def write_text(out: Path, text: str) -> Path:
    """Write a file whole or not at all, and return its path.

    Raises
    ------
    StoreError
        If it cannot be written.
    """
    try:
        replace_whole(out, text.encode())
    except OSError as error:
        msg = f"cannot write '{out}': {error.strerror or error}; the store was not changed"
        raise StoreError(msg) from error
    return out


def paper_named(name: str) -> Paper:
    """Return the paper of that name.

    Raises
    ------
    UsageError
        If the page is not made for it.
    """
    for paper in ROOM_MM:
        if name.lower() == paper.lower():
            return paper
    msg = f"no paper {name!r}; say {' or '.join(ROOM_MM)}"
    raise UsageError(msg)


def page_of(store: Store, code: str, *, now: datetime, pools: Pools | None = None) -> Page:
    """Read and judge a person's page, with what is drawn of the blocks.

    Parameters
    ----------
    pools : Pools, optional
        As `gather` takes them.

    Raises
    ------
    UsageError
        If nobody has the code.
    """
    page = page_data(gather(store, code, pools), made=now)
    from battery.report.traces import traces_of  # a list of people draws nothing

    return replace(page, traces=traces_of(page, store.records.load, store.left_out))


def render(page: Page, *, paper: Paper = "A4") -> str:
    """Return the page as HTML.

    Parameters
    ----------
    paper : {"A4", "letter"}
        What it is to be printed on; on screen it makes no difference.
    """
    return (
        _environment()
        .get_template("page.html.j2")
        .render(
            page=page,
            person=page.rows.person,
            code=person_label(page.rows.person),
            made=f"{page.made:%Y-%m-%d %H:%M}",
            invented=page.simulated,
            paper=paper,
            glance=glance(page, paper),
            sheet=sheet(page, paper),
            note=note_text(page),
            details=details(page),
        )
    )


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("battery.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["unbroken"] = unbroken
    return environment


# Begun at the start of a word alone and never taken back: else a long word takes for ever.
_HYPHENED = re.compile(r"(?<!\w)(\w++(?:-\w++)+)")


def unbroken(words: str) -> Markup:
    """Mark up words with a hyphen inside, such as a device's name: no line ends in them."""
    parts = _HYPHENED.split(words)
    marked = [
        Markup("<span class='nb'>{}</span>").format(part) if index % 2 else escape(part)
        for index, part in enumerate(parts)
    ]
    return Markup("").join(marked)
