"""Words that are too large for one page, spread over several: nothing is cut or shrunk."""

from __future__ import annotations

import re
from collections.abc import Sequence

from battery.stage.drawing.lettering import Lettering, words_of

PARAGRAPH = 0.4  # room between paragraphs over the distance of rows

# After a full stop, question or exclamation mark behind a word, before a capital or a sign.
SENTENCE = re.compile(r"(?<=[^\W\d_]{2}[.!?])\s+(?=[^\W\d_a-zäöü]|[(„“])")
MIN_REST = 3  # words
CLAUSE = (",", ";", ":", "–")


def height_px(paragraphs: Sequence[str], letters: Lettering, width_px: int) -> int:
    """Height of wrapped paragraphs."""
    rows = sum(len(letters.wrap(paragraph, width_px)) for paragraph in paragraphs)
    between = (len(paragraphs) - 1) * round(PARAGRAPH * letters.pitch_px)
    return rows * letters.pitch_px + max(between, 0)


def fitting(paragraphs: Sequence[str], letters: Lettering, size_px: tuple[int, int]) -> bool:
    """Whether wrapped paragraphs fit a room; a word that is wider than the room does not."""
    width_px, room_px = size_px
    words = (word for paragraph in paragraphs for word in words_of(paragraph))
    return height_px(paragraphs, letters, width_px) <= room_px and all(
        letters.width_px(word) <= width_px for word in words
    )


def sentences(paragraph: str) -> list[str]:
    """Part a paragraph after its sentences; an abbreviation ends none."""
    return SENTENCE.split(paragraph)


def leaves(
    paragraphs: Sequence[str], letters: Lettering, widths_px: Sequence[int]
) -> list[list[str]]:
    """Spread paragraphs over leaves; a leaf ends with a sentence where it can.

    A sentence that is longer than a leaf is broken after a comma, else between words.

    Parameters
    ----------
    widths_px : sequence of int
        Width of each row of a leaf, from its top; the last ones may be narrower.

    Returns
    -------
    list of list of str
        Paragraphs of each leaf, to be wrapped by `rows_of`.
    """
    found: list[list[str]] = []
    leaf: list[str] = []
    for paragraph in paragraphs:
        for number, sentence in enumerate(sentences(paragraph)):
            rest = sentence
            while rest:
                joins = number and leaf
                longer = [*leaf[:-1], f"{leaf[-1]} {rest}"] if joins else [*leaf, rest]
                if rows_of(longer, letters, widths_px) is not None:
                    leaf, rest = longer, ""
                elif leaf:
                    found.append(leaf)
                    leaf = []
                else:
                    first, rest = _broken(rest, letters, widths_px)
                    found.append([first])
    return [*found, leaf] if leaf else found


def rows_of(
    paragraphs: Sequence[str], letters: Lettering, widths_px: Sequence[int]
) -> list[str] | None:
    """Wrap paragraphs into rows of their own widths; None if they are too many.

    A row that is too narrow for the next word stays empty.
    """
    rows: list[str] = []
    for paragraph in paragraphs:
        row = ""
        for word in words_of(paragraph):
            longer = f"{row} {word}".strip()
            if len(rows) < len(widths_px) and letters.width_px(longer) <= widths_px[len(rows)]:
                row = longer
                continue
            if row:
                rows.append(row)
            while len(rows) < len(widths_px) and letters.width_px(word) > widths_px[len(rows)]:
                rows.append("")
            if len(rows) >= len(widths_px):
                return None
            row = word
        rows.append(row)
    return rows if len(rows) <= len(widths_px) else None


def parted(
    leaf: Sequence[str], letters: Lettering, widths_px: Sequence[int]
) -> tuple[list[str], list[str]] | None:
    """Part a leaf so that its end fits other rows; None if nothing of it does.

    As little as can be goes: the last sentence, else the last words of it.
    """
    *before, last = leaf
    said = sentences(last)
    if rows_of(said[-1:], letters, widths_px) is not None:
        rest = [*before, *([" ".join(said[:-1])] if said[:-1] else [])]
        return (rest, said[-1:]) if rest else None
    words = words_of(said[-1])
    for n in range(len(words) // 2, len(words) - MIN_REST + 1):
        end = [" ".join(words[n:])]
        if rows_of(end, letters, widths_px) is not None:
            return [*before, " ".join([*said[:-1], *words[:n]])], end
    return None


def _broken(sentence: str, letters: Lettering, widths_px: Sequence[int]) -> tuple[str, str]:
    """Break a sentence into what fits a leaf and the rest."""
    words = words_of(sentence)
    fit = 1
    while fit < len(words) and rows_of([" ".join(words[: fit + 1])], letters, widths_px):
        fit += 1
    if fit == 1 and rows_of(words[:1], letters, widths_px) is None:  # one word, wider than all
        first, *more = letters.parted(words[0], max(widths_px))
        return first, " ".join(["".join(more), *words[1:]]).strip()
    fit = max(1, min(fit, len(words) - MIN_REST))  # no last word alone on a leaf
    clauses = [n for n in range(fit, fit // 2, -1) if words[n - 1].endswith(CLAUSE)]
    at = clauses[0] if clauses else fit
    return " ".join(words[:at]), " ".join(words[at:])
