"""The signature of an export: made with the clinic's key, checked by whoever holds the card."""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Callable, Mapping
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from battery.recording import canonical_json

SIGNED_AS = b"coordination battery export 2\n"
SIGNATURE = "signature"
DIGEST = "digest"

# Signs bytes; gives the two public keys of the clinic's card and the signature, as text.
Sign = Callable[[bytes], Mapping[str, str]]


def digest_of(descriptor: Mapping[str, Any]) -> str:
    """Hash everything a descriptor says, and so every file by its hash."""
    told = {k: v for k, v in descriptor.items() if k not in (DIGEST, SIGNATURE)}
    return f"sha256:{hashlib.sha256(canonical_json(told).encode()).hexdigest()}"


def signed_bytes(digest: str) -> bytes:
    """Return what a signature is about."""
    return SIGNED_AS + digest.encode()


def signer_of(signature: Any, digest: str) -> str | None:
    """Return the fingerprint of the clinic whose key signed a digest; None if none did.

    The fingerprint is that of the clinic's card: the first 16 hex digits of the SHA-256 of its
    two keys, in groups of four.
    """
    if not isinstance(signature, Mapping):
        return None
    seal, sign, value = (signature.get(name) for name in ("seal", "sign", "value"))
    if not (isinstance(seal, str) and isinstance(sign, str) and isinstance(value, str)):
        return None
    try:
        key = Ed25519PublicKey.from_public_bytes(base64.b64decode(sign, validate=True))
        key.verify(base64.b64decode(value, validate=True), signed_bytes(digest))
    except (InvalidSignature, ValueError, binascii.Error):
        return None
    digits = hashlib.sha256(f"{seal} {sign}".encode()).hexdigest()[:16]
    return " ".join(digits[at : at + 4] for at in range(0, 16, 4))
