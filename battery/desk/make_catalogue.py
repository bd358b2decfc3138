"""Bring the desk's catalogues up to its texts: ``python -m battery.desk.make_catalogue``.

Texts are taken from the modules and templates of the desk; what a translator has filled in
stays. Needs Babel, which the desk itself does not.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

from battery.desk.words import CATALOGUES, DOMAIN, LANGUAGES

HERE = Path(__file__).parent


def texts() -> dict[str, tuple[str, str] | str]:
    """Return every text of the desk, one with a plural as a pair."""
    from babel.messages.extract import extract
    from jinja2.ext import babel_extract

    found: dict[str, tuple[str, str] | str] = {}
    for path in sorted(HERE.rglob("*.py")):
        with path.open("rb") as file:
            for _line, told, _comments, _context in extract("python", file):
                if path.name != Path(__file__).name:
                    _add(found, told)
    keywords = ("_", "gettext", "ngettext")
    options = {"trimmed": "true", "silent": "false"}
    for path in sorted((HERE / "templates").rglob("*.j2")):
        with path.open("rb") as file:
            for _line, _name, message, _comments in babel_extract(file, keywords, [], options):
                _add(found, message)
    return found


def _add(found: dict[str, tuple[str, str] | str], message: object) -> None:
    if isinstance(message, str):
        found[message] = message
    elif isinstance(message, tuple):
        parts = [part for part in message if isinstance(part, str)]
        found[parts[0]] = (parts[0], parts[1]) if len(parts) > 1 else parts[0]


def make(code: str) -> int:
    """Bring a language's catalogue up to the texts and compile it.

    Returns
    -------
    int
        Texts that nobody has translated yet.
    """
    from babel.messages.catalog import Catalog
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po, write_po

    folder = CATALOGUES / code / "LC_MESSAGES"
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{DOMAIN}.po"
    held = Catalog(locale=code)
    if path.exists():
        held = read_po(io.BytesIO(path.read_bytes()), locale=code)
    made = Catalog(locale=code, project="coordination-battery", header_comment="# Desk.")
    n_left = 0
    for one, message in sorted(texts().items()):
        kept = held.get(one)
        filled = (kept.string or "") if kept is not None else ""
        made.add(message if isinstance(message, tuple) else one, string=filled)
        n_left += not (filled if isinstance(filled, str) else all(filled))
    made.creation_date = held.creation_date
    with path.open("wb") as file:
        write_po(file, made, width=96, omit_header=False, sort_output=False)
    with path.with_suffix(".mo").open("wb") as file:
        write_mo(file, made)
    return n_left


def main() -> int:
    """Make every catalogue and say what is left to translate."""
    n_left = 0
    for code in LANGUAGES:
        if code != "en":
            left = make(code)
            n_left += left
            sys.stdout.write(f"{code}: {left} texts to translate\n")
    return 1 if n_left else 0


if __name__ == "__main__":
    sys.exit(main())
