"""Does an export still hold? Signature, digest, hashes, keys, references, stamps, replay."""

from __future__ import annotations

import gzip
import hashlib
import re
import zlib
from collections.abc import Callable, Iterator
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from battery.errors import BatteryError, RecordError
from battery.export.allowed import breaches
from battery.export.csv_copy import write_rows
from battery.export.dictionary import TABLES
from battery.export.reading import MADE_OF, RAW, Export, is_plain
from battery.export.rebuilding import BROKEN
from battery.export.signing import DIGEST, SIGNATURE, digest_of, signer_of
from battery.export.table_files import CSV, DICTIONARY, PACKAGE, size_and_hash
from battery.verify import (
    Finding,
    Verification,
    block_notes,
    block_problems,
    stamp_problems,
)
from battery.workers import n_workers, pool

MAX_CSV_BYTES = 1 << 34  # unpacked; a CSV file that claims more is not what was written
CHUNK_BYTES = 1 << 20
PAYS = 3  # parts that take as long to look at as another process takes to start
MAX_ODD = 20  # of what a table says that it cannot say
TABLE_NAME = re.compile(r"[a-z][a-z_]{0,39}")

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class ExportVerification(Verification):
    """What was looked at in an export, what was found, and whose key signed it.

    Parameters
    ----------
    signer : str
        Fingerprint of the clinic whose key signed it; empty where none did.
    """

    signer: str = ""

    def summary(self) -> str:
        """Say it in two lines, and one more for every finding."""
        looked = f"{self.n_visits} visits, {self.n_blocks} blocks, {self.n_samples} samples"
        if self.signer:
            signed = (
                f"signed with the key of the clinic {self.signer}; compare it with the card "
                "that the clinic gave you"
            )
        else:
            signed = (
                "not signed: hashes show damage and careless changes, not those of somebody "
                "who made all hashes anew"
            )
        told = [f"{f.where}: {f.what}" for f in (*self.findings, *self.notes)]
        if self.findings:
            head = f"{looked}: {len(self.findings)} findings; nothing was changed"
            return "\n".join([head, *told])
        done = "hashes, references, stamps"
        if self.replayed:
            done += " and replays"
            if self.notes:
                done += f", but for {len(self.notes)} blocks of other rules than are here"
        return "\n".join([f"{looked}: {done} hold", signed, *told])


def verify_export(
    folder: Path,
    *,
    replay: bool | None = None,
    signer: str | None = None,
    progress: Progress | None = None,
    n_processes: int | None = None,
) -> ExportVerification:
    """Check an export without changing anything.

    A file whose hash does not hold is named and not read any further.

    Parameters
    ----------
    folder : Path
    replay : bool, optional
        Whether every block is also replayed through its task, which costs many times the rest.
        Default: only where no hash covers the blocks, as in the first form.
    signer : str, optional
        Fingerprint of the clinic that must have signed it.
    progress : callable, optional
        Called with (parts done, parts in all).
    n_processes : int, optional
        Default: one a core, fewer for few parts.

    Raises
    ------
    UsageError
        If the folder holds no export, or one of a later program.
    RecordError
        If its descriptor does not say how many parts there are.
    """
    export = Export(folder)
    replayed = export.is_first_form if replay is None else replay
    signed_by, findings = "", []
    if not export.is_first_form:
        signed_by, said = _proof(export)
        findings += said
    if signer is not None and _digits(signer) != _digits(signed_by):
        findings.append(Finding(PACKAGE, f"it is not signed by the clinic {signer[:40]}"))
    names, said = _files(export)
    findings += said
    bad = {table for table, files in names.items() if any(f.bad for f in files)}
    if not export.is_first_form:
        bad |= MADE_OF - set(export.tables)
    findings += _csv_copies(export, bad)
    keys = _Keys(export, bad)
    findings += keys.findings()
    notes: list[Finding] = []
    n_blocks = n_samples = 0
    if not bad & (RAW | {"blocks", "visits", "settings"}):
        with _parts(export, replayed, n_processes) as parts:
            for number, part in enumerate(parts, start=1):
                findings += part.findings
                notes += part.notes
                n_blocks += part.n_blocks
                n_samples += part.n_samples
                if progress is not None:
                    progress(number, export.n_parts)
    return ExportVerification(
        keys.n_visits,
        n_blocks,
        n_samples,
        0,
        tuple(findings),
        tuple(notes),
        replayed,
        signed_by,
    )


