"""The desk in the languages it speaks: texts marked with ``_`` here and in its templates."""

from __future__ import annotations

import gettext
from functools import cache
from pathlib import Path

CATALOGUES = Path(__file__).parent / "catalogues"
DOMAIN = "desk"
LANGUAGES = {"en": "English", "de": "Deutsch"}


@cache
def catalogue(code: str) -> gettext.NullTranslations:
    """Return the texts of a language; English is what stands in the source."""
    if code == "en":
        return gettext.NullTranslations()
    return gettext.translation(DOMAIN, CATALOGUES, languages=[code], fallback=True)


def _(text: str) -> str:
    """Mark a text for translation; it is translated where it is shown."""
    return text
