"""Many clinics' exports in one archive, people kept apart by study and site.

Each export lies in it as it was made, byte for byte, so that its signature, its digest and the
form it was written in still hold; the names of its folders tell study, site and number to
whatever reads partitioned tables: ``study=S/site=T/export=001/samples/part-0001.parquet``.
"""

from __future__ import annotations

import json
import re
import shutil
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from battery.errors import RecordError, StoreError, UsageError
from battery.export.checking import verify_export
from battery.export.files_check import signer_and_findings, stated_files
from battery.export.reading import Export, is_plain
from battery.export.signing import digest_of
from battery.export.table_files import DICTIONARY, PACKAGE
from battery.files import make_folder, replace_whole

ARCHIVE = "archive.json"
NAME = "coordination-battery-archive"
FORM = "1.0.0"
LABEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
LOCK = ".lock"
PARTIAL = ".partial"
NAMED = 5  # blocks that a refusal names
MAX_ARCHIVE_BYTES = 64_000_000


@dataclass(frozen=True, slots=True)
class Entry:
    """An export in an archive.

    Parameters
    ----------
    path : str
        Of its folder, below the archive.
    digest : str
        Of everything its descriptor says.
    signer : str
        Fingerprint of the clinic whose key signed it; empty where none did.
    """

    study: str
    site: str
    path: str
    digest: str
    signer: str
    n_visits: int
    n_blocks: int


@dataclass(slots=True)
class Added:
    """What became of exports that were to be added.

    Attributes
    ----------
    lines : list of str
        What is told, a line an export and one for what was met.
    n_refused : int
    """

    lines: list[str] = field(default_factory=list)
    n_refused: int = 0


def is_archive(folder: Path) -> bool:
    """Whether a folder says that it is an archive."""
    return is_plain(folder / ARCHIVE)


def exports_in(folder: Path) -> list[Path]:
    """List the exports of an archive, in order; of what is no archive, the folder itself.

    Raises
    ------
    UsageError
        If the list of an archive cannot be read, or is of a later program.
    """
    if not is_archive(folder):
        return [folder]
    return [folder / entry.path for entry in read_archive(folder)]


def read_archive(folder: Path) -> list[Entry]:
    """Read what an archive holds; nothing of a new one.

    Raises
    ------
    UsageError
        If it cannot be read, or is of a later program.
    """
    path = folder / ARCHIVE
    if not path.exists():
        return []
    told = _told(path)
    form = str(told.get("version"))[:40]
    if told.get("name") == NAME and form.split(".")[0] != FORM.split(".")[0]:
        msg = (
            f"'{folder}' is an archive of form {form}; this program reads up to {FORM}. "
            "Update it; nothing was changed"
        )
        raise UsageError(msg)
    try:
        entries = [Entry(**one) for one in told["exports"]]
        leads_in = all(
            LABEL.fullmatch(e.study)
            and LABEL.fullmatch(e.site)
            and e.path == _path(e.study, e.site, _number(e))
            for e in entries
        )
    except (TypeError, LookupError, AttributeError):
        leads_in = False
    if told.get("name") != NAME or not leads_in:
        msg = f"'{path}' cannot be read: it is no list of this program"
        raise UsageError(msg)
    return entries


def _told(path: Path) -> dict[str, Any]:
    try:
        if is_plain(path) and path.stat().st_size <= MAX_ARCHIVE_BYTES:
            return dict(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError, RecursionError):
        pass
    return {}


def _path(study: str, site: str, number: int) -> str:
    return f"study={study}/site={site}/export={number:03d}"


def _number(entry: Entry) -> int:
    told = entry.path.rpartition("=")[2]
    return int(told) if told.isdecimal() and len(told) < 10 else -1


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
                f"{label!r} is no name of a {what}; take letters, digits, - and _, at most "
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
            f"'{folder}' holds {foreign[0]!r} and is no archive; name a folder that is new or "
            "an archive. Nothing was added"
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
        met = _meet(folder, entries, export, study, own)
    except (UsageError, RecordError) as error:
        refuse(str(error))
        return
    if met.refusal:
        refuse(met.refusal)
        return
    numbers = [_number(e) for e in entries if (e.study, e.site) == (study, own)]
    path = _path(study, own, max(numbers, default=0) + 1)
    _copy(export, folder, path)
    gone = {e.path for e in met.replaced}
    kept = [e for e in entries if e.path not in gone]
    entry = Entry(study, own, path, digest, looked.signer, looked.n_visits, looked.n_blocks)
    _write(folder, [*kept, entry])
    for old in gone:
        shutil.rmtree(folder / old, ignore_errors=True)
    instead = f", in place of {', '.join(sorted(gone))}" if gone else ""
    added.lines += [
        f"{source}: {looked.n_visits} visits, {looked.n_blocks} blocks as {path}{instead}",
        *met.notes,
    ]


