"""The rows of a block's trials, packed, with a hash that binds them to block and version."""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Any

from battery.scoring.score import SCORING_VERSION

TrialRow = dict[str, Any]
MAX_BYTES = 16_000_000  # unpacked; an hour of the quickest trials has a tenth


def trial_values(block_id: str, trials: Sequence[TrialRow]) -> dict[str, Any]:
    """Return the row of `trials` of a block."""
    text = json.dumps(list(trials), separators=(",", ":"), allow_nan=False)
    packed = zlib.compress(text.encode())
    return {
        "block_id": block_id,
        "scoring_version": SCORING_VERSION,
        "packed": packed,
        "sha256": _hash(block_id, SCORING_VERSION, packed),
    }


def unpacked_trials(row: Mapping[str, Any]) -> tuple[str, list[TrialRow] | None]:
    """Return a block and the rows of its trials; None if another version made them.

    Raises
    ------
    ValueError
        If they are not what was stored.
    """
    block_id, version, packed = row["block_id"], row["scoring_version"], row["packed"]
    if not isinstance(packed, bytes) or _hash(block_id, version, packed) != row["sha256"]:
        msg = "they are not what was stored; 'battery rescore' makes them anew"
        raise ValueError(msg)
    if version != SCORING_VERSION:
        return block_id, None
    unpacking = zlib.decompressobj()
    text = unpacking.decompress(packed, MAX_BYTES)
    if unpacking.unconsumed_tail:
        msg = f"they unpack to more than {MAX_BYTES} bytes"
        raise ValueError(msg)
    return block_id, list(json.loads(text))


def _hash(block_id: Any, version: Any, packed: bytes) -> str:
    return sha256(ascii(f"{block_id} {version}").encode() + b"\n" + packed).hexdigest()
