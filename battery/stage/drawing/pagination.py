"""Words that are too large for one page, spread over several: nothing is cut or shrunk."""

from __future__ import annotations

from collections.abc import Sequence

from battery.stage.drawing.lettering import Lettering

PARAGRAPH = 0.4  # room between paragraphs over the distance of rows

MAX_ALONE = 2  # with so many rows left below a title, the next paragraph begins there


def height_px(paragraphs: Sequence[str], letters: Lettering, width_px: int) -> int:
    """Height of wrapped paragraphs."""
    rows = sum(len(letters.wrap(paragraph, width_px)) for paragraph in paragraphs)
    between = (len(paragraphs) - 1) * round(PARAGRAPH * letters.pitch_px)
    return rows * letters.pitch_px + max(between, 0)


def fitting(paragraphs: Sequence[str], letters: Lettering, size_px: tuple[int, int]) -> bool:
    """Whether wrapped paragraphs fit a room; a word that is wider than the room does not."""
    width_px, room_px = size_px
    words = (word for paragraph in paragraphs for word in paragraph.split())
    return height_px(paragraphs, letters, width_px) <= room_px and all(
        letters.width_px(word) <= width_px for word in words
    )


def leaves(
    paragraphs: Sequence[str], letters: Lettering, width_px: int, room_px: int
) -> list[tuple[str, ...]]:
    """Spread paragraphs over as few leaves as hold them in order.

    A paragraph stays whole if a leaf can hold it; one that is longer, or that follows a title,
    is broken between rows.

    Parameters
    ----------
    width_px, room_px : int
        Width and height of the room on each leaf; one row is put on a leaf in any case.
    """
    found: list[list[str]] = [[]]
    for paragraph in paragraphs:
        if height_px([*found[-1], paragraph], letters, width_px) <= room_px:
            found[-1].append(paragraph)
            continue
        rows = letters.wrap(paragraph, width_px)
        beside = _rows_left(found[-1], letters, width_px, room_px)
        if len(found[-1]) == 1 and beside >= MAX_ALONE:  # no title alone on a leaf
            found[-1].append(" ".join(rows[:beside]))
            rows = rows[beside:]
        at_once = max(1, room_px // letters.pitch_px)
        parts = [" ".join(rows[n : n + at_once]) for n in range(0, len(rows), at_once)]
        found += [[part] for part in parts]
    return [tuple(leaf) for leaf in found if leaf]


def _rows_left(leaf: Sequence[str], letters: Lettering, width_px: int, room_px: int) -> int:
    """Count the rows of another paragraph that a leaf can still hold."""
    between = round(PARAGRAPH * letters.pitch_px) if leaf else 0
    taken = height_px(leaf, letters, width_px) + between
    return max(0, (room_px - taken) // letters.pitch_px)