# What is there already


@dataclass(frozen=True, slots=True)
class _Block:
    """What tells whether two blocks are one recording: its hash, or what is next to unique."""

    sha256: str
    recording: tuple[Any, ...]

    def is_as(self, other: _Block) -> bool:
        if self.sha256 and other.sha256:
            return self.sha256 == other.sha256
        return self.recording == other.recording


@dataclass(slots=True)
class _Met:
    """What an export meets in an archive."""

    refusal: str = ""
    replaced: list[Entry] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def _blocks(export: Export) -> Iterator[tuple[str, _Block]]:
    """Give every block of an export with what it is told by."""
    for part in range(1, export.n_parts + 1):
        for row in export.rows("blocks", part):
            recording = tuple(
                row[name]
                for name in ("task", "phase", "hand_recorded", "layout_hash", "duration_s")
            )
            yield row["block_id"], _Block(row.get("sha256") or "", recording)


def _meet(
    folder: Path, entries: Sequence[Entry], export: Export, study: str, site: str
) -> _Met:
    """Compare an export with each that is there, one at a time, block by block."""
    own = dict(_blocks(export))
    alike = Counter(block.recording for block in own.values())
    met = _Met()
    for entry in entries:
        n_there = n_other = 0
        same: list[str] = []
        otherwise: list[str] = []
        for block_id, there in _blocks(Export(folder / entry.path)):
            n_there += 1
            mine = own.get(block_id)
            if mine is None:
                n_other += there.recording in alike
            else:
                (same if mine.is_as(there) else otherwise).append(block_id)
        here = (entry.study, entry.site) == (study, site)
        if otherwise:
            met.refusal = (
                f"of {len(otherwise)} blocks {entry.path} says otherwise ({_some(otherwise)}): "
                "find out which is right, and have that clinic export again"
            )
        elif same and here and len(same) == n_there:
            met.replaced.append(entry)
        elif same and here:
            met.refusal = (
                f"{len(same)} of its blocks are in {entry.path} already ({_some(same)}), which "
                "holds others besides: export all of it, or only what is not there"
            )
        elif same and entry.study == study:
            met.refusal = (
                f"{len(same)} of its blocks came from another site already, as {entry.path} "
                f"({_some(same)})"
            )
        elif same:
            met.notes.append(
                f"  {len(same)} of its blocks are in {entry.path} of another study too"
            )
        if n_other and entry not in met.replaced:
            met.notes.append(
                f"  {n_other} recordings are in {entry.path} under other identifiers: whoever "
                "reads both counts them twice"
            )
        if met.refusal:
            break
    return met


def _some(block_ids: Sequence[str]) -> str:
    rest = len(block_ids) - NAMED
    return ", ".join(sorted(block_ids)[:NAMED]) + (f" and {rest} more" if rest > 0 else "")


# Writing


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


def _write(folder: Path, entries: Sequence[Entry]) -> None:
    ordered = sorted(entries, key=lambda e: e.path)
    told: Mapping[str, Any] = {
        "name": NAME,
        "version": FORM,
        "exports": [asdict(entry) for entry in ordered],
    }
    replace_whole(folder / ARCHIVE, (json.dumps(told, indent=1) + "\n").encode())


def describe(folder: Path) -> list[str]:
    """Say what an archive holds, a line an export."""
    entries = read_archive(folder)
    lines = [
        f"{e.path}: {e.n_visits} visits, {e.n_blocks} blocks, "
        + (f"signed with the key of {e.signer}" if e.signer else "not signed")
        for e in entries
    ]
    n_sites = len({(e.study, e.site) for e in entries})
    whole = (
        f"{len(entries)} exports of {n_sites} sites, {sum(e.n_blocks for e in entries)} blocks"
    )
    return [*lines, whole]
