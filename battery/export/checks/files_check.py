"""Whether the files of an export are those its signed descriptor states."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from battery.export.dictionary.all_tables import TABLES
from battery.export.on_disk.descriptor import is_plain
from battery.export.on_disk.signing import DIGEST, SIGNATURE, digest_of, signer_of
from battery.export.on_disk.table_files import CSV, DICTIONARY, PACKAGE, size_and_hash
from battery.export.reading.reader import MADE_OF, Export
from battery.verify import Finding

TABLE_NAME = re.compile(r"[a-z][a-z_]{0,39}")


def signer_and_findings(export: Export) -> tuple[str, list[Finding]]:
    """Hold descriptor and files to digest, signature, sizes and hashes; read no rows.

    Returns
    -------
    tuple
        Fingerprint of the clinic whose key signed it, empty where none did; what does not hold.
    """
    signer, findings = ("", []) if export.is_first_form else proof(export)
    return signer, findings + held_files(export)[1]


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


def proof(export: Export) -> tuple[str, list[Finding]]:
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


def held_files(export: Export) -> tuple[dict[str, list[_File]], list[Finding]]:
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