def signer_and_findings(export: Export) -> tuple[str, list[Finding]]:
    """Hold descriptor and files to digest, signature, sizes and hashes; read no rows.

    Returns
    -------
    tuple
        Fingerprint of the clinic whose key signed it, empty where none did; what does not hold.
    """
    signer, findings = ("", []) if export.is_first_form else _proof(export)
    return signer, findings + _files(export)[1]


def stated_files(export: Export) -> list[str]:
    """Name the files of the tables that a descriptor states, of an export that holds."""
    told = {r["name"]: r for r in export.package["resources"]}
    known = [
        file
        for name in sorted(TABLES.keys() & told.keys())
        for file, _ in _stated(export, name, told[name])
    ]
    later = [
        file
        for name in sorted(told.keys() - TABLES.keys())
        for file, _ in _stated_later(name, told[name])
    ]
    return known + later


def _digits(mark: str) -> str:
    return re.sub(r"[^0-9a-f]", "", mark.lower())


def _proof(export: Export) -> tuple[str, list[Finding]]:
    """Hold the descriptor to its digest, and the digest to its signature."""
    told = export.package
    digest = digest_of(told)
    found = []
    if told.get(DIGEST) != digest:
        found.append(Finding(PACKAGE, "it does not have the digest it states: it was changed"))
    signer = signer_of(told.get(SIGNATURE), digest) or ""
    if SIGNATURE in told and not signer:
        found.append(Finding(PACKAGE, "its signature does not hold: it was changed"))
    about = told.get("dictionary")
    if not isinstance(about, dict) or about.get("path") != DICTIONARY:
        found.append(Finding(DICTIONARY, "the descriptor does not name it"))
    elif not is_plain(export.folder / DICTIONARY):
        found.append(Finding(DICTIONARY, "it is not there as a plain file"))
    else:
        found += [Finding(DICTIONARY, w) for w in _wrong(export.folder / DICTIONARY, about)]
    return signer, found


@dataclass(frozen=True, slots=True)
class _File:
    name: str
    bad: bool


def _files(export: Export) -> tuple[dict[str, list[_File]], list[Finding]]:
    """Hold every file to its stated name, size and hash."""
    told: dict[Any, Any] = {}
    findings = []
    for about in export.package["resources"]:
        name = about.get("name") if isinstance(about, dict) else None
        if not isinstance(name, str) or name in told:
            findings.append(
                Finding(str(name)[:40], "the descriptor does not name it, or twice")
            )
        else:
            told[name] = about
    held: dict[str, list[_File]] = {}
    for name in sorted(told.keys() - TABLES.keys()):
        findings += _of_a_later_program(export, name, told[name])
    if not export.is_first_form:  # an earlier program may have had fewer of the other tables
        for name in sorted(MADE_OF - told.keys()):
            findings.append(Finding(name, "the descriptor does not have this table"))
    for name in sorted(TABLES.keys() & told.keys()):
        files: list[_File] = []
        for file, about in _stated(export, name, told[name]):
            said = _look(export.folder, file, about)
            findings += [Finding(file, what) for what in said]
            if file.endswith(".parquet"):
                files.append(_File(file, bool(said)))
        held[name] = files
    findings += _strangers(export)
    return held, findings


def _of_a_later_program(export: Export, name: str, told: dict[str, Any]) -> Iterator[Finding]:
    """Hold the files of a table that this program does not know to their hashes at least."""
    parts = told.get("parts")
    if export.is_first_form or not TABLE_NAME.fullmatch(name) or not isinstance(parts, list):
        yield Finding(name[:40], "the dictionary of this program does not have this table")
        return
    for file, about in _stated_later(name, told):
        for what in _look(export.folder, file, about):
            yield Finding(file, what)


