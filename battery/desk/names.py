"""Names of people, for those who sit at this desk: a file of this machine, under a pass phrase.

Names stand in no store, bundle, backup, page or export. The file is sealed with age under a
pass phrase, whose loss is the loss of the names; everything else goes by the code.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

import platformdirs
from pyrage import DecryptError, passphrase

from battery.errors import UsageError
from battery.files import make_folder, replace_whole
from battery.store.opening import home_folder

FILE = "names.age"
MIN_PHRASE = 10  # characters
MAX_NAME = 80
MAX_BYTES = 4_000_000  # of the file; names of 10,000 people take under one


class Cipher(Protocol):
    """Seals bytes under a pass phrase, and opens them again with the same one."""

    def encrypt(self, told: bytes, phrase: str, /) -> bytes:
        """Return the bytes sealed."""

    def decrypt(self, sealed: bytes, phrase: str, /) -> bytes:
        """Return what was sealed, or raise `pyrage.DecryptError`."""


class Names:
    """The file of names; closed until the pass phrase was said.

    Parameters
    ----------
    home : path, str or None
        Where the store is; a store on a server has no folder, so that the file lies among the
        user's own data then.
    cipher : Cipher
        Seals and opens; age under a pass phrase, which takes a second on purpose.
    """

    def __init__(self, home: Path | str | None, cipher: Cipher = passphrase) -> None:
        place = home_folder(home)
        if not isinstance(place, Path):
            place = platformdirs.user_data_path("coordination-battery", appauthor=False)
        self.path = place / FILE
        self._cipher = cipher
        self._phrase = ""
        self._held: dict[str, str] = {}

    @property
    def kept(self) -> bool:
        """Whether there is a file of names on this machine."""
        return self.path.exists()

    @property
    def is_open(self) -> bool:
        """Whether the names can be read now."""
        return bool(self._phrase) and self.kept

    def __call__(self) -> Mapping[str, str]:
        """Return the names by code; none while the file is closed."""
        return dict(self._held) if self.is_open else {}

    def begin(self, phrase: str, again: str) -> None:
        """Make an empty file under a pass phrase.

        Raises
        ------
        UsageError
            If there is one already, or the phrase is short or was not said twice alike.
        """
        if self.kept:
            msg = (
                f"there are names on this machine already ('{self.path}'); nothing was changed"
            )
            raise UsageError(msg)
        if phrase != again:
            msg = "the two pass phrases differ; nothing was changed"
            raise UsageError(msg, field="again")
        if len(phrase) < MIN_PHRASE:
            msg = f"a pass phrase must have {MIN_PHRASE} characters, not {len(phrase)}"
            raise UsageError(msg, field="phrase")
        make_folder(self.path.parent)
        self._write({}, phrase)
        self._phrase, self._held = phrase, {}

    def open(self, phrase: str) -> None:
        """Open the file until it is closed or the desk ends.

        Raises
        ------
        UsageError
            If the phrase is not the right one, or the file is damaged.
        """
        try:
            sealed = self.path.read_bytes()[: MAX_BYTES + 1]
            held = json.loads(self._cipher.decrypt(sealed, phrase))
            names = {str(code): str(name) for code, name in held.items()}
        except OSError as error:
            msg = f"cannot read '{self.path}': {error.strerror or error}"
            raise UsageError(msg) from error
        except DecryptError as error:
            msg = "this is not the pass phrase, or the file of names is damaged"
            raise UsageError(msg, field="phrase") from error
        except (ValueError, AttributeError) as error:
            msg = f"'{self.path}' holds no names; restore it or delete it"
            raise UsageError(msg) from error
        self._phrase, self._held = phrase, names

    def close(self) -> None:
        """Forget pass phrase and names; the file stays."""
        self._phrase, self._held = "", {}

    def put(self, code: str, name: str) -> None:
        """Keep a person's name; an empty one takes it away.

        Raises
        ------
        UsageError
            If the file is closed, or the name cannot be one.
        """
        if not self.is_open:
            msg = "the names are closed; open them on the screen Clinic. Nothing was changed"
            raise UsageError(msg)
        if len(name) > MAX_NAME or not name.isprintable():
            msg = (
                f"a name must have at most {MAX_NAME} printable characters; nothing was changed"
            )
            raise UsageError(msg, field="name")
        names = {**self._held, code: name}
        names = {code: held for code, held in names.items() if held}
        self._write(names, self._phrase)
        self._held = names

    def delete(self) -> None:
        """Delete the file with all names."""
        self.close()
        self.path.unlink(missing_ok=True)

    def _write(self, names: Mapping[str, str], phrase: str) -> None:
        told = json.dumps(names, sort_keys=True).encode()
        replace_whole(self.path, self._cipher.encrypt(told, phrase))
