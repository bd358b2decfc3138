"""The commands of the clinic: the demo, enrolment, who is due, a person's page."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from battery.commands.common import Home, by_meant, now, now_utc, open_store, say_unreadable
from battery.commands.watching import Present, asked
from battery.errors import UsageError

if TYPE_CHECKING:
    from battery.report.caseload import CaseloadRow


def demo(
    directory: Annotated[
        Path | None, typer.Argument(help="Folder to make the demo in; must be new or empty.")
    ] = None,
    visits: Annotated[int, typer.Option(min=1, max=60, help="Weekly visits per person.")] = 14,
    open_pages: Annotated[
        bool, typer.Option("--open/--no-open", help="Show the pages in a browser at the end.")
    ] = True,
) -> None:
    """Make a small invented clinic: simulated people, their visits, pages and export.

    Needs no screen, account or network. Example: battery demo my-demo
    """
    from battery.demo import make_demo

    made = make_demo(directory, n_visits=visits, now=now())
    print(made.summary())
    if open_pages and sys.stdout.isatty():
        for page in made.pages:
            typer.launch(str(page))


def enrol(
    dominant_hand: Annotated[str, typer.Option(help="Writing hand: left or right.")] = "right",
    affected_side: Annotated[
        str, typer.Option(help="More affected side: left, right, both or unknown.")
    ] = "unknown",
    first_hand: Annotated[
        str | None,
        typer.Option(help="Hand that is always tested first. Default: the less affected one."),
    ] = None,
    familiarisation: Annotated[
        int, typer.Option(min=0, max=6, help="First visits left out, to get used to the test.")
    ] = 2,
    baseline: Annotated[
        int, typer.Option(min=2, max=12, help="Visits after them that make the baseline.")
    ] = 4,
    plan: Annotated[
        str | None,
        typer.Option(
            help="A plan of their own: standard, numbers, short, or a plan file. Needs "
            "--checked-by."
        ),
    ] = None,
    checked_by: Annotated[
        str, typer.Option(help="Who asked about reasons not to start, in initials or a role.")
    ] = "",
    present: Present = None,
    home: Home = None,
) -> None:
    """Enrol a person under a random code. Names are never stored.

    On a terminal it asks about reasons not to start, item by item. Elsewhere say
    --checked-by, and --present for each item that applies or is not known.

    The rule of the baseline is fixed here. With fewer than 2 visits left out and 4 kept,
    learning the test is not excluded, and every page says so.

    Example: battery enrol --dominant-hand right --affected-side left --checked-by AB
    """
    from battery.own_plan import plan_words, set_plan
    from battery.people import new_person, picture_of
    from battery.plan import load_plan

    if present and not checked_by.strip():
        msg = "who asked? Say --checked-by; nobody was enrolled"
        raise UsageError(msg)
    if plan is not None and not checked_by.strip():
        msg = "who sets the plan? Say --checked-by; nobody was enrolled"
        raise UsageError(msg)
    if plan is not None:
        load_plan(plan)  # refused before anybody is enrolled
    asks = sys.stdin.isatty() and not present
    by = by_meant(checked_by, "--checked-by")
    with open_store(home) as store:
        if asks and not by:
            asked_by = typer.prompt("Who asks about reasons not to start (initials or role)")
            by = by_meant(asked_by, "--checked-by")
        answers = asked(present or [], ask=asks) if by else []
        with store.together():  # all of it, or nobody
            person = new_person(
                store,
                dominant_hand=dominant_hand,
                affected_side=affected_side,
                first_hand=first_hand,
                n_familiarisation=familiarisation,
                n_baseline=baseline,
                now=now(),
            )
            if answers:
                store.care.answer_contraindications(
                    person.code, answers, author=by, at_utc=now_utc()
                )
            if plan is not None:
                row = set_plan(store, person.code, plan, author=by, at_utc=now_utc())
        print(person.code)
        if not answers:
            print(
                "Nobody has asked about reasons not to start: "
                f"battery contraindications {person.code}"
            )
        if plan is not None:
            print(f"Own {plan_words(row)}")
        print(f"Enrolled. First hand: {person.first_hand}. Next: battery visit {person.code}")
        print(
            f"Picture: {picture_of(store, person.code)}. The first page of every visit shows "
            "it beside the code; tell the person which it is."
        )


WHY = {"alarm": "ALARM", "beyond": "beyond error", "possible": "possible, repeat"}


def people(
    only: Annotated[
        str | None,
        typer.Option(
            help="alarm, flagged, beyond, possible, overdue, due, paused or discharged."
        ),
    ] = None,
    home: Home = None,
) -> None:
    """List who is enrolled, those first who need somebody, and what each hand shows.

    Alarms first, then who is flagged, changed beyond error, possibly changed, overdue, due, and
    the rest; among them who waits longest. Whoever is paused or discharged comes last.

    Example: battery people --only overdue
    """
    from battery.handover import waiting_alarms, waiting_lines
    from battery.report.caseload import STATES, caseload

    if only is not None and only not in STATES:
        msg = f"no state {only!r}; say {', '.join(STATES)}"
        raise UsageError(msg)
    with open_store(home, write=False) as store:
        rows = caseload(store, now=now())
        n_waiting = len(store.transfer.quarantine())
        if only in (None, "alarm"):
            for line in waiting_lines(waiting_alarms(store)):
                print(f"ALARM {line}  (battery quarantine)")
        _list_people(rows, only, n_waiting=n_waiting)
        say_unreadable(store)


def _list_people(rows: list[CaseloadRow], only: str | None, *, n_waiting: int) -> None:
    from rich.console import Console
    from rich.table import Table

    from battery.report.caseload import chosen

    if n_waiting:
        print(
            f"{n_waiting} received bundles wait for a choice; they are on no page yet: "
            "battery quarantine"
        )
    if not rows:
        print("nobody is enrolled yet; run 'battery enrol'")
        return
    wanted = chosen(rows, only)
    if not wanted:
        print(f"nobody of {len(rows)} is {only}")
        return
    for row in wanted:
        for line in row.alarms:
            print(f"ALARM {row.code}, {line}  (battery acknowledge {row.code})")
    table = Table("code", "visits", "last visit", "days", "state", "hands", "flags", box=None)
    for row in wanted:
        table.add_row(
            row.code,
            str(row.n_visits),
            f"{row.last_visit:%Y-%m-%d}" if row.last_visit else "",
            f"{max(row.days_ago, 0):.0f}" if row.last_visit else "",
            _state_of(row),
            "\n".join(row.hands),
            "\n".join(row.flags),
        )
    Console(width=120).print(table)


def _state_of(row: CaseloadRow) -> str:
    """Return why a row stands where it does, and below it whether a visit is due."""
    if row.place in ("due", row.due):
        return row.due
    return f"{WHY.get(row.place, row.place)}\n{row.due}"


def report(
    code: Annotated[str, typer.Argument(help="The person's code.")],
    out: Annotated[
        Path | None, typer.Option(help="File to write. Default: CODE.html here.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Make a PDF beside it too.")] = False,
    paper: Annotated[str, typer.Option(help="What it is printed on: A4 or letter.")] = "A4",
    table: Annotated[
        bool, typer.Option("--csv", help="Write the first sheet's rows as CSV beside it too.")
    ] = False,
    home: Home = None,
) -> None:
    """Write a person's page: one self-contained HTML file that prints to one sheet and details.

    Example: battery report K7QF --out k7qf.html --pdf
    """
    from battery.files import inside
    from battery.report import page_csv, page_of, paper_named, render, write_pdf, write_text

    size = paper_named(paper)
    with open_store(home, write=False) as store:
        page = page_of(store, code.upper(), now=now())
        path = write_text(
            out or inside(Path(), f"{page.rows.person.code}.html"), render(page, paper=size)
        )
        print(path)
        if table:
            print(write_text(path.with_suffix(".csv"), page_csv(page)))
        if pdf:
            print(write_pdf(path, path.with_suffix(".pdf")))
        say_unreadable(store)


COMMANDS = (demo, enrol, people, report)
