"""Made-up languages: one much longer than the source, one read from right to left."""

from __future__ import annotations

import gettext
import string

from battery.stage.language.languages import Language, Said, Text

LONGER = (
    1.4  # German and Finnish run to a third longer than English; common practice, no source
)
ACCENTS = str.maketrans("aeiouAEIOUncyszNCYSZ", "äëïöüÄËÏÖÜñçÿšžÑÇŸŠŽ")
FILLER = ("lorem", "ipsum", "dolor", "sit", "amet", "elit", "eiusmod", "tempor")
OPEN, CLOSE = "[", "]"


class Pseudo(gettext.NullTranslations):
    """Every text with accents, in brackets and longer by `LONGER`; blanks stay."""

    def gettext(self, message: str) -> str:
        said = "".join(
            literal.translate(ACCENTS) + (f"{{{name}}}" if name is not None else "")
            for literal, name, _, _ in string.Formatter().parse(message)
        )
        words = iter(
            ["lorem", "ipsum", "dolor", "sit", "amet", "elit", "sed", "do", "eiusmod", "tempor"]
            * 20
        )
        while len(said) < LONGER * len(message) - 2:
            word = next(words)
            room = round(LONGER * len(message)) - 2 - len(said)
            said += f" {word}" if len(word) < room else "x" * max(room, 1)
        return f"{OPEN}{said}{CLOSE}"


class Strict(Language):
    """A language that is given nothing but texts of the catalogue."""

    def say(self, text: str) -> str:
        if not isinstance(text, (Text, Said)) and any(letter.isalpha() for letter in text):
            msg = f"{text!r} is shown but is no text of the catalogue"
            raise AssertionError(msg)
        return super().say(text)


LONG = Strict("en", "Lóng", Pseudo())
RIGHT_TO_LEFT = Strict("en", "Mirrored", Pseudo(), "rtl")
