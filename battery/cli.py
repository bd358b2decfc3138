"""The command line: declare, open, call one function, print.

Inner code raises `BatteryError`; here it becomes one line on standard error and an exit
status: 0 done, 1 it went wrong, 2 it was asked wrongly. Heavy imports stay inside the
commands so that `battery visit` is quick to show its first picture.
"""

from __future__ import annotations

import random
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from battery.errors import BatteryError, UsageError

if TYPE_CHECKING:
    from battery.store import Person, Store

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="A weekly test of hand-eye coordination on a screen, and what it shows against "
    "baseline. For research, education and record-keeping under a licensed clinician's care; "
    "not a diagnosis.",
)

Home = Annotated[
    str | None,
    typer.Option(
        "--home",
        help="Folder of the store, or a postgresql:// address. Default: BATTERY_HOME, or the "
        "data folder.",
    ),
]
Code = Annotated[
    str | None, typer.Argument(help="The person's code, as 'battery enrol' gave it.")
]


def _store(home: str | None, *, write: bool = True) -> Store:
    from battery.store import Store

    return Store.open(home, write=write)


def _person(store: Store, code: str | None) -> Person:
    """Return the person asked for, or the only one there is."""
    if code is not None:
        return store.person(code.upper())
    people = store.list_people()
    if len(people) == 1:
        return people[0]
    if not people:
        msg = "nobody is enrolled in this store; run 'battery enrol' first"
        raise UsageError(msg)
    msg = f"{len(people)} people are enrolled; say whose visit: battery visit CODE"
    raise UsageError(msg)


def _now() -> datetime:
    return datetime.now().astimezone()


@app.command()
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

    made = make_demo(directory, n_visits=visits, now=_now())
    print(made.summary())
    if open_pages and sys.stdout.isatty():
        for page in made.pages:
            typer.launch(str(page))


@app.command()
def enrol(
    dominant_hand: Annotated[
        str, typer.Option(help="Hand written with: left or right.")
    ] = "right",
    affected_side: Annotated[
        str, typer.Option(help="More affected side: left, right, both or unknown.")
    ] = "unknown",
    first_hand: Annotated[
        str | None,
        typer.Option(help="Hand tested first, the whole time. Default: the less affected one."),
    ] = None,
    home: Home = None,
) -> None:
    """Enrol a person under a random code. Names are never stored.

    Example: battery enrol --dominant-hand right --affected-side left
    """
    from battery.people import new_person

    with _store(home) as store:
        person = new_person(
            store,
            dominant_hand=dominant_hand,
            affected_side=affected_side,
            first_hand=first_hand,
            now=_now(),
        )
        print(person.code)
        print(f"Enrolled. First hand: {person.first_hand}. Next: battery visit {person.code}")


@app.command()
def people(home: Home = None) -> None:
    """List who is enrolled, when they were last here, and who is due.

    Example: battery people
    """
    from rich.console import Console
    from rich.table import Table

    from battery.people import caseload

    with _store(home, write=False) as store:
        rows = caseload(store, now=_now())
    if not rows:
        print("nobody is enrolled yet; run 'battery enrol'")
        return
    table = Table("code", "visits", "last visit", "days ago", "state", box=None)
    for row in rows:
        table.add_row(row.code, str(row.n_visits), row.last_visit, row.days_ago, row.state)
    Console(width=100).print(table)


@app.command()
def screen(
    width_mm: Annotated[
        float | None, typer.Option(help="Width of the lit screen area, by ruler, mm.")
    ] = None,
    height_mm: Annotated[
        float | None, typer.Option(help="Height of the lit screen area, by ruler, mm.")
    ] = None,
    home: Home = None,
) -> None:
    """Show this screen's scale and speed, or store its size as measured with a ruler.

    Example: battery screen --width-mm 217 --height-mm 136
    """
    from battery.stage import measure_screen

    with _store(home) as store:
        for line in measure_screen(store, width_mm=width_mm, height_mm=height_mm):
            print(line)