def _stated_later(name: str, told: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Give the files of a table that this program does not know, as it would name them."""
    parts = told["parts"]
    for number, about in enumerate(parts, start=1):
        whole = isinstance(about, dict) and about.get("path") == f"{name}.parquet"
        part = f"{name}/part-{number:04d}.parquet"
        yield f"{name}.parquet" if whole and len(parts) == 1 else part, about
    if told.get("format") == "csv":
        yield f"{name}{CSV}", told


def _stated(export: Export, name: str, told: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Give each file a table should have, with what the descriptor says of it."""
    if export.is_first_form:
        yield f"{name}.csv", told
        yield f"{name}.parquet", told.get("parquet")
        return
    parts = told.get("parts")
    parts = parts if isinstance(parts, list) else []
    names = export.names(name)
    for place, file in enumerate(names):
        yield file, parts[place] if place < len(parts) else None
    if len(parts) > len(names):
        yield f"{name}/part-{len(names) + 1:04d}.parquet", None
    if told.get("format") == "csv":
        yield f"{name}{CSV}", told


def _look(folder: Path, file: str, about: Any) -> list[str]:
    if not isinstance(about, dict) or about.get("path") != file:
        return ["the descriptor names another file; it was not followed"]
    if not is_plain(folder / file) or (folder / file).parent.is_symlink():
        return ["it is not there as a plain file"]
    return _wrong(folder / file, about)


def _wrong(path: Path, about: dict[str, Any]) -> list[str]:
    try:
        if path.stat().st_size != about.get("bytes"):
            return ["it does not have the size the descriptor states"]
        if size_and_hash(path)["hash"] != about.get("hash"):
            return ["it does not have the hash the descriptor states"]
    except OSError as error:
        return [f"it cannot be read: {error.strerror or error}"]
    return []


def _strangers(export: Export) -> Iterator[Finding]:
    """Name files that lie among the parts and belong to none."""
    if export.is_first_form:
        return
    known = {name for table in TABLES for name in export.names(table)}
    known |= {f"{t}{CSV}" for t in TABLES} | {PACKAGE, DICTIONARY}
    for table in sorted(name for name, t in TABLES.items() if t.in_parts):
        path = export.folder / table
        if path.is_dir() and not path.is_symlink():
            for part in sorted(path.iterdir()):
                if f"{table}/{part.name}" not in known:
                    yield Finding(
                        f"{table}/{part.name}"[:60], "the descriptor does not have it"
                    )


class _Keys:
    """Primary keys that repeat, and references that lead nowhere, over all parts."""

    def __init__(self, export: Export, bad: set[str]) -> None:
        self._export = export
        self._bad = set(bad)
        self._known: dict[str, set[Any]] = {}  # first key column of tables that are referred to
        self.n_visits = 0

    def findings(self) -> list[Finding]:
        """Look at every table that is there, those that are referred to first."""
        found = []
        for name in _referred_first():
            if name in RAW or name in self._bad or name not in self._export.tables:
                continue
            try:
                found += self._of(name)
            except RecordError as error:
                found.append(Finding(name, str(error)))
                self._bad.add(name)
                self._known.pop(name, None)
        return found

    def _of(self, name: str) -> list[Finding]:
        table = TABLES[name]
        is_referred = any(k.table == name for t in TABLES.values() for k in t.keys)
        # Rows of a table in parts repeat no key of another part, since their blocks do not.
        seen: set[Any] = set()
        firsts: set[Any] = set()
        n_rows = n_keys = 0
        is_known = self._export.has_this_dictionary(name)
        odd: dict[str, None] = {}
        lost: dict[str, list[Any]] = {}
        refers = [k for k in table.keys if k.table in self._known]
        for part in range(1, len(self._export.names(name)) + 1):
            if name != "blocks":
                n_keys += len(seen)
                seen = set()
            for batch in self._export.batches(name, part):
                if is_known:
                    odd |= dict.fromkeys(breaches(table, batch))
                columns = [batch.column(column).to_pylist() for column in table.primary]
                n_rows += batch.num_rows
                seen.update(zip(*columns, strict=True))
                if is_referred:
                    firsts.update(columns[0])
                for key in refers:
                    if key.column in batch.schema.names:
                        values = set(batch.column(key.column).to_pylist()) - {None}
                        lost.setdefault(key.table, []).extend(values - self._known[key.table])
        n_keys += len(seen)
        if is_referred:
            self._known[name] = firsts
        if name == "visits":
            self.n_visits = n_rows
        found = [Finding(name, what) for what in list(odd)[:MAX_ODD]]
        if n_keys != n_rows:
            found.append(Finding(name, f"{n_rows - n_keys} keys are there more than once"))
        for other, absent in lost.items():
            if absent:
                gone = sorted(set(map(str, absent)))
                found.append(
                    Finding(
                        name,
                        f"rows refer to {len(gone)} {other} that are not there, such as "
                        f"{gone[0][:40]!r}",
                    )
                )
        return found


def _referred_first() -> list[str]:
    order: list[str] = []
    while len(order) < len(TABLES):
        for name, table in TABLES.items():
            if name not in order and all(k.table in order for k in table.keys):
                order.append(name)
    return order


@dataclass(frozen=True, slots=True)
class _Part:
    n_blocks: int
    n_samples: int
    findings: list[Finding]
    notes: list[Finding]


def verify_part(folder: Path, number: int, *, replay: bool) -> _Part:
    """Read every block of a part and hold it to its hash, its stamps and perhaps its replay."""
    n_blocks = n_samples = 0
    findings: list[Finding] = []
    notes: list[Finding] = []
    export = Export(folder)
    try:
        for read in export.blocks(number):
            block, row = read.block, read.row
            n_blocks += 1
            n_samples += len(block.samples)
            where = f"block {block.header.block_id}"
            for what, held in (
                ("samples", block.samples), ("events", block.events), ("frames", block.frames),
            ):  # fmt: skip
                stated = row.get(f"n_{what}", len(held))
                if stated != len(held):
                    findings.append(
                        Finding(where, f"it has {len(held)} {what}, stated are {stated}")
                    )
            if not read.holds:
                findings.append(Finding(where, "it does not have its hash: it was changed"))
            problems = block_problems if replay else stamp_problems
            findings += [Finding(where, what) for what in problems(block)]
            if replay:
                notes += [Finding(where, what) for what in block_notes(block)]
    except RecordError as error:
        findings.append(Finding(f"part {number}", str(error)))
    findings += [Finding(f"block {name}", why) for name, why in export.unreadable.items()]
    return _Part(n_blocks, n_samples, findings, notes)


@contextmanager
def _parts(export: Export, replay: bool, n_processes: int | None) -> Iterator[Iterator[_Part]]:
    numbers = range(1, export.n_parts + 1)
    most = n_workers(export.n_parts, pays=1 if replay else PAYS, asked=n_processes)
    if most <= 1:
        yield (verify_part(export.folder, number, replay=replay) for number in numbers)
        return
    jobs = [(export.folder, number, replay) for number in numbers]
    with pool(most) as executor:
        yield _named(executor.map(_part_here, jobs))


def _part_here(job: tuple[Path, int, bool]) -> _Part:
    folder, number, replay = job
    return verify_part(folder, number, replay=replay)


def _named(parts: Iterator[_Part]) -> Iterator[_Part]:
    try:
        yield from parts
    except BrokenProcessPool as error:
        msg = (
            "a process that read a part was ended from outside, as when memory ran out; close "
            "other programs, then verify again"
        )
        raise RecordError(msg) from error


def _csv_copies(export: Export, bad: set[str]) -> Iterator[Finding]:
    """Hold each CSV file to what the Parquet files' rows give when they are written."""
    for name in export.tables:
        told = export.resources(name)[0]
        if name in bad or not (export.is_first_form or told.get("format") == "csv"):
            continue
        file = f"{name}.csv" if export.is_first_form else f"{name}{CSV}"
        if not is_plain(export.folder / file):
            continue  # named already
        digest = _Digest()
        try:
            with export.open(name) as first:
                schema = first.schema_arrow
            n_files = len(export.names(name))
            rows = (b for part in range(1, n_files + 1) for b in export.batches(name, part))
            write_rows(digest, schema, rows, as_is=export.is_first_form)
            written = _unpacked_hash(export.folder / file)
        except (BatteryError, zlib.error, EOFError, *BROKEN) as error:
            yield Finding(file, f"it cannot be read: {str(error)[:200]}")
            continue
        if written != digest.sha256.hexdigest():
            yield Finding(file, f"it does not hold the rows of {name} in Parquet")


def _unpacked_hash(path: Path) -> str:
    """Hash a CSV file, unpacked if it is packed."""
    digest = hashlib.sha256()
    n_bytes = 0
    with gzip.open(path) if path.name.endswith(".gz") else path.open("rb") as file:
        while data := file.read(CHUNK_BYTES):
            n_bytes += len(data)
            if n_bytes > MAX_CSV_BYTES:
                msg = f"it unpacks to more than {MAX_CSV_BYTES} bytes"
                raise ValueError(msg)
            digest.update(data)
    return digest.hexdigest()


class _Digest:
    """A file that keeps only the hash of what is written to it."""

    closed = False

    def __init__(self) -> None:
        self.sha256 = hashlib.sha256()

    def write(self, data: Any) -> int:
        self.sha256.update(data)
        return len(data)

    def flush(self) -> None:
        pass

    def close(self) -> None:
        pass
