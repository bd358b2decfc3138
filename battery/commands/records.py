"""The commands for whoever keeps the records: export, rescore, verify, backup."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from battery.commands.common import Home, Progress, day_meant, open_store, say_unreadable
from battery.errors import UsageError


def export(
    directory: Annotated[
        Path, typer.Argument(help="Folder to write; new, empty or an export.")
    ],
    person: Annotated[
        list[str] | None, typer.Option(help="Only this person's code; may be said again.")
    ] = None,
    task: Annotated[
        list[str] | None, typer.Option(help="Only blocks of this task; may be said again.")
    ] = None,
    since: Annotated[
        str | None, typer.Option(help="First local date of visits, as 2026-05-31.")
    ] = None,
    until: Annotated[
        str | None, typer.Option(help="Last local date of visits, as 2026-05-31.")
    ] = None,
    bids: Annotated[
        bool, typer.Option("--bids", help="Write a BIDS dataset of motion and behaviour.")
    ] = False,
    home: Home = None,
) -> None:
    """Write raw samples, events, trials and scores as CSV and Parquet, with a dictionary.

    Relative days, no names. Example: battery export study-1 --task trail --since 2026-05-01
    """
    from battery.export import export_bids, export_tidy
    from battery.export.selection import Selection

    asked = Selection(
        people=[code.upper() for code in person or []],
        tasks=[name.lower() for name in task or []],
        since=None if since is None else day_meant(since, "exported"),
        until=None if until is None else day_meant(until, "exported"),
    )
    write = export_bids if bids else export_tidy
    with open_store(home, write=False) as store:
        with Progress("exporting") as step:
            counts = write(store, directory, selection=asked, progress=step)
        for what, count in counts.items():
            print(f"{what:<14} {count:>10,}" + ("" if bids else " rows"))
        print(directory)
        say_unreadable(store)


def rescore(
    source: Annotated[
        Path | None,
        typer.Option("--from", help="A tidy export to score instead; it is not changed."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="With --from: write the scores to this CSV file.")
    ] = None,
    home: Home = None,
) -> None:
    """Compute all scores again from the raw records, on all cores. Raw is not touched.

    Says what changed and why: a measure defined anew, or never scored before.
    Example: battery rescore, or from an export alone: battery rescore --from study-1
    """
    if source is not None:
        _rescore_export(source, out)
        return
    if out is not None:
        msg = "--out goes with --from; the scores of a store stay in it"
        raise UsageError(msg)
    from battery.rescoring import rescore as score_again

    with open_store(home) as store:
        with Progress("scoring") as step:
            done = score_again(store, progress=step)
        print(done.summary)
        if done.failed:
            raise typer.Exit(1)
        say_unreadable(store)


def _rescore_export(source: Path, out: Path | None) -> None:
    from battery.export import rescore_export

    with Progress("scoring") as step:
        done = rescore_export(source, out=out, progress=step)
    print(done.summary())
    if done.differ or done.failed:
        raise typer.Exit(1)


def verify(
    directory: Annotated[
        Path | None, typer.Argument(help="A tidy export to check instead of the store.")
    ] = None,
    home: Home = None,
) -> None:
    """Check every record: hashes, references, order of stamps, and replay. Changes nothing.

    Example: battery verify, or an export: battery verify study-1
    """
    from battery.export import verify_export
    from battery.verify import verify as check

    if directory is not None:
        with Progress("checking") as step:
            found = verify_export(directory, progress=step)
    else:
        with open_store(home, write=False) as store, Progress("checking") as step:
            found = check(store, progress=step)
    print(found.summary())
    if found.findings:
        raise typer.Exit(1)


def backup(
    file: Annotated[Path, typer.Argument(help="File to make; must not be there.")],
    home: Home = None,
) -> None:
    """Copy the whole store into one file, also while a visit is being recorded.

    To restore, put it into an empty folder as battery.sqlite.
    Example: battery backup copy.sqlite
    """
    with open_store(home, write=False) as store:
        store.back_up(file)
    print(file)


COMMANDS = (export, rescore, verify, backup)
