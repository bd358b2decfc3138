"""A bundle from a stranger opened: its signature, its limits, and every field of it.

Nothing is ever unpacked to disk, and every part is read up to a limit only.
"""

from __future__ import annotations

import base64
import io
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import numpy as np
from pydantic import TypeAdapter, ValidationError

from battery import forms
from battery.errors import FalseFieldError, HandoverError, NewerFormatError
from battery.handover import gate
from battery.handover.bundle import ARRAYS, FORMAT
from battery.handover.folder_files import sha256
from battery.handover.keys import fingerprint, verified
from battery.playable import hold_block
from battery.recording import (
    LATER_COLUMNS,
    RECORD_VERSION,
    Block,
    BlockHeader,
    Device,
    Ending,
    TimingAudit,
    VisitHeader,
    canonical_json,
    events_to_array,
)
from battery.store import rebuild
from battery.store.arrival import Arrival, Beside, WholeVisit, facts_of
from battery.store.codec import events_from_json
from battery.store.form import wait_for_update
from battery.store.handing import MAX_BUNDLES
from battery.store.rows.recorded import Person

FIRST_LINE = re.compile(rb"coordination-battery bundle ([1-9][0-9]{0,3})\n")
# Columns of the arrays of format 1, which did not carry them; never changed.
SCHEMA_1: Mapping[str, Any] = {
    "samples": [
        ["t_ns", "<i8"],
        ["kind", "|u1"],
        ["pointer", "<i2"],
        ["x_mm", "<f8"],
        ["y_mm", "<f8"],
        ["pressure", "<f4"],
        ["stamp_gap_ns", "<i8"],
    ],
    "frames": [["drawn_ns", "<i8"], ["flip_ns", "<i8"]],
}
KEY_BYTES, SIGNATURE_BYTES = 32, 64
END_BYTES = 22  # of a zip without a remark at its end
# A visit of 16 blocks of a minute at 1,000 reports a second is 40 MB. What is decoded of a
# stranger's bundle, all together, stays below 200 MB.
MAX_BUNDLE_BYTES = 32_000_000
MAX_PART_BYTES = 32_000_000
MAX_BYTES = 64_000_000
MAX_TEXT_BYTES = 2_000_000  # of a part that is JSON, which takes many times its size
MAX_VALUES = 100_000  # of such a part; a whole visit has under 3,000
MAX_EVENT_BYTES = 4_000_000  # of all parts with events together
MAX_PARTS = 1000
MAX_LIST_BYTES = 200 * MAX_PARTS  # of the list of parts

_BROKEN = (
    zipfile.BadZipFile, zlib.error, EOFError, KeyError, IndexError, TypeError, ValueError,
    RuntimeError, OverflowError, OSError, AttributeError,
)  # fmt: skip


def _code_of(record: Any) -> str:
    """Return whom a record speaks of, where that can be a code; else nothing."""
    try:
        return forms.hold(forms.PersonForm, record["person"]).code
    except (ValueError, TypeError, KeyError, IndexError):
        return ""


def open_signed(signed: bytes) -> Arrival:
    """Check the signature and read all of it.

    Raises
    ------
    NewerFormatError
        If a later program made it.
    HandoverError
        If it is no bundle, was changed, is too large, or does not hold together.
    """
    found = FIRST_LINE.match(signed)
    if not found:
        msg = "it is not a bundle of this program"
        raise HandoverError(msg)
    line, version = found[0], int(found[1])
    if version > FORMAT:
        wait_for_update(f"bundle format {version}; this program reads up to {FORMAT}")
    begin = len(line) + KEY_BYTES
    public, signature = signed[len(line) : begin], signed[begin : begin + SIGNATURE_BYTES]
    content = signed[begin + SIGNATURE_BYTES :]
    if not verified(public, signature, line + content):
        msg = "its signature does not hold: it was changed"
        raise HandoverError(msg)
    return open_content(content, public)


def open_content(content: bytes, public: bytes) -> Arrival:
    """Read what was signed by the holder of a public key.

    Raises
    ------
    NewerFormatError
        If a later program made it.
    FalseFieldError
        If it is whole, and says what cannot be; the line names the field.
    HandoverError
        If it is too large or does not hold together.
    """
    try:
        manifest, parts = _unpacked(content)
    except HandoverError:
        raise
    except (RecursionError, MemoryError) as error:
        msg = f"it does not hold together: {type(error).__name__}"
        raise HandoverError(msg) from error
    except _BROKEN as error:
        msg = f"it does not hold together: {type(error).__name__} {_cause(error)}".rstrip()
        raise HandoverError(msg) from error
    code = ""
    try:
        record = json.loads(parts["record.json"])
        code = _code_of(record)
        return _arrival(manifest, record, parts, content, public)
    except NewerFormatError:
        raise
    except (RecursionError, MemoryError) as error:
        msg = f"it does not hold together: {type(error).__name__}"
        raise HandoverError(msg) from error
    except (HandoverError, *_BROKEN) as error:
        raise FalseFieldError(
            _cause(error), content=content, public=public, code=code
        ) from error


