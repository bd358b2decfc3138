"""A bundle: what is in it, and how it is signed and sealed.

Sealed with age to the clinic's keys lies: a line with the format, the tablet's public key, its
signature, and a zip of plain parts.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
import pyrage
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from battery.errors import HandoverError
from battery.handover.folder_files import sha256
from battery.recording import (
    FRAME_DTYPE,
    RECORD_VERSION,
    SAMPLE_DTYPE,
    Device,
    canonical_json,
    events_from_array,
    visit_header_to_dict,
)
from battery.store.arrival import Beside, WholeVisit, facts_of
from battery.store.codec import events_to_json
from battery.store.rows.recorded import Person
from tasks.plain import to_plain

FORMAT = 2  # the one that is written; every earlier one is read as well
MAGIC = b"coordination-battery bundle "
ARRAYS: Mapping[str, np.dtype[np.void]] = {"samples": SAMPLE_DTYPE, "frames": FRAME_DTYPE}
STAMP = (1980, 1, 1, 0, 0, 0)  # nothing in a zip may depend on when it was made


def pack(
    *,
    number: int,
    previous_sha256: str,
    replaces: Sequence[int],
    made_utc: str,
    device: Device,
    person: Person,
    visit: WholeVisit | None,
    beside: Beside,
) -> bytes:
    """Pack a visit, or what lies beside visits, into the bytes that are signed."""
    parts: dict[str, bytes] = {}
    record: dict[str, Any] = {"person": to_plain(person), "device": to_plain(device)}
    if visit is not None:
        record |= {
            "visit": visit_header_to_dict(visit.header),
            "ending": visit.ending,
            "plan": visit.plan,
            "blocks": [facts_of(block) for block in visit.blocks],
        }
        for place, block in enumerate(visit.blocks):
            parts[f"{place:03d}.samples"] = np.ascontiguousarray(block.samples).tobytes()
            parts[f"{place:03d}.frames"] = np.ascontiguousarray(block.frames).tobytes()
            parts[f"{place:03d}.events"] = events_to_json(
                events_from_array(block.events)
            ).encode()
    parts["record.json"] = canonical_json(record).encode()
    parts["beside.json"] = canonical_json(asdict(beside)).encode()
    manifest = {
        "format": FORMAT,
        "record_version": RECORD_VERSION,
        "schema": schema_of(ARRAYS),
        "number": number,
        "previous_sha256": previous_sha256,
        "replaces": list(replaces),
        "made_utc": made_utc,
        "content_sha256": None if visit is None else visit.content_sha256,
        "parts": [
            {"name": name, "bytes": len(data), "sha256": sha256(data)}
            for name, data in sorted(parts.items())
        ],
    }
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w") as packed:
        everything = {"manifest.json": canonical_json(manifest).encode(), **parts}
        for name in sorted(everything):
            entry = zipfile.ZipInfo(name, STAMP)
            entry.compress_type = zipfile.ZIP_DEFLATED
            packed.writestr(entry, everything[name])
    return sink.getvalue()


def schema_of(arrays: Mapping[str, np.dtype[np.void]]) -> dict[str, Any]:
    """Say of each kind of array which columns its rows have, in order, and of which type."""
    return {
        name: [[column, dtype[column].str] for column in dtype.names or ()]
        for name, dtype in arrays.items()
    }


def sign_and_seal(content: bytes, key: Ed25519PrivateKey, recipients: Sequence[str]) -> bytes:
    """Sign with the tablet's key and seal to one or two clinic keys."""
    signed = signed_bytes(content, key)
    to = [pyrage.x25519.Recipient.from_str(text) for text in recipients]
    return bytes(pyrage.encrypt(signed, to))


def signed_bytes(content: bytes, key: Ed25519PrivateKey) -> bytes:
    """Put the format, the public key and the signature before what they are about."""
    public = key.public_key().public_bytes_raw()
    line = MAGIC + f"{FORMAT}\n".encode()
    return line + public + key.sign(line + content) + content


def unseal(sealed: bytes, identities: Sequence[Any]) -> bytes:
    """Open the seal.

    Raises
    ------
    HandoverError
        If it was changed, or is sealed to other keys.
    """
    try:
        return bytes(pyrage.decrypt(sealed, list(identities)))
    except pyrage.DecryptError as error:
        msg = f"it cannot be opened with the clinic's key ({error}): changed, or not for here"
        raise HandoverError(msg) from error
