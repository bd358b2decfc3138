"""Languages of the stage: texts that remember what they are made of, and their catalogues.

A page is data in the source language, English. A text is put into the person's language where
it is drawn or spoken, so that no page knows the language and nothing is global.
"""

from __future__ import annotations

import gettext
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from battery.errors import UsageError
from battery.looks import OWN_NAMES

Direction = Literal["ltr", "rtl"]
DOMAIN = "stage"
CATALOGUES = Path(__file__).parent / "catalogues"


class Text(str):
    """A sentence of the stage in the source language, with what stands in for its blanks.

    `format` keeps the sentence and the words apart; a word may be a text itself.

    Examples
    --------
    >>> text = Text("Part {done} of {all} is done.").format(done=1, all=4)
    >>> text, text.source
    ('Part 1 of 4 is done.', 'Part {done} of {all} is done.')
    """

    source: str
    words: Mapping[str, object]

    def __new__(cls, source: str) -> Text:
        """Make a text without blanks, or one whose blanks are still open."""
        return cls._made(source, source, {})

    @classmethod
    def _made(cls, shown: str, source: str, words: Mapping[str, object]) -> Text:
        text = super().__new__(cls, shown)
        text.source = source
        text.words = words
        return text

    def format(self, *args: object, **words: object) -> Text:
        """Fill the blanks, which all have names."""
        if args:
            msg = f"blanks have names, {self.source!r} was given {args}"
            raise ValueError(msg)
        return self._made(self.source.format(**words), self.source, words)


class Said(str):
    """A part of a text that is in the person's language already."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Language:
    """A language that pages are shown and spoken in.

    Parameters
    ----------
    code : str
        Two letters of ISO 639-1.
    own_name : str
        As those who speak it write it.
    catalogue : gettext.NullTranslations
        The source language's gives every text back as it is.
    direction : {"ltr", "rtl"}
        Way of reading.
    """

    code: str
    own_name: str
    catalogue: gettext.NullTranslations = field(default_factory=gettext.NullTranslations)
    direction: Direction = "ltr"

    def say(self, text: str) -> str:
        """Return a text in this language; one that the catalogue lacks stays as it is."""
        if not isinstance(text, Text):
            return text
        words = {
            name: self.say(word) if isinstance(word, Text) else word
            for name, word in text.words.items()
        }
        said = self.catalogue.gettext(text.source)
        return said.format(**words) if words else said


ENGLISH = Language("en", "English")


def language(code: str) -> Language:
    """Return a language by its code.

    Raises
    ------
    UsageError
        If there is no such language.
    """
    if code == ENGLISH.code:
        return ENGLISH
    if code not in OWN_NAMES:
        known = ", ".join(f"{key} ({name})" for key, name in OWN_NAMES.items())
        msg = f"no language {code!r}; there are {known}. Nothing was changed"
        raise UsageError(msg)
    catalogue = gettext.translation(DOMAIN, CATALOGUES, [code])
    return Language(code, OWN_NAMES[code], catalogue)