@app.command()
def visit(
    code: Code = None,
    plan: Annotated[
        str, typer.Option(help="standard, short, or the path of a plan file.")
    ] = "standard",
    windowed: Annotated[bool, typer.Option(help="Use a window, not the full screen.")] = False,
    large: Annotated[bool, typer.Option(help="Larger buttons (30 mm) and letters.")] = False,
    home: Home = None,
) -> None:
    """Do a visit on this screen. A visit that was cut off today goes on where it stopped.

    Example: battery visit K7QF --plan short --windowed
    """
    from battery.plan import load_plan
    from battery.stage import visit_on_screen

    chosen = load_plan(plan)
    with _store(home) as store:
        person = _person(store, code)
        with store.lock_for_recording():
            store.recover()
            print(
                visit_on_screen(
                    store,
                    person,
                    chosen,
                    windowed=windowed,
                    large=large,
                    wall=_now,
                    random_source=random.SystemRandom(),
                )
            )


@app.command()
def report(
    code: Annotated[str, typer.Argument(help="The person's code.")],
    out: Annotated[
        Path | None, typer.Option(help="File to write. Default: CODE.html here.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Make a PDF beside it too.")] = False,
    paper: Annotated[str, typer.Option(help="What it is printed on: A4 or letter.")] = "A4",
    home: Home = None,
) -> None:
    """Write a person's page: one self-contained HTML file that prints to one sheet and details.

    Example: battery report K7QF --out k7qf.html --pdf
    """
    from battery.report import paper_named, write_page, write_pdf

    size = paper_named(paper)
    with _store(home, write=False) as store:
        path = write_page(
            store, code.upper(), out or Path(f"{code.upper()}.html"), now=_now(), paper=size
        )
    print(path)
    if pdf:
        print(write_pdf(path, path.with_suffix(".pdf")))


@app.command()
def export(
    directory: Annotated[
        Path, typer.Argument(help="Folder to write; new, empty or an export.")
    ],
    person: Annotated[str | None, typer.Option(help="Only this person's code.")] = None,
    home: Home = None,
) -> None:
    """Write raw samples, events, trials and scores as CSV and Parquet, with a dictionary.

    Relative days, no names. Example: battery export study-1
    """
    from battery.export import export_tidy

    with _store(home, write=False) as store, _progress("exporting") as step:
        counts = export_tidy(
            store, directory, person=person.upper() if person else None, progress=step
        )
    for table, rows in counts.items():
        print(f"{table:<12} {rows:>10,} rows")
    print(directory)


@app.command()
def rescore(home: Home = None) -> None:
    """Compute all scores again from the raw records; say what changed. Raw is not touched.

    Example: battery rescore
    """
    from battery.visits import rescore_all

    with _store(home) as store, _progress("scoring") as step:
        summary = rescore_all(store, progress=step)
    print(summary)


@app.command()
def verify(home: Home = None) -> None:
    """Check every record: hashes, references, order of stamps, and replay. Changes nothing.

    Example: battery verify
    """
    from battery.verify import verify as check

    with _store(home, write=False) as store, _progress("checking") as step:
        found = check(store, progress=step)
    print(found.summary())
    if found.findings:
        raise typer.Exit(1)


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="File to make; must not be there.")],
    home: Home = None,
) -> None:
    """Copy the whole store into one file, also while a visit is being recorded.

    To restore, put it into an empty folder as battery.sqlite.
    Example: battery backup copy.sqlite
    """
    with _store(home, write=False) as store:
        store.back_up(file)
    print(file)


class _progress:  # noqa: N801  # used as a function that gives a context
    """A progress bar on a terminal, nothing elsewhere; called with (done, total)."""

    def __init__(self, what: str) -> None:
        self._what = what
        self._bar: Any = None

    def __enter__(self) -> Any:
        if not sys.stderr.isatty():
            return lambda _done, _total: None
        from rich.console import Console
        from rich.progress import Progress

        self._bar = Progress(console=Console(stderr=True), transient=True)
        self._bar.start()
        task = self._bar.add_task(self._what, total=None)
        return lambda done, total: self._bar.update(task, completed=done, total=total)

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()


def main() -> None:
    """Run the command line; the installed `battery` command."""
    try:
        app(standalone_mode=True)
    except BatteryError as error:
        print(f"battery: {error}", file=sys.stderr)
        sys.exit(error.exit_status)
    except KeyboardInterrupt:
        print("battery: stopped; what was finished is stored", file=sys.stderr)
        sys.exit(1)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)


if __name__ == "__main__":
    main()
