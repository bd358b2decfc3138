"""The clinic's signed answer: which bundles of a tablet it has taken in."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Annotated, Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from pydantic import AfterValidator, Field

from battery import forms
from battery.errors import HandoverError
from battery.files import inside
from battery.handover.folder_files import files_in, read_plain
from battery.handover.keys import Card
from battery.handover.signed import FormatForm, Signed
from battery.store import Store
from battery.store.handing import MAX_BUNDLES
from battery.store.merging import Received

RECEIPT = ".receipt"
FORMAT = 1
SIGNED_AS = b"coordination-battery receipt 1\n"
MAX_BYTES = 4_000_000
NEWER = (
    "a later program of the clinic wrote it; nothing was marked, and every visit stays on this "
    "tablet. Update the program of this tablet, then send again"
)


def _pairs(bundles: list[list[Any]]) -> list[list[Any]]:
    for number, sha in bundles:
        if type(number) is not int or not 1 <= number <= MAX_BUNDLES:
            msg = f"a bundle's number is {ascii(number)[:40]}"
            raise ValueError(msg)
        if not isinstance(sha, str) or not re.fullmatch(r"[0-9a-f]{64}", sha):
            msg = f"a bundle's hash is {ascii(sha)[:40]}"
            raise ValueError(msg)
    return bundles


class _ReceiptForm(FormatForm):
    """What a receipt of this format says."""

    clinic: forms.Name
    tablet: forms.Name
    made_utc: forms.Moment
    bundles: Annotated[
        list[Annotated[list[Any], Field(min_length=2, max_length=2)]],
        Field(max_length=MAX_BUNDLES),
        AfterValidator(_pairs),
    ]


SIGNED = Signed(
    _ReceiptForm,
    FORMAT,
    SIGNED_AS,
    what="receipt",
    unharmed="nothing was marked as received",
    newer=NEWER,
)


def write_receipt(
    folder: Path,
    clinic: Card,
    signer: Ed25519PrivateKey,
    tablet: str,
    taken: Iterable[Received],
    *,
    made_utc: str,
) -> Path:
    """Write a tablet's receipt in place of an earlier one.

    Raises
    ------
    StoreError
        If it cannot be written; what was received stays received.
    """
    body = {
        "clinic": clinic.fingerprint,
        "tablet": tablet,
        "made_utc": made_utc,
        "bundles": [[r.number, r.sha256] for r in taken],
    }
    name = f"{clinic.fingerprint}_{tablet}{RECEIPT}".replace(" ", "")
    return SIGNED.write(inside(folder, name), body, signer)


def acknowledge(
    store: Store, folder: Path, clinics: Sequence[Card], tablet: str, *, at_utc: str
) -> tuple[int, list[str]]:
    """Read the receipts for this tablet and mark what they name.

    Returns
    -------
    n_marked : int
        Bundles that were not acknowledged before.
    problems : list of str
        Receipts that could not be used, one line each.
    """
    waiting = {(b.number, b.sha256) for b in store.bundles.all() if b.receipt_utc is None}
    problems: list[str] = []
    named: set[tuple[int, str]] = set()
    for path in files_in(folder, RECEIPT):
        if not path.name.endswith(f"_{tablet.replace(' ', '')}{RECEIPT}"):
            continue
        try:
            named |= _named(read_plain(path, most_bytes=MAX_BYTES), clinics, tablet)
        except HandoverError as error:
            problems.append(f"{path.name!r}: {error}")
    found = sorted(number for number, _ in waiting & named)
    store.bundles.mark_acknowledged(found, at_utc=at_utc)
    return len(found), problems


def _named(data: bytes, clinics: Sequence[Card], tablet: str) -> set[tuple[int, str]]:
    told = SIGNED.read(data, clinics)
    if told.tablet != tablet:
        msg = "it is for another tablet; nothing was marked"
        raise HandoverError(msg)
    return {(number, sha) for number, sha in told.bundles}
