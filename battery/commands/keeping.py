"""The commands for whoever keeps the records: rescore, archive, verify, backup."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from battery.commands.common import Home, Progress, now, open_store, say_unreadable
from battery.errors import UsageError


def rescore(
    source: Annotated[
        Path | None,
        typer.Option("--from", help="An export or an archive to score instead."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="With --from: write the scores to this CSV file.")
    ] = None,
    keep: Annotated[
        bool,
        typer.Option(
            "--keep",
            help="With --from: keep the scores beside each export; a run that was ended goes "
            "on. Always so with --engine dask.",
        ),
    ] = False,
    engine: Annotated[
        str, typer.Option(help="With --from: processes, or dask (extra 'archive').")
    ] = "processes",
    scheduler: Annotated[
        str, typer.Option(help="Address of a Dask scheduler that runs, as tcp://HOST:8786.")
    ] = "",
    workers: Annotated[
        int | None, typer.Option(min=1, help="With --from: how many; default: one a core.")
    ] = None,
    home: Home = None,
) -> None:
    """Compute all scores again from the raw records, which are not touched, on all cores.

    Says what changed and why: a measure defined anew, or never scored before.
    Example: battery rescore, or from an export alone: battery rescore --from study-1
    """
    if source is not None:
        _rescore_export(source, out, keep, engine, scheduler, workers)
        return
    if out is not None or keep or engine != "processes" or scheduler or workers:
        msg = (
            "--out, --keep, --engine, --scheduler and --workers go with --from; the scores of "
            "a store stay in it"
        )
        raise UsageError(msg)
    from battery.rescoring import rescore as score_again

    with open_store(home) as store:
        with Progress("scoring") as step:
            done = score_again(store, progress=step)
        print(done.summary)
        if done.n_failed:
            raise typer.Exit(1)
        say_unreadable(store)


def _rescore_export(
    source: Path,
    out: Path | None,
    keep: bool,
    engine: str,
    scheduler: str,
    workers: int | None,
) -> None:
    from battery.export import rescore_export
    from battery.export.archive.engines import ENGINES, in_processes, on_dask

    if engine not in ENGINES:
        msg = f"no engine {engine!r}; say {' or '.join(ENGINES)}. Nothing was changed"
        raise UsageError(msg)
    if scheduler and engine != "dask":
        msg = "--scheduler goes with --engine dask; nothing was changed"
        raise UsageError(msg)
    if scheduler and workers:
        msg = "a cluster that runs has its own workers: leave out --workers or --scheduler"
        raise UsageError(msg)
    if engine == "dask":
        run = on_dask(scheduler, n_processes=workers, say=print)
    else:
        run = in_processes(workers)
    with Progress("scoring") as step:
        done = rescore_export(
            source, out=out, keep=keep or engine == "dask", engine=run, progress=step
        )
    print(done.summary)
    if done.n_differ or done.n_failed:
        raise typer.Exit(1)


def archive(
    action: Annotated[str, typer.Argument(help="add, or list what is in it.")],
    folder: Annotated[Path, typer.Argument(help="The archive; new, or one that is there.")],
    exports: Annotated[
        list[Path] | None, typer.Argument(help="With add: exports to take in.")
    ] = None,
    study: Annotated[str, typer.Option(help="With add: name of the study.")] = "",
    site: Annotated[
        str, typer.Option(help="With add: where they come from; default: who signed.")
    ] = "",
) -> None:
    """Put many clinics' exports into one archive, people kept apart by study and site.

    Each is checked, and lies in it as it was made. What is there already, or says otherwise of
    a block, is named. Example: battery archive add all study-1 --study reach --site north
    """
    from battery.export.archive.adding import add_exports
    from battery.export.archive.listing import describe, is_archive

    if action not in ("add", "list"):
        msg = f"no action {action!r}; say add or list"
        raise UsageError(msg)
    if action == "list":
        if not is_archive(folder):
            msg = f"'{folder}' is not an archive; make one with 'battery archive add'"
            raise UsageError(msg)
        print("\n".join(describe(folder)))
        return
    if not exports:
        msg = f"which exports? Say: battery archive add {folder} EXPORT --study NAME"
        raise UsageError(msg)
    with Progress("checking") as step:
        added = add_exports(folder, exports, study=study, site=site, progress=step)
    print("\n".join(added.lines))
    if added.n_refused:
        raise typer.Exit(1)


def verify(
    directory: Annotated[
        Path | None, typer.Argument(help="An export or an archive to check instead.")
    ] = None,
    replay: Annotated[
        bool, typer.Option("--replay", help="Replay every block through its task too; slow.")
    ] = False,
    signer: Annotated[
        str | None, typer.Option(help="Fingerprint of the clinic that must have signed it.")
    ] = None,
    home: Home = None,
) -> None:
    """Check every record: hashes, references, order of stamps. Changes nothing.

    With --replay each block is also replayed through its task and must give what was recorded,
    which finds even a record whose hashes were made anew.
    Example: battery verify, or an export: battery verify study-1
    """
    if directory is not None:
        if not all([_verify_export(each, replay, signer) for each in _exports(directory)]):
            raise typer.Exit(1)
        return
    if signer is not None:
        msg = "--signer goes with the folder of an export; a store is not signed"
        raise UsageError(msg)
    from battery.verify import verify as check

    with open_store(home, write=False) as store, Progress("checking") as step:
        found = check(store, replay=replay, progress=step)
    print(found.summary())
    if found.findings:
        raise typer.Exit(1)


def _exports(directory: Path) -> list[Path]:
    from battery.export.archive.listing import exports_in

    return exports_in(directory)


def _verify_export(directory: Path, replay: bool, signer: str | None) -> bool:
    from battery.export import verify_export

    with Progress("checking") as step:
        found = verify_export(directory, replay=replay or None, signer=signer, progress=step)
    print(directory)
    print(found.summary())
    return not found.findings


def backup(
    file: Annotated[Path, typer.Argument(help="File to make; must not be there.")],
    home: Home = None,
) -> None:
    """Copy the whole store into one file, also while a visit is being recorded.

    To restore, put it into an empty folder as battery.sqlite.
    Example: battery backup copy.sqlite
    """
    from battery.copies import copy_store

    copy_store(home, file, now=now())
    print(file)


COMMANDS = (rescore, archive, verify, backup)
