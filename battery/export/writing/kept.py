"""Parts of an earlier export that would be written again just so, and are kept instead.

What a part was made of is noted by a hash beside the store, never in the export: it covers what
an export leaves out. A part is kept only where the folder still holds its very bytes, and the
store still holds, unspoilt, every block that is in it; so what is exported is the same, and
decoding and packing, which is nearly all the work, is done for new parts alone.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import suppress
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import scipy

import battery
import tasks
from battery.errors import BatteryError
from battery.export.on_disk.descriptor import is_plain, read_package
from battery.export.on_disk.package import EXPORT_VERSION, readable
from battery.export.on_disk.table_files import part_name, size_and_hash
from battery.export.writing.parts import PARTED, PartDone, PartJob
from battery.files import make_folder, replace_whole
from battery.scoring import SCORING_VERSION
from battery.store import Store

FILE_NAME = "exports-made.json"
MAX_NOTED = 5_000  # parts, of about a thousand blocks each
BROKEN = (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError)

Hashes = dict[str, str]  # of the files of a part, by table


class Kept:
    """Parts that need not be written again, found by what they were made of.

    Parameters
    ----------
    store : Store
        One at an address has no folder to note anything in; nothing is kept then.
    target : Path
        The folder of the export; what is there may be anything.
    """

    def __init__(self, store: Store, target: Path) -> None:
        self._store = store
        self._target = target
        self._file = None if store.folder is None else store.folder / FILE_NAME
        self._marks: dict[int, str] = {}
        self._noted: dict[str, Hashes] = {} if self._file is None else _read(self._file)
        self._there: dict[str, Path] = {} if self._file is None else _files_of(target)
        self._by = _written_by() if self._file is not None else b""

    def part(self, job: PartJob) -> PartDone | None:
        """Put the files of a part into its folder if they are there already."""
        if self._file is None or (mark := self._mark(job)) is None:
            return None
        self._marks[job.number] = mark
        hashes = self._noted.get(mark, {})
        paths = [(t.name, self._there.get(hashes.get(t.name, ""))) for t in PARTED]
        found = {table: path for table, path in paths if path is not None}
        if len(found) < len(PARTED) or not self._is_unspoilt(job):
            return None
        copies = {table: job.folder / part_name(table, job.number) for table in found}
        if not _put([(found[t], copies[t], hashes[t]) for t in found]):
            return None
        n_rows = {table: pq.read_metadata(copy).num_rows for table, copy in copies.items()}
        return PartDone(job.number, n_rows)

    def forget(self, number: int) -> None:
        """Note nothing of a part, as where a block is missing in it."""
        self._marks.pop(number, None)

    def note(self) -> None:
        """Note what the parts of the export that is there now were made of.

        Whatever is in the way costs time at the next export, and nothing else.
        """
        if self._file is None or not self._marks:
            return
        with suppress(BatteryError, *BROKEN):
            hashes = _hashes(self._target)
            now = {mark: hashes[number] for number, mark in self._marks.items()}
            older = {mark: held for mark, held in self._noted.items() if mark not in now}
            latest = dict([*older.items(), *now.items()][-MAX_NOTED:])
            replace_whole(self._file, json.dumps(latest, indent=0).encode())

    def _mark(self, job: PartJob) -> str | None:
        """Return a hash of all that a part follows from; None if a block has no seal."""
        digest = sha256(self._by)
        ids = [j.block_id for jobs in job.visits for j in jobs]
        seals, trials = self._store.records.seals(ids), self._store.scores.trial_marks(ids)
        if any(seals.get(block_id) is None for block_id in ids):
            return None
        for jobs in job.visits:
            told = [(j.row, j.scores, seals[j.block_id], trials.get(j.block_id)) for j in jobs]
            digest.update(repr(told).encode("utf-8", "backslashreplace"))
        return digest.hexdigest()

    def _is_unspoilt(self, job: PartJob) -> bool:
        """Whether the store still holds every block; spoilt rows of trials are noted there."""
        for jobs in job.visits:
            ids = [j.block_id for j in jobs]
            self._store.scores.trials(ids)
            try:
                packed = self._store.records.packed(ids)
            except BatteryError:
                return False
            if any(i not in packed or packed[i].broken_seal for i in ids):
                return False
        return True


def _put(files: Sequence[tuple[Path, Path, str]]) -> bool:
    """Put files under other names too, all or none, if each has its hash; say whether.

    A name for the same file is as good as a copy: nothing writes into it any more.
    """
    try:
        for path, _, held in files:
            if not is_plain(path) or path.parent.is_symlink():
                return False
            if size_and_hash(path)["hash"] != held:
                return False
        for path, copy, _ in files:
            make_folder(copy.parent)
            try:
                os.link(path, copy)
            except OSError:  # a disk without links
                shutil.copyfile(path, copy)
        if all(size_and_hash(copy)["hash"] == held for _, copy, held in files):
            return True
    except OSError:
        pass  # then it is written as if nothing had been there
    for _, copy, _ in files:
        copy.unlink(missing_ok=True)  # else it would be written into what is linked
    return False


def _files_of(target: Path) -> dict[str, Path]:
    """Return the files of parts that a folder seems to hold, by the hash that is stated."""
    with suppress(BatteryError, *BROKEN):
        return {
            held: target / part_name(table, number)
            for number, hashes in _hashes(target).items()
            for table, held in hashes.items()
        }
    return {}


def _hashes(target: Path) -> dict[int, Hashes]:
    """Return what a descriptor states of the parts it names, by their number."""
    told = read_package(target)
    resources = {about["name"]: about["parts"] for about in told["resources"]}
    numbered = zip(*(resources[table.name] for table in PARTED), strict=True)
    return {
        number: {t.name: str(part["hash"]) for t, part in zip(PARTED, parts, strict=True)}
        for number, parts in enumerate(numbered, start=1)
    }


def _read(file: Path) -> dict[str, Hashes]:
    with suppress(*BROKEN):
        told = json.loads(file.read_text(encoding="utf-8"))
        return {
            str(mark): {str(table): str(held) for table, held in hashes.items()}
            for mark, hashes in told.items()
        }
    return {}


def _written_by() -> bytes:
    """Return the versions, and the program itself where its source is there, as bytes."""
    return sha256(repr((EXPORT_VERSION, SCORING_VERSION)).encode() + _program()).digest()


@cache
def _program() -> bytes:
    """Return a hash of what runs; it stays the same while it runs."""
    digest = sha256(
        repr(
            (
                version("coordination-battery"), pa.__version__, np.__version__,
                scipy.__version__, readable(),
            )
        ).encode()
    )  # fmt: skip
    for file in _sources():
        digest.update(file.read_bytes())
    return digest.digest()


def _sources() -> Iterator[Path]:
    for package in (battery, tasks):
        for folder in package.__path__:
            yield from sorted(Path(folder).rglob("*.py"))
