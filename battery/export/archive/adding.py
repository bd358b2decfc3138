"""Exports of many clinics taken into one archive, people kept apart by study and site.

Each export lies in it as it was made, byte for byte, so that its signature, its digest and the
form it was written in still hold; the names of its folders tell study, site and number to
whatever reads partitioned tables: ``study=S/site=T/export=001/samples/part-0001.parquet``.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from filelock import FileLock, Timeout

from battery.errors import RecordError, StoreError, UsageError
from battery.export.archive.listing import (
    ARCHIVE,
    LABEL,
    Entry,
    number_of,
    path_of,
    read_archive,
    write_list,
)
from battery.export.archive.overlap import overlap
from battery.export.checks.checking import verify_export
from battery.export.checks.files_check import signer_and_findings, stated_files
from battery.export.on_disk.signing import digest_of
from battery.export.on_disk.table_files import DICTIONARY, PACKAGE
from battery.export.reading.reader import Export
from battery.files import make_folder

LOCK = ".lock"
PARTIAL = ".partial"


@dataclass(slots=True)
class Added:
    """What became of exports that were to be added.

    Attributes
    ----------
    lines : list of str
        What is told: one line per export, and one for each thing it met.
    n_refused : int
    """

    lines: list[str] = field(default_factory=list)
    n_refused: int = 0


def add_exports(
    folder: Path,
    sources: Sequence[Path],
    *,
    study: str,
    site: str = "",
    progress: Callable[[int, int], None] | None = None,
) -> Added:
    """Take exports into an archive; each is checked first, and taken whole or not at all.

    An export that holds every block of an earlier one of its site, and more, takes its place.
    One with blocks that are there already, but not all of them, is refused, as is one that says
    otherwise of a block than what is there.

    Parameters
    ----------
    folder : Path
        New, or an archive.
    sources : sequence of Path
    study : str
        Name of the study: letters, digits, - and _.
    site : str
        Name of the site they come from; empty: the clinic whose key signed each.
    progress : callable, optional
        Called with (exports done, exports in all).

    Raises
    ------
    UsageError
        If the folder holds something else, or a name is none.
    StoreError
        If it cannot be written, or another program adds to it.
    """
    for what, label in (("study", study), ("site", site)):
        if (label or what == "study") and not LABEL.fullmatch(label):
            msg = (
                f"{label!r} is not a name for a {what}; take letters, digits, - and _, at most "
                "40. Nothing was added"
            )
            raise UsageError(msg)
    _check_place(folder)
    added = Added()
    try:
        with _locked(folder):
            for done, source in enumerate(sources, start=1):
                _add(folder, Path(source), study, site, added)
                if progress is not None:
                    progress(done, len(sources))
    except OSError as error:
        msg = (
            f"cannot add to '{folder}': {error.strerror or error}. What is in it is "
            "unchanged; free some space, then add again"
        )
        raise StoreError(msg) from error
    return added


def _check_place(folder: Path) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        msg = f"'{folder}' is a file; name a folder that is new or an archive"
        raise UsageError(msg)
    foreign = sorted(
        path.name
        for path in folder.iterdir()
        if path.name not in (ARCHIVE, LOCK, PARTIAL) and not path.name.startswith("study=")
    )
    if foreign:
        msg = (
            f"'{folder}' holds {foreign[0]!r} and is not an archive; name a folder that is new "
            "or an archive. Nothing was added"
        )
        raise UsageError(msg)


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    make_folder(folder)
    try:
        with FileLock(folder / LOCK, timeout=0):
            yield
    except Timeout as error:
        msg = f"another program adds to '{folder}'; wait until it is done. Nothing was added"
        raise StoreError(msg) from error


def _add(folder: Path, source: Path, study: str, site: str, added: Added) -> None:
    entries = read_archive(folder)

    def refuse(why: str) -> None:
        added.n_refused += 1
        added.lines.append(f"{source}: not added: {why}")

    try:
        export = Export(source)
        digest = digest_of(export.package)
        known = next((e for e in entries if e.digest == digest and e.study == study), None)
        if known is not None:
            added.lines.append(f"{source}: is there already, as {known.path}")
            return
        looked = verify_export(source)
        if looked.findings:
            first = looked.findings[0]
            more = f"; {len(looked.findings)} findings" if len(looked.findings) > 1 else ""
            refuse(f"it does not hold: {first.where}: {first.what}{more}")
            return
        own = site or looked.signer.replace(" ", "-")
        if not own:
            refuse("no clinic's key signed it, so say with --site where it comes from")
            return
        met = overlap(folder, entries, export, study, own)
    except (UsageError, RecordError) as error:
        refuse(str(error))
        return
    if met.refusal:
        refuse(met.refusal)
        return
    numbers = [number_of(e) for e in entries if (e.study, e.site) == (study, own)]
    path = path_of(study, own, max(numbers, default=0) + 1)
    _copy(export, folder, path)
    gone = {e.path for e in met.replaced}
    kept = [e for e in entries if e.path not in gone]
    entry = Entry(study, own, path, digest, looked.signer, looked.n_visits, looked.n_blocks)
    write_list(folder, [*kept, entry])
    for old in gone:
        shutil.rmtree(folder / old, ignore_errors=True)
    instead = f", in place of {', '.join(sorted(gone))}" if gone else ""
    added.lines += [
        f"{source}: {looked.n_visits} visits, {looked.n_blocks} blocks as {path}{instead}",
        *met.notes,
    ]


def _copy(export: Export, folder: Path, path: str) -> None:
    """Copy the files of an export, hold them to their hashes, and give the folder its name."""
    partial = folder / PARTIAL
    shutil.rmtree(partial, ignore_errors=True)
    make_folder(partial)
    try:
        for name in (PACKAGE, DICTIONARY, *stated_files(export)):
            make_folder((partial / name).parent)
            shutil.copyfile(export.folder / name, partial / name, follow_symlinks=False)
        _, findings = signer_and_findings(Export(partial))
        if findings:
            msg = f"'{export.folder}' changed while it was copied; nothing was added"
            raise StoreError(msg)
        target = folder / path
        make_folder(target.parent)
        shutil.rmtree(target, ignore_errors=True)  # of a run that was ended
        partial.replace(target)
    finally:
        shutil.rmtree(partial, ignore_errors=True)
