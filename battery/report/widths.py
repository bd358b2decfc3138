"""How wide words will be on paper, so that what must fit on one sheet is made to fit.

The page is set in Arial or a face of the same widths. Advance widths in thousandths of the
letter size for the characters from space to tilde, read from the font Liberation Sans.
"""

from __future__ import annotations

_PLAIN = (
    "278 278 355 556 556 889 667 191 333 333 389 584 278 333 278 278 556 556 556 556 "
    "556 556 556 556 556 556 278 278 584 584 584 556 1015 667 667 722 722 667 611 778 "
    "722 278 500 667 556 833 722 778 667 778 722 667 611 722 667 944 667 667 611 278 "
    "278 278 469 556 333 556 556 500 556 556 278 556 556 222 222 500 222 833 556 556 "
    "556 556 333 500 278 556 500 722 500 500 500 334 260 334 584 "
)
_WIDTHS = {chr(32 + i): int(w) for i, w in enumerate(_PLAIN.split())}
_OTHER = 620  # dashes, signs, accented letters: a little more than most of them are
_BOLD = 1.08


def width_pt(words: str, size_pt: float = 9.0, *, bold: bool = False) -> float:
    """Estimate the width of a line of text, points."""
    wide = sum(_WIDTHS.get(character, _OTHER) for character in words)
    return wide / 1000 * size_pt * (_BOLD if bold else 1)


def lines_of(
    words: str, room_pt: float, size_pt: float = 9.0, *, bold: bool = False
) -> list[str]:
    """Break text into lines as a browser does: at spaces, as much as fits."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_pt(longer, size_pt, bold=bold) <= room_pt:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def shortened(
    words: str, room_pt: float, most_lines: int, size_pt: float = 9.0, *, bold: bool = False
) -> str:
    """Cut text to so many lines, at a word, with an ellipsis where something was cut."""
    lines = lines_of(words, room_pt, size_pt, bold=bold)
    if len(lines) <= most_lines:
        return words
    kept = " ".join(lines[:most_lines]).split()
    while len(kept) > 1:
        told = " ".join(kept).rstrip(",;:") + "\N{HORIZONTAL ELLIPSIS}"
        if len(lines_of(told, room_pt, size_pt, bold=bold)) <= most_lines:
            return told
        kept.pop()
    return kept[0] + "\N{HORIZONTAL ELLIPSIS}"
