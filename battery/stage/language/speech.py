"""What is spoken: every text of the stage, and the file that says it.

Files are made ahead by `battery.stage.language.make_voice`, so that speech is the same
everywhere. A file is named after what it says, so a file cannot say anything but the text it
stands for. Blanks of a few known words are spoken in all their forms; a text with an open
blank, such as a code, has a spoken form without it.
"""

from __future__ import annotations

import hashlib
import itertools
import string
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from battery.stage.language import texts
from battery.stage.language.languages import Language, Text

VOICES = Path(__file__).parent / "voices"
CLOSED: Mapping[str, Sequence[Text]] = {
    "hand": tuple(texts.HANDS.values()),
    "name": tuple(texts.NAMES.values()),
}


def blanks(source: str) -> list[str]:
    """Return the names of a text's blanks, each once, in order."""
    names = [name for _, name, _, _ in string.Formatter().parse(source) if name]
    return list(dict.fromkeys(names))


def spoken_form(text: str) -> str:
    """Return what is said for a text."""
    return texts.SPOKEN.get(text.source, text) if isinstance(text, Text) else text


def file_of(language: Language, text: str) -> Path:
    """Return the file that says a text in a language, whether it is there or not."""
    said = language.say(spoken_form(text))
    name = hashlib.sha256(said.encode()).hexdigest()[:16]
    return VOICES / language.code / f"{name}.opus"


def files_of(language: Language, said: Iterable[str]) -> list[Path]:
    """Return the files of some texts in order, without those that are never spoken."""
    forms = [text for text in said if isinstance(text, Text)]
    return [file_of(language, text) for text in forms if text.source not in texts.UNSPOKEN]


def everything() -> list[Text]:
    """Return every text that may be spoken, its closed blanks filled in every way.

    Raises
    ------
    ValueError
        If a text has an open blank and no spoken form; its name is in the message.
    """
    found = {text.source: text for text in _all_texts()}
    spoken: dict[str, Text] = {}
    for source, text in found.items():
        form = spoken_form(text)
        if source in texts.UNSPOKEN or not isinstance(form, Text):
            continue
        names = blanks(form.source)
        if open_names := set(names) - set(CLOSED):
            msg = f"{source!r} has open blanks {sorted(open_names)} and no spoken form"
            raise ValueError(msg)
        for words in itertools.product(*(CLOSED[name] for name in names)):
            filled = form.format(**dict(zip(names, words, strict=True))) if names else form
            spoken[str(filled)] = filled
    return list(spoken.values())


def _all_texts() -> Iterator[Text]:
    for name, value in vars(texts).items():
        if name.isupper():
            yield from _texts_in(value)


def _texts_in(value: object) -> Iterator[Text]:
    if isinstance(value, Text):
        yield value
    elif isinstance(value, Mapping):
        for part in value.values():
            yield from _texts_in(part)
    elif isinstance(value, (tuple, frozenset)):
        for part in value:
            yield from _texts_in(part)
