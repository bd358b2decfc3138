"""Keys of clinic and tablet, and the cards by which they know each other.

A clinic has two keys: bundles are sealed to one (X25519, the age format), receipts are signed
with the other (Ed25519). A tablet has one, to sign its bundles. Secret keys lie in a folder
`keys` beside the store, for its owner only, and are part of no backup. A second key of the
clinic, kept elsewhere, opens the same bundles should the first be lost.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyrage
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import (
    Ed25519PrivateKey,
    Ed25519PublicKey,
)

from battery.errors import HandoverError, StoreError, UsageError
from battery.files import inside
from battery.handover.folder_files import files_in, read_plain, write_whole
from battery.handover.marks import mark_words
from battery.store import Store
from battery.store.handing import SET_UP
from battery.store.opening import home_folder

CARD = ".card"
CARD_FORMAT = 1
MAX_CARD_BYTES = 10_000
MAX_CLINIC_KEYS = 2


@dataclass(frozen=True, slots=True)
class Card:
    """The public keys of a clinic, or of its second key, which only opens bundles."""

    seal: str  # an age recipient
    sign: str  # Ed25519, base64; empty for a second key

    @property
    def fingerprint(self) -> str:
        """What two people compare by eye: 16 hex digits of the SHA-256 of the keys."""
        return fingerprint(f"{self.seal} {self.sign}".encode())


def fingerprint(key: bytes) -> str:
    """Return the first 16 hex digits of the SHA-256 in groups of four."""
    digits = hashlib.sha256(key).hexdigest()[:16]
    return " ".join(digits[at : at + 4] for at in range(0, 16, 4))


def keys_folder(store: Store) -> Path:
    """Return where the secret keys lie: beside the store's file, or in the data folder."""
    home = store.folder or home_folder(None)
    if not isinstance(home, Path):
        msg = "the store is on a server; set BATTERY_HOME to a folder for the secret keys"
        raise UsageError(msg)
    return home / "keys"


def make_clinic_keys(store: Store, folder: Path, *, spare: Path | None = None) -> str:
    """Make the clinic's keys, once, and put its card into a folder the tablets will see.

    Parameters
    ----------
    store : Store
    folder : Path
        Where bundles will arrive.
    spare : Path, optional
        New file for a second secret key, to be kept elsewhere.

    Returns
    -------
    str
        The fingerprint, or that of the spare key.

    Raises
    ------
    UsageError
        If the spare key's file is there already.
    StoreError
        If a file cannot be written.
    """
    if spare is not None:
        if spare.exists():
            msg = f"'{spare}' is there already; nothing was changed, name a new file"
            raise UsageError(msg)
        identity = pyrage.x25519.Identity.generate()
        card = Card(str(identity.to_public()), "")
        write_whole(spare, f"{identity}\n".encode(), mode=0o600)
    else:
        own = keys_folder(store) / "clinic.json"
        if not own.exists():
            secret = {
                "seal": str(pyrage.x25519.Identity.generate()),
                "sign": _text(Ed25519PrivateKey.generate().private_bytes_raw()),
            }
            _write_secret(own, secret)
        card = clinic_keys(store).card
    _write_card(folder, "clinic", {"seal": card.seal, "sign": card.sign}, card.fingerprint)
    return card.fingerprint


@dataclass(frozen=True)
class ClinicKeys:
    """The clinic's secret keys, and any other key that opens its bundles."""

    identities: tuple[Any, ...]
    signer: Ed25519PrivateKey

    @property
    def card(self) -> Card:
        """The public half."""
        public = _text(self.signer.public_key().public_bytes_raw())
        return Card(str(self.identities[0].to_public()), public)


def clinic_keys(store: Store, *, spare: Path | None = None) -> ClinicKeys:
    """Read the clinic's secret keys.

    Raises
    ------
    HandoverError
        If there are none, or they cannot be read.
    """
    secret = _read_secret(keys_folder(store) / "clinic.json", "battery keys clinic FOLDER")
    try:
        identities = [pyrage.x25519.Identity.from_str(secret["seal"])]
        if spare is not None:
            text = read_plain(spare, most_bytes=MAX_CARD_BYTES).decode().strip()
            identities.append(pyrage.x25519.Identity.from_str(text))
        signer = Ed25519PrivateKey.from_private_bytes(_bytes(secret["sign"]))
    except (pyrage.IdentityError, KeyError, ValueError) as error:
        msg = f"a secret key of the clinic cannot be read: {error}; restore it from its copy"
        raise HandoverError(msg) from error
    return ClinicKeys(tuple(identities), signer)


def clinic_signature(store: Store) -> Callable[[bytes], dict[str, str]] | None:
    """Return what signs with the clinic's key; None where there is no such key.

    It gives the two public keys of the clinic's card and the signature, as text.
    """
    try:
        if not (keys_folder(store) / "clinic.json").exists():
            return None
    except UsageError:  # a server's store without a folder for keys
        return None
    keys = clinic_keys(store)
    card = keys.card
    return lambda data: {
        "seal": card.seal,
        "sign": card.sign,
        "value": _text(keys.signer.sign(data)),
    }


def found_cards(folder: Path) -> list[Card]:
    """Read the clinic's cards in a folder, one or two of them.

    Raises
    ------
    HandoverError
        If there is none, there are more, or one cannot be read.
    """
    cards = [_read_card(path) for path in files_in(folder, CARD) if "clinic_" in path.name]
    if not 1 <= len(cards) <= MAX_CLINIC_KEYS:
        msg = (
            f"'{folder}' holds {len(cards)} cards of a clinic, 1 or {MAX_CLINIC_KEYS} are "
            "needed; run 'battery keys clinic FOLDER' at the clinic, or take the odd one away"
        )
        raise HandoverError(msg)
    if not any(card.sign for card in cards):
        msg = f"'{folder}' holds the spare key's card only; add that of the clinic itself"
        raise HandoverError(msg)
    return cards


