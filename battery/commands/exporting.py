"""The command that exports: tables for research, a BIDS dataset, charts for a record system."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from battery.commands.common import (
    Home,
    Progress,
    account,
    at_terminal,
    day_meant,
    now,
    now_utc,
    open_store,
    say_unreadable,
)
from battery.errors import UsageError

if TYPE_CHECKING:
    from battery.export import Form
    from battery.export.choosing.selection import Selection
    from battery.store import Store


def export(
    directory: Annotated[
        Path, typer.Argument(help="Folder to write; new, empty or an export.")
    ],
    person: Annotated[
        list[str] | None, typer.Option(help="Only this person's code; may be repeated.")
    ] = None,
    task: Annotated[
        list[str] | None, typer.Option(help="Only blocks of this task; may be repeated.")
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
    fhir: Annotated[
        bool,
        typer.Option(
            "--fhir",
            help="Write each person's chart as FHIR R4 instead, with real dates and free text: "
            "a hand-over into the person's own chart, not for research.",
        ),
    ] = False,
    attach: Annotated[
        str | None, typer.Option(help="With --fhir: the page too, as html or pdf.")
    ] = None,
    csv: Annotated[
        bool, typer.Option("--csv", help="Compressed CSV too, but for samples and frames.")
    ] = False,
    raw_csv: Annotated[
        bool, typer.Option("--raw-csv", help="Compressed CSV of every table; large.")
    ] = False,
    new_codes: Annotated[
        Path | None,
        typer.Option(help="Draw new codes; this new file, for the clinic, says whose."),
    ] = None,
    without_consent: Annotated[
        str, typer.Option(help="Why people without research consent are in it; it is kept.")
    ] = "",
    by: Annotated[
        str, typer.Option(help="With --without-consent: who says so. Default: the account.")
    ] = "",
    licence: Annotated[
        str | None, typer.Option(help="Licence of exports, name or address; said once.")
    ] = None,
    author: Annotated[
        list[str] | None, typer.Option(help="Author of exports; may be repeated; said once.")
    ] = None,
    home: Home = None,
) -> None:
    """Write raw samples, events, trials and scores as Parquet, with a dictionary.

    Only people who gave consent to research use; relative days, no names; signed where the
    clinic has a key. With --fhir it is no research export: a transaction bundle a person for
    the clinic's record system, with real times, reasons and authors, under the study code.
    Example: battery export study-1 --task trail --since 2026-05-01
    """
    from battery.export import Form, export_bids
    from battery.export.choosing.selection import Selection

    asked = Selection(
        people=[code.upper() for code in person or []],
        tasks=[name.lower() for name in task or []],
        since=None if since is None else day_meant(since, "exported"),
        until=None if until is None else day_meant(until, "exported"),
        without_consent=without_consent.strip(),
    )
    form = Form(csv=csv, raw_csv=raw_csv, key_list=new_codes)
    if bids and (csv or raw_csv):
        msg = "--csv and --raw-csv do not go with --bids; nothing was exported"
        raise UsageError(msg)
    told = licence is not None or author is not None
    if fhir:
        if bids or told or form != Form():
            msg = (
                "--fhir goes with --person, --without-consent and --attach only; nothing was "
                "exported"
            )
            raise UsageError(msg)
        _export_charts(home, directory, asked, attach, by)
        return
    if attach is not None:
        msg = "--attach goes with --fhir; nothing was exported"
        raise UsageError(msg)
    failed: dict[str, str] = {}
    if not told and at_terminal() and not _licence_is_known(home):
        licence, author, told = *_asked_licence(), True
    with open_store(home, write=told or bool(asked.without_consent)) as store:
        if told:
            _keep_licence(store, licence, author)
        asked.check(store)
        _keep_override(store, asked, by)
        n_left_out = asked.n_without_consent(store)
        with Progress("exporting") as step:
            if bids:
                counts = export_bids(
                    store, directory, selection=asked, key_list=new_codes, progress=step
                )
            else:
                counts, failed = _export_tables(store, directory, asked, form, step)
        for what, count in counts.items():
            print(f"{what:<16} {count:>10,}" + ("" if bids else " rows"))
        if n_left_out:
            print(_left_out(n_left_out))
        print(directory)
        for block, why in failed.items():
            print(f"not in it: block {block}: {why}")
        say_unreadable(store)
    if failed:
        raise typer.Exit(1)


def _export_charts(
    home: str | None, directory: Path, asked: Selection, attach: str | None, by: str
) -> None:
    from battery.charting import saying
    from battery.export.fhir import export_charts

    with open_store(home, write=bool(asked.without_consent)) as store:
        asked.check(store)
        _keep_override(store, asked, by)
        n_left_out = asked.n_without_consent(store)
        with Progress("exporting") as step:
            done = export_charts(
                store,
                directory,
                say=saying(store, now(), attach),
                selection=asked,
                progress=step,
            )
        for code, count in done.n_resources.items():
            print(f"{code:<16} {count:>10,} resources")
        if n_left_out:
            print(_left_out(n_left_out))
        print(directory)
        for code, why in done.failed.items():
            print(f"not in it: {code}: {why}")
        say_unreadable(store)
    if done.failed:
        raise typer.Exit(1)


def _keep_override(store: Store, asked: Selection, by: str) -> None:
    """Keep who lets people without research consent be exported; say so."""
    from battery.export.choosing.selection import keep_override

    if not asked.without_consent:
        return
    who = by.strip() or account()
    codes = keep_override(store, asked, by=who, at_utc=now_utc())
    if codes:
        print(f"kept in the store: {who} exports without research consent: {' '.join(codes)}")


def _left_out(n_people: int) -> str:
    return (
        f"left out: {n_people} people without consent to research use; 'battery "
        "consent' keeps it, --without-consent says why they are in it all the same"
    )


def _export_tables(
    store: Store, directory: Path, asked: Selection, form: Form, step: Any
) -> tuple[dict[str, int], dict[str, str]]:
    from battery.export import export_tidy
    from battery.handover.keys import clinic_signature
    from battery.report.bands import band_rows

    done = export_tidy(
        store,
        directory,
        selection=asked,
        form=form,
        bands=band_rows(store, now=now()),
        sign=clinic_signature(store),
        now=now(),
        progress=step,
    )
    return done.n_rows, done.failed


def _licence_is_known(home: str | None) -> bool:
    from battery.export.on_disk.package import AUTHORS, LICENCE

    with open_store(home, write=False) as store:
        return (
            store.setup.setting(LICENCE) is not None or store.setup.setting(AUTHORS) is not None
        )


def _asked_licence() -> tuple[str, list[str]]:
    """Ask once what every export of this clinic says of its licence and authors."""
    words = (
        "Licence of your exports, name or address (Enter: none)",
        "Authors, with ; between them (Enter: none)",
    )
    licence, authors = (str(typer.prompt(w, default="", show_default=False)) for w in words)
    return licence, authors.split(";")


def _keep_licence(store: Store, licence: str | None, authors: list[str] | None) -> None:
    from battery.export.on_disk.package import AUTHORS, LICENCE

    if licence is not None:
        store.setup.put_setting(LICENCE, licence.strip())
    if authors is not None:
        store.setup.put_setting(AUTHORS, [name.strip() for name in authors if name.strip()])


COMMANDS = (export,)
