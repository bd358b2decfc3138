"""A small file of the clinic's on a stick: a body, and the clinic's signature of it.

Whoever finds the stick may have changed it, so nothing is read of it but through a form, and
nothing of it is used unless the signature holds.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Generic, TypeVar

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from pydantic import Field

from battery import forms
from battery.errors import HandoverError, NewerFormatError
from battery.handover.folder_files import write_whole
from battery.handover.keys import Card, verified
from battery.recording import canonical_json


class FormatForm(forms.Form):
    """What every version of a signed file says."""

    format: Annotated[int, Field(ge=1, le=10_000)]


F = TypeVar("F", bound=FormatForm)


class Signed(Generic[F]):
    """A kind of signed file.

    Parameters
    ----------
    form : type
        What the body of this version says.
    version : int
        The version that is written, and the last that is read.
    signed_as : bytes
        What stands before the body when it is signed, so that one kind is never taken for
        another.
    what : str
        What it is, for the line that refuses another file ("receipt").
    unharmed : str
        What stays as it was when a file is refused.
    newer : str
        The advice where a later program wrote it.
    """

    def __init__(
        self,
        form: type[F],
        version: int,
        signed_as: bytes,
        *,
        what: str,
        unharmed: str,
        newer: str,
    ) -> None:
        self._form, self.version, self._signed_as = form, version, signed_as
        self._what, self._unharmed, self._newer = what, unharmed, newer

    def write(self, path: Path, said: dict[str, Any], signer: Ed25519PrivateKey) -> Path:
        """Write a body signed, in place of an earlier file.

        Raises
        ------
        StoreError
            If it cannot be written.
        """
        body = {"format": self.version, **said}
        signature = base64.b64encode(signer.sign(self._bytes(body))).decode()
        write_whole(
            path, (canonical_json({"body": body, "signature": signature}) + "\n").encode()
        )
        return path

    def read(self, data: bytes, clinics: Sequence[Card]) -> F:
        """Return what a file says, if one of the clinics signed it.

        Raises
        ------
        NewerFormatError
            If a later program wrote it; how that signs cannot be told here.
        HandoverError
            If it is none, or was signed by somebody else.
        """
        try:
            whole = json.loads(data)
            body, signature = whole["body"], base64.b64decode(whole["signature"], validate=True)
            signed = self._bytes(body)
            keys = [base64.b64decode(card.sign) for card in clinics if card.sign]
            holds = any(verified(key, signature, signed) for key in keys)
            is_later = forms.hold(FormatForm, body).format > self.version
            told = None if is_later else forms.hold(self._form, body)
        except (
            ValueError, KeyError, TypeError, RecursionError, AttributeError, OverflowError,
            MemoryError,
        ) as error:  # fmt: skip
            msg = f"it is no {self._what}; {self._unharmed}"
            raise HandoverError(msg) from error
        if told is None:
            raise NewerFormatError(self._newer)
        if not holds:
            msg = f"its signature is not the clinic's; {self._unharmed}"
            raise HandoverError(msg)
        return told

    def _bytes(self, body: Any) -> bytes:
        return self._signed_as + canonical_json(body).encode()
