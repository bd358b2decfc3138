"""Bring the catalogues up to the texts: ``python -m battery.stage.language.make_catalogues``.

Each language has a ``stage.po`` that a translator edits and a ``stage.mo`` for
the stage.
New texts come in empty, those that are gone go out; then every catalogue is compiled.
Needs Babel, which comes with the extra ``test``.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_python
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from battery.looks import OWN_NAMES
from battery.stage.language.languages import CATALOGUES, DOMAIN, ENGLISH

TEXTS = Path(__file__).with_name("texts.py")


def template() -> Catalog:
    """Return the texts of the stage in order of appearance, without translations."""
    catalogue = Catalog(
        project="coordination-battery", version="1", charset="utf-8", fuzzy=False
    )
    with TEXTS.open("rb") as source:
        for _, _, message, _ in extract_python(source, {"_": None}, [], {}):
            if isinstance(message, str):
                catalogue.add(message)
    return catalogue


def po_path(code: str) -> Path:
    """Return where the translator's file of a language lies."""
    return CATALOGUES / code / "LC_MESSAGES" / f"{DOMAIN}.po"


def read(code: str) -> Catalog:
    """Read the translator's file of a language; empty if there is none yet."""
    path = po_path(code)
    if not path.exists():
        return Catalog(locale=code, fuzzy=False)
    with path.open("rb") as file:
        return read_po(file, locale=code)


def compiled(catalogue: Catalog) -> bytes:
    """Return a catalogue as the stage reads it."""
    out = io.BytesIO()
    write_mo(out, catalogue)
    return out.getvalue()


def main() -> None:
    """Update and compile the catalogue of every language; say what is not translated."""
    texts = template()
    for code in OWN_NAMES:
        if code == ENGLISH.code:
            continue
        catalogue = read(code)
        catalogue.update(texts, no_fuzzy_matching=True, update_creation_date=False)
        catalogue.obsolete.clear()
        catalogue.project, catalogue.version = texts.project, texts.version
        catalogue.msgid_bugs_address = catalogue.last_translator = ""
        catalogue.language_team = ""
        path = po_path(code)
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb") as file:
            write_po(file, catalogue, width=96, no_location=True, omit_header=False)
        path.with_suffix(".mo").write_bytes(compiled(catalogue))
        empty = [message.id for message in catalogue if message.id and not message.string]
        sys.stdout.write(f"{code}: {len(catalogue)} texts, {len(empty)} not translated\n")
        sys.stdout.writelines(f"  {text}\n" for text in empty)


if __name__ == "__main__":
    main()
