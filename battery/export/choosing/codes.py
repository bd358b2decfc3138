"""Under which codes and identifiers an export speaks of people, visits and blocks."""

from __future__ import annotations

import csv
import hashlib
import hmac
import io
import os
import secrets
import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from battery.errors import StoreError, UsageError
from battery.people import new_code
from battery.store import Store


@dataclass(frozen=True)
class Codes:
    """Names of an export: those of the store, or new ones that nobody can lead back.

    Parameters
    ----------
    people : dict
        Study code of each person by code.
    secret : bytes
        What new identifiers are made with; empty keeps those of the store. It is kept nowhere.
    """

    people: dict[str, str]
    secret: bytes = field(default=b"", repr=False)

    @classmethod
    def of_store(cls, codes: Iterable[str]) -> Codes:
        """Keep the codes and identifiers of the store."""
        return cls({code: code for code in codes})

    @classmethod
    def drawn(cls, codes: Iterable[str], taken: Iterable[str]) -> Codes:
        """Draw a new code for everybody, none of those that are taken."""
        used = set(taken)
        drawn = {}
        for code in codes:
            fresh = new_code()
            while fresh in used:
                fresh = new_code()
            used.add(fresh)
            drawn[code] = fresh
        return cls(drawn, secrets.token_bytes(32))

    @classmethod
    def drawn_for(cls, store: Store, codes: Iterable[str]) -> Codes:
        """Draw new codes that nobody in a store has, or had before erasure."""
        taken = {p.code for p in store.people.all()}
        return cls.drawn(codes, taken | {t.code for t in store.erasure.tombstones()})

    @property
    def are_new(self) -> bool:
        """Whether they are others than those of the store."""
        return bool(self.secret)

    def person(self, code: str) -> str:
        """Return the code of a person in the export."""
        return self.people[code]

    def identifier(self, stored: str) -> str:
        """Return the identifier of a visit, block or row in the export."""
        if not self.secret:
            return stored
        digest = hmac.new(self.secret, stored.encode(), hashlib.sha256).digest()
        return str(uuid.UUID(bytes=digest[:16], version=4))


def write_key_list(path: Path, codes: Codes, *, folder: Path) -> None:
    """Write which study code is whose, for the clinic alone.

    Raises
    ------
    UsageError
        If the file is there already, or would lie in the export.
    StoreError
        If it cannot be written.
    """
    check_key_list(path, folder=folder)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("study_code", "code"))
    writer.writerows(sorted((study, code) for code, study in codes.people.items()))
    try:
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
        with os.fdopen(os.open(path, flags, 0o600), "w", encoding="utf-8") as file:
            file.write(text.getvalue())
    except OSError as error:
        msg = f"cannot write the key list '{path}': {error.strerror or error}"
        raise StoreError(msg) from error


def check_key_list(path: Path, *, folder: Path) -> None:
    """Refuse a place where a list of codes must not lie.

    Raises
    ------
    UsageError
        If the file is there already, or would lie in the export.
    """
    if path.exists():
        msg = f"'{path}' is there already; nothing was exported, name a new file"
        raise UsageError(msg)
    if path.resolve().is_relative_to(folder.resolve()):
        msg = (
            f"'{path}' would lie in the export, which leaves the clinic; nothing was exported, "
            "name a file elsewhere"
        )
        raise UsageError(msg)