def _cause(error: Exception) -> str:
    if isinstance(error, ValidationError):
        return forms.told(error)
    if isinstance(error, KeyError):
        return f"{ascii(error.args[0])[:60]} is missing" if error.args else "a field is missing"
    cause = (str(error).splitlines() or [""])[0][:300]
    return cause or type(error).__name__


def _hold_list(content: bytes) -> None:
    """Refuse a list of parts that is too long, before it is read."""
    end = content[-END_BYTES:]
    if len(end) < END_BYTES or not end.startswith(b"PK\x05\x06") or end[-2:] != b"\0\0":
        msg = "its parts are not packed as this program packs them"
        raise HandoverError(msg)
    n_parts, list_bytes = struct.unpack("<HI", end[10:16])
    if n_parts > MAX_PARTS or list_bytes > MAX_LIST_BYTES:
        msg = f"it claims {n_parts} parts; refused"
        raise HandoverError(msg)


def _unpacked(content: bytes) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Read what the container holds: whole, of the hashes it states, and not too large."""
    _hold_list(content)
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        entries = packed.infolist()
        names = [entry.filename for entry in entries]
        if len(names) > MAX_PARTS or len(set(names)) != len(names):
            msg = f"it has {len(names)} parts, {len(set(names))} different; refused"
            raise HandoverError(msg)
        events = [entry.file_size for entry in entries if entry.filename.endswith(".events")]
        if sum(entry.file_size for entry in entries) > MAX_BYTES or (
            sum(events) > MAX_EVENT_BYTES
        ):
            msg = f"its parts claim more than {MAX_BYTES} bytes; refused"
            raise HandoverError(msg)
        manifest = json.loads(_part(packed, "manifest.json"))
        told = _whole(manifest["format"]), _whole(manifest["record_version"])
        if told[0] > FORMAT or told[1] > RECORD_VERSION:
            wait_for_update(
                f"bundle format {told[0]} with record version {told[1]}; this program reads up "
                f"to {FORMAT} and {RECORD_VERSION}"
            )
        hashes = {part["name"]: part["sha256"] for part in manifest["parts"]}
        if set(hashes) | {"manifest.json"} != set(names):
            msg = "its parts are not those its manifest names"
            raise HandoverError(msg)
        parts = {name: _part(packed, name) for name in sorted(hashes)}
    for name, data in parts.items():
        if sha256(data) != hashes[name]:
            msg = f"part {name!r} does not have the hash its manifest states"
            raise HandoverError(msg)
    return manifest, parts


def _arrival(
    manifest: Mapping[str, Any],
    record: Mapping[str, Any],
    parts: Mapping[str, bytes],
    content: bytes,
    public: bytes,
) -> Arrival:
    """Read what was signed, through the gate."""
    gate.hold_record(record)
    dtypes = _dtypes(SCHEMA_1 if manifest["format"] == 1 else manifest["schema"])
    visit = _visit(record, parts, dtypes) if "visit" in record else None
    if manifest["content_sha256"] != (None if visit is None else visit.content_sha256):
        msg = "its visit does not have the hash its manifest states"
        raise HandoverError(msg)
    number = _whole(manifest["number"])
    if number > MAX_BUNDLES or len(manifest["replaces"]) > MAX_PARTS:
        msg = f"its number must be at most {MAX_BUNDLES}, not {number}"
        raise HandoverError(msg)
    beside = _checked(Beside, json.loads(parts["beside.json"]))
    gate.hold_beside(
        beside,
        record["person"]["code"],
        record["device"]["alias"],
        None if visit is None else visit.header.visit_id,
        [] if visit is None else [block.header.block_id for block in visit.blocks],
    )
    return Arrival(
        fingerprint=fingerprint(public),
        public_key=base64.b64encode(public).decode(),
        number=number,
        sha256=sha256(content),
        previous_sha256=_text(manifest["previous_sha256"], "previous_sha256"),
        replaces=tuple(_whole(n) for n in manifest["replaces"] if n < number),
        made_utc=_moment(manifest["made_utc"]),
        device=_checked(Device, record["device"]),
        person=_checked(Person, _all_known(Person, record["person"], "a person")),
        visit=visit,
        beside=beside,
        content=content,
    )


def _part(packed: zipfile.ZipFile, name: str) -> bytes:
    text = name.endswith((".json", ".events"))
    most_bytes = MAX_TEXT_BYTES if text else MAX_PART_BYTES
    with packed.open(name) as part:
        data = part.read(most_bytes + 1)
    if len(data) > most_bytes:
        msg = f"part {name!r} has more than {most_bytes} bytes; refused"
        raise HandoverError(msg)
    if text and sum(data.count(mark) for mark in (b",", b"[", b"{")) > MAX_VALUES:
        msg = f"part {name!r} has more than {MAX_VALUES} values; refused"
        raise HandoverError(msg)
    return data


def _dtypes(schema: Mapping[str, Any]) -> dict[str, np.dtype[np.void]]:
    """Return how the rows of each array lie in a bundle; a column not known here is later."""
    dtypes = {}
    for name, dtype in ARRAYS.items():
        told = [(_text(column), _text(kind)) for column, kind in schema[name]]
        unknown = sorted({column for column, _ in told} - set(dtype.names or ()))
        if unknown:
            wait_for_update(f"{name} with the column {unknown[0][:40]!r}")
        if any(kind != dtype[column].str for column, kind in told):
            msg = f"a column of its {name} is of another type than it can be"
            raise ValueError(msg)
        lacking = sorted(set(dtype.names or ()) - {c for c, _ in told} - set(LATER_COLUMNS))
        if lacking:
            msg = f"its {name} have no column {lacking[0]!r}"
            raise ValueError(msg)
        dtypes[name] = np.dtype(told)
    return dtypes


def _rows(data: bytes, name: str, dtypes: Mapping[str, np.dtype[np.void]]) -> Any:
    """Return the rows of an array as this program has them; later columns have defaults."""
    told = np.frombuffer(data, dtype=dtypes[name])
    rows = np.zeros(len(told), dtype=ARRAYS[name])
    for column in rows.dtype.names or ():
        held = column in (told.dtype.names or ())
        rows[column] = told[column] if held else LATER_COLUMNS[column]
    return rows


def _visit(
    record: Mapping[str, Any],
    parts: Mapping[str, bytes],
    dtypes: Mapping[str, np.dtype[np.void]],
) -> WholeVisit:
    header = _checked(VisitHeader, record["visit"])
    person, device = record["person"]["code"], record["device"]["alias"]
    if (header.person, header.device.alias) != (person, device):
        msg = "its visit names another person or device"
        raise HandoverError(msg)
    blocks = [
        _block(facts, parts, f"{place:03d}", header, dtypes)
        for place, facts in enumerate(record["blocks"])
    ]
    places = [block.header.index for block in blocks]
    if len(set(places)) != len(places):
        msg = "two of its blocks have the same place"
        raise HandoverError(msg)
    plan = _text(record["plan"], "plan")
    gate.hold_plan(plan, header)
    ending = record["ending"]
    return WholeVisit(header, None if ending is None else gate.name(ending), plan, blocks)


def _block(
    facts: Mapping[str, Any],
    parts: Mapping[str, bytes],
    name: str,
    visit: VisitHeader,
    dtypes: Mapping[str, np.dtype[np.void]],
) -> Block:
    header = _checked(BlockHeader, facts["header"])
    if header.visit_id != visit.visit_id:
        msg = f"block {name} belongs to another visit"
        raise HandoverError(msg)
    block = Block(
        header=header,
        samples=_rows(parts[f"{name}.samples"], "samples", dtypes),
        frames=_rows(parts[f"{name}.frames"], "frames", dtypes),
        events=events_to_array(events_from_json(parts[f"{name}.events"].decode())),
        ending=_checked(Ending, facts["ending"]),
        ended_ns=_whole(facts["ended_ns"]),
        audit=_checked(TimingAudit, _all_known(TimingAudit, facts["audit"], "an audit")),
        reason=_text(facts["reason"], "reason"),
    )
    _holds(block, facts, name)
    return block


def _holds(block: Block, facts: Mapping[str, Any], name: str) -> None:
    hold_block(block, f"blocks.{int(name)}")
    if block.sha256 != facts["sha256"]:
        msg = f"block {name} does not have the hash it was stored with"
        raise HandoverError(msg)
    own = facts_of(block)
    more = sorted(set(facts) - set(own))
    if more:
        wait_for_update(f"a block with {more[0][:40]!r}")
    if canonical_json(own) != canonical_json(facts):
        msg = f"block {name} does not say what its parts say"
        raise HandoverError(msg)


def _checked(kind: Any, value: Any) -> Any:
    """Hold plain values to a kind's types, then build it of the very values.

    A whole number where a decimal could stand stays one: a hash may hang on it.
    """
    text = json.dumps(value)
    TypeAdapter(kind).validate_json(text, strict=True)
    if kind is VisitHeader:
        return rebuild.visit_header(text)
    if kind is BlockHeader:
        return rebuild.block_header(text)
    if kind is Device:
        return rebuild.device(text)
    return value if kind is Ending else kind(**value)


def _whole(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**62:
        msg = f"a count must be a whole number from 0, not {value!r}"
        raise ValueError(msg)
    return value


def _text(value: Any, name: str = "a text") -> str:
    if not isinstance(value, str) or len(value) > 1_000_000:
        msg = f"{name} is no text, or too long"
        raise ValueError(msg)
    value.encode()  # half a letter is refused here and not by the database
    return value


def _moment(value: Any) -> str:
    try:
        return forms.moment(_text(value))
    except ValueError as error:
        msg = f"made_utc is {ascii(value)[:60]}: {error}"
        raise ValueError(msg) from error


def _all_known(kind: Any, value: Any, what: str) -> Any:
    """Refuse what a later program says of something that is held as columns here."""
    more = sorted(set(value) - {field.name for field in fields(kind)})
    if more:
        wait_for_update(f"{what} with {more[0][:40]!r}")
    return value
