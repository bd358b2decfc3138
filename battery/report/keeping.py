"""What was read of people, packed, so that the next start need not read it again.

Kept beside the records under a sign of everything it was read from: person, visits with the
numbers of their latest change, what is common to all, and this very program, as any change of
it may read another thing from the same rows.
"""

from __future__ import annotations

import json
import sys
import zlib
from array import array
from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import astuple, fields
from datetime import datetime
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeVar

from battery.alarms import Alarm
from battery.report.page_rows import Reading, VisitRow
from battery.report.pooling import WEEKS, Share, Shares, by_place
from battery.report.readings import Placed
from battery.report.theirs import Theirs
from battery.store import Person
from battery.store.base import UNREADABLE
from norms.series import SeriesKey

T = TypeVar("T")
MAX_BYTES = 64_000_000  # unpacked; ten years of daily visits have a tenth
LITTLE = sys.byteorder == "little"
BRIEF = tuple(f.name for f in fields(VisitRow))[:10]  # without what was said around a visit


def sign_of(*told: Hashable) -> str:
    """Return the sign of what something is read from, this program included."""
    return sha256(f"{program_sign()} {told!r}".encode("ascii", "backslashreplace")).hexdigest()


@cache
def program_sign() -> str:
    """Return a hash of this program: its sources, or the file that holds them all."""
    digest = sha256(sys.version.encode())
    if getattr(sys, "frozen", False):
        return sha256(digest.digest() + Path(sys.executable).read_bytes()).hexdigest()
    root = Path(__file__).parents[2]
    for package in ("battery", "norms", "tasks"):
        for path in sorted((root / package).rglob("*.py")):
            digest.update(path.relative_to(root).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def packed_records(theirs: Theirs) -> bytes:
    """Pack what records say of somebody, without the person."""
    words, keys, readings = _Numbered(), _Numbered(), _Numbered()
    for reading in (*theirs.listed, *(r for own in theirs.readings.values() for r in own)):
        readings.number(reading, reading)
    columns = list(zip(*readings.there, strict=True)) or [()] * len(Reading._fields)
    told: dict[str, Any] = dict(zip(Reading._fields, columns, strict=True))
    for name in ("measure", "hand", "block_id", "reason", "flags", "aside"):
        told[name] = [words.number(value) for value in told[name]]
    told["key"] = [keys.number(key, key) for key in told["key"]]
    whole = {
        "visits": [_visit_values(visit) for visit in theirs.visits],
        "readings": list(told.values()),
        "listed": [readings.number(r, r) for r in theirs.listed],
        "sorted": [
            [name, hand, [readings.number(r, r) for r in own]]
            for (name, hand), own in theirs.readings.items()
        ],
        "plan": theirs.plan,
        "offset_min": theirs.offset_min,
        "alarms": [
            [a.key, a.kind, a.when.isoformat(), a.words, a.visit] for a in theirs.alarms
        ],
        "placed": [
            [words.number(p.task), words.number(p.hand), words.number(p.block_id),
             keys.number(p.key, p.key), p.counts, p.was_read, p.day]
            for p in theirs.placed
        ],
        "words": words.there,
        "keys": [astuple(key) for key in keys.there],
    }  # fmt: skip
    return zlib.compress(json.dumps(whole, separators=(",", ":")).encode(), 1)


def unpacked_records(packed: bytes, person: Person) -> Theirs:
    """Return what was packed by `packed_records`; alike objects are the same ones again.

    Raises
    ------
    ValueError, TypeError, LookupError
        If it is nothing of this form.
    """
    whole = json.loads(_unzipped(packed))
    words = [sys.intern(w) if isinstance(w, str) else tuple(w) for w in whole["words"]]
    keys = [SeriesKey(*values) for values in whole["keys"]]
    told = dict(zip(Reading._fields, whole["readings"], strict=True))
    for name in ("measure", "hand", "block_id", "reason", "flags", "aside"):
        told[name] = [words[n] for n in told[name]]
    told["key"] = [keys[n] for n in told["key"]]
    readings = [Reading(*row) for row in zip(*told.values(), strict=True)]
    return Theirs(
        person=person,
        visits=tuple(_visit_of(values) for values in whole["visits"]),
        listed=tuple(readings[n] for n in whole["listed"]),
        readings={
            (name, hand): tuple(readings[n] for n in own) for name, hand, own in whole["sorted"]
        },
        plan=whole["plan"],
        offset_min=whole["offset_min"],
        alarms=tuple(
            Alarm(key, person.code, kind, datetime.fromisoformat(when), said, visit)
            for key, kind, when, said, visit in whole["alarms"]
        ),
        placed=tuple(
            Placed(words[task], words[hand], words[block], keys[key], counts, was_read, day)
            for task, hand, block, key, counts, was_read, day in whole["placed"]
        ),
    )


def packed_shares(shares: Shares) -> bytes:
    """Pack what somebody brings to the pools."""
    flat = [share for own in shares.values() for share in own]
    names = [[s.name, s.role, s.n_baseline, len(s.series)] for s in flat]
    head = json.dumps(names, separators=(",", ":")).encode()
    values = array("d")
    weeks = array(WEEKS)
    for share in flat:
        values.extend(share.series)
        weeks.extend(share.weeks)
    if not LITTLE:
        values.byteswap()
        weeks.byteswap()
    return len(head).to_bytes(4, "little") + head + values.tobytes() + weeks.tobytes()


def unpacked_shares(packed: bytes) -> Shares:
    """Return what was packed by `packed_shares`.

    Raises
    ------
    ValueError, TypeError, LookupError
        If it is nothing of this form.
    """
    end = 4 + int.from_bytes(packed[:4], "little")
    told = json.loads(packed[4:end])
    after = end + array("d").itemsize * sum(length for *_, length in told)
    values, weeks = array("d", packed[end:after]), array(WEEKS, packed[after:])
    if not LITTLE:
        values.byteswap()
        weeks.byteswap()
    if len(values) != len(weeks):
        msg = f"{len(values)} values but {len(weeks)} weeks"
        raise ValueError(msg)
    alike: dict[bytes, array[int]] = {}
    found, start = [], 0
    for name, their_role, n_baseline, length in told:
        some = slice(start, start + length)
        own = weeks[some]
        own = alike.setdefault(own.tobytes(), own)  # one object for all measures of a task
        place = sys.intern(name), sys.intern(their_role)
        found.append(Share(*place, n_baseline, values[some], own))
        start += length
    return by_place(found)


def or_none(unpack: Callable[[], T]) -> T | None:
    """Return what was kept; None if it cannot be told, as it is only read again then."""
    try:
        return unpack()
    except (*UNREADABLE, zlib.error):
        return None


class _Numbered:
    """Things by their number, each kept once."""

    def __init__(self) -> None:
        self.there: list[Any] = []
        self._numbers: dict[Any, int] = {}

    def number(self, value: Any, one: object = None) -> int:
        """Return the number of a value; of `one` object, if it is told apart by that."""
        place = value if one is None else id(one)
        if place not in self._numbers:
            self._numbers[place] = len(self.there)
            self.there.append(value)
        return self._numbers[place]


def _visit_values(visit: VisitRow) -> list[object]:
    told: list[object] = [getattr(visit, name) for name in BRIEF]
    told[BRIEF.index("when")] = visit.when.isoformat()
    return told


def _visit_of(values: Iterable[Any]) -> VisitRow:
    alike = (sys.intern(value) if isinstance(value, str) else value for value in values)
    told: Mapping[str, Any] = dict(zip(BRIEF, alike, strict=True))
    return VisitRow(**{**told, "when": datetime.fromisoformat(told["when"])})


def _unzipped(packed: bytes) -> bytes:
    unpacking = zlib.decompressobj()
    text = unpacking.decompress(packed, MAX_BYTES)
    if unpacking.unconsumed_tail:
        msg = f"it unpacks to more than {MAX_BYTES} bytes"
        raise ValueError(msg)
    return text