def make_tablet_keys(store: Store, cards: Sequence[Card], compared: Sequence[str]) -> str:
    """Make the tablet's key, once, and remember the clinic's; return the tablet's fingerprint.

    Raises
    ------
    UsageError
        If a card has no fingerprint among those that were compared.
    StoreError
        If a file cannot be written.
    """
    told = {_digits(text) for text in compared}
    for card in cards:
        if _digits(card.fingerprint) not in told:
            msg = (
                f"the folder holds a clinic key {card.fingerprint!r}; compare it with what the "
                f"clinic was shown and say --fingerprint '{card.fingerprint}'. Nothing was kept"
            )
            raise UsageError(msg)
    own = keys_folder(store) / "tablet.json"
    if not own.exists():
        _write_secret(own, {"sign": _text(Ed25519PrivateKey.generate().private_bytes_raw())})
    store.setup.put_setting(SET_UP, [{"seal": card.seal, "sign": card.sign} for card in cards])
    return fingerprint(tablet_key(store).public_key().public_bytes_raw())


def tablet_key(store: Store) -> Ed25519PrivateKey:
    """Read the tablet's secret key.

    Raises
    ------
    HandoverError
        If there is none, or it cannot be read.
    """
    secret = _read_secret(keys_folder(store) / "tablet.json", "battery keys tablet FOLDER")
    try:
        return Ed25519PrivateKey.from_private_bytes(_bytes(secret["sign"]))
    except (KeyError, ValueError) as error:
        msg = "the tablet's secret key cannot be read; restore it from its copy"
        raise HandoverError(msg) from error


def clinics_of(store: Store) -> list[Card]:
    """Return the clinic keys this tablet seals to; none before it was set up."""
    return [Card(**card) for card in store.setup.setting(SET_UP, [])]


def show_keys(store: Store) -> list[str]:
    """Say which keys are here, by fingerprint, or how to make them."""
    return held_keys(store) or ["no keys yet; at the clinic run 'battery keys clinic FOLDER'"]


def clinic_mark(store: Store) -> str:
    """Return the fingerprint of this clinic's keys; empty where there are none."""
    try:
        if not (keys_folder(store) / "clinic.json").exists():
            return ""
    except UsageError:  # a server's store without a folder for keys
        return ""
    return clinic_keys(store).card.fingerprint


def held_keys(store: Store) -> list[str]:
    """Say which keys are here, by fingerprint; nothing where there are none."""
    folder = keys_folder(store)
    lines = []
    if (folder / "clinic.json").exists():
        mark = clinic_keys(store).card.fingerprint
        lines.append(f"clinic key  {mark}  {mark_words(mark)}")
    if (folder / "tablet.json").exists():
        public = tablet_key(store).public_key().public_bytes_raw()
        mark = fingerprint(public)
        lines.append(f"tablet key  {mark}  {mark_words(mark)}")
    lines += [f"seals to    {card.fingerprint}" for card in clinics_of(store)]
    lines += [
        f"accepts     {t.fingerprint} ({t.device}, by {t.author})"
        for t in store.transfer.tablets()
    ]
    return lines


def verified(public: bytes, signature: bytes, data: bytes) -> bool:
    """Whether an Ed25519 signature holds."""
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, data)
    except (InvalidSignature, ValueError):
        return False
    return True


def _write_card(folder: Path, kind: str, keys: dict[str, str], mark: str) -> None:
    body = json.dumps({"format": CARD_FORMAT, "kind": kind, **keys}, indent=1) + "\n"
    name = f"{kind}_{mark.replace(' ', '')}{CARD}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        msg = f"cannot make folder '{folder}': {error.strerror or error}; the keys are kept"
        raise StoreError(msg) from error
    write_whole(inside(folder, name), body.encode())


def _read_card(path: Path) -> Card:
    try:
        told = json.loads(read_plain(path, most_bytes=MAX_CARD_BYTES))
        known = told["format"] == CARD_FORMAT
        card = Card(str(told["seal"]), str(told["sign"]))
        pyrage.x25519.Recipient.from_str(card.seal)
        if card.sign:
            Ed25519PublicKey.from_public_bytes(_bytes(card.sign))
    except (ValueError, KeyError, TypeError, RecursionError, pyrage.RecipientError) as error:
        msg = f"{path.name!r} is not a clinic's card; take it away or have it written again"
        raise HandoverError(msg) from error
    if not known:
        msg = f"{path.name!r} has another form than {CARD_FORMAT}; update this program"
        raise HandoverError(msg)
    return card


def _write_secret(path: Path, secret: dict[str, str]) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        msg = f"cannot make folder '{path.parent}': {error.strerror or error}"
        raise StoreError(msg) from error
    write_whole(path, json.dumps(secret).encode(), mode=0o600)


def _read_secret(path: Path, way_out: str) -> dict[str, str]:
    if not path.exists():
        msg = f"no key here yet; run '{way_out}' first"
        raise HandoverError(msg)
    try:
        return dict(json.loads(read_plain(path, most_bytes=MAX_CARD_BYTES)))
    except (ValueError, TypeError) as error:
        msg = f"'{path}' cannot be read as a key; restore it from its copy"
        raise HandoverError(msg) from error


def _digits(mark: str) -> str:
    return re.sub(r"[^0-9a-f]", "", mark.lower())


def _text(raw: bytes) -> str:
    return base64.b64encode(raw).decode()


def _bytes(text: str) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except binascii.Error as error:
        msg = "no base64"
        raise ValueError(msg) from error
