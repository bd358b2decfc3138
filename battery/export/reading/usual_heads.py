r"""Heads of pages and of columns in the one shape in which nearly all are, read in one go.

A regular expression stands for the fields in their order; what has any other shape is read
field by field, see `limits`. Both give the same numbers.
"""

from __future__ import annotations

import re
from typing import NamedTuple

FIELDS = (7, 9, 11)  # of a column: bytes, where its data begin, where its dictionary does
N_STRUCTURES = 16  # of a column as they are counted field by field, or a few less
_USUAL_WORDS = (8, 4, 36, *range(64))  # bytes of a word: numbers and identifiers, then any


def _any_of(*shapes: bytes) -> bytes:
    return b"(?:" + b"|".join(shapes) + b")"


def _list_of(item: bytes, kind: int, most: int, least: int = 1) -> bytes:
    """Return the shape of a short list: its length and kind in one byte, then each item."""
    heads = ((n << 4 | kind, n) for n in range(least, most + 1))
    return _any_of(*(re.escape(bytes([head])) + item * n for head, n in heads))


def _field(kinds: tuple[int, ...]) -> bytes:
    """Return the shape of the first byte of any field of some kinds."""
    heads = bytes(step << 4 | kind for step in range(1, 16) for kind in kinds)
    return b"[" + b"".join(b"\\x%02x" % head for head in heads) + b"]"


_NUMBER = rb"[\x80-\xff]{0,9}+[\x00-\x7f]"
_TOLD = b"(" + _NUMBER + b")"
_WORD = _any_of(*(re.escape(bytes([n])) + b".{%d}" % n for n in dict.fromkeys(_USUAL_WORDS)))
_PLAIN = b"(?:%b*+\x00)" % _any_of(  # a structure of plain values
    _field((4, 5, 6)) + _NUMBER, _field((8,)) + _WORD, _field((1, 2))
)  # fmt: skip
_INT, _LONG = b"\x15", b"\x16"  # the next field, of 32 or 64 bits

# PageHeader: kind, sizes unpacked and packed, checksum; then that of data or of a dictionary.
_DATA = _any_of(_INT + _NUMBER + b"\x1c", rb"\x2c") + (
    _INT + _NUMBER + _INT + _TOLD + (_INT + _NUMBER) * 2 + b"(?:\x1c" + _PLAIN + b")?\x00"
)
_WORDS = _any_of(_INT + _NUMBER + rb"\x3c", rb"\x4c") + (
    _INT + _TOLD + _INT + _TOLD + b"[\x11\x12]?\x00"
)
_PAGE = re.compile(
    _INT + _NUMBER + (_INT + _TOLD) * 2 + _any_of(_DATA, _WORDS) + b"\x00", re.DOTALL
)

# ColumnMetaData: type, encodings, path, codec, values, sizes, offsets, what is told of it.
_COLUMN = re.compile(
    _INT + _NUMBER + b"\x19" + _list_of(_NUMBER, 5, 4) + b"\x19" + _list_of(_WORD, 8, 1)
    + _INT + _NUMBER + (_LONG + _NUMBER) * 2 + _LONG + _TOLD
    + rb"\x26" + _TOLD + _any_of(rb"\x26" + _TOLD + b"\x1c", rb"\x3c") + _PLAIN
    + b"(?:\x19" + _list_of((_INT + _NUMBER) * 3 + b"\x00", 12, 3) + b")"
    + rb"(?:\x3c(?:\x16" + _NUMBER + b")?(?:[\x19\x29]" + _list_of(_NUMBER, 6, 2, 0)
    + b")*+\x00)?\x00",
    re.DOTALL,
)  # fmt: skip


class PageHead(NamedTuple):
    """What the head of a page says.

    Parameters
    ----------
    unpacked, packed : int
        Bytes of the page; -1 where it does not say.
    encoding : int
    n_numbered : int
        Values, if it is a dictionary; else 0.
    end : int
        Where the head ends.
    """

    unpacked: int
    packed: int
    encoding: int
    n_numbered: int
    end: int


def page_head(data: bytes, at: int) -> PageHead | None:
    """Read the head of a page that has the usual shape; None if it has another."""
    found = _PAGE.match(data, at)
    if found is None:
        return None
    unpacked, packed, encoding, n_numbered, words_encoding = found.groups()
    return PageHead(
        _whole(unpacked),
        _whole(packed),
        _whole(encoding or words_encoding),
        _whole(n_numbered) if n_numbered else 0,
        found.end(),
    )


def column_numbers(data: bytes, at: int) -> tuple[dict[int, int], int] | None:
    """Read what a footer says of a column in the usual shape; None if it has another.

    Returns
    -------
    tuple or None
        Its whole numbers that `limits` asks for, by their field; where its entry ends.
    """
    found = _COLUMN.match(data, at)
    if found is None:
        return None
    told = {
        f: _whole(number) for f, number in zip(FIELDS, found.groups(), strict=True) if number
    }
    return told, found.end()


def _whole(data: bytes) -> int:
    """Read a whole number of the compact protocol."""
    coded = shift = 0
    for byte in data:
        coded |= (byte & 127) << shift
        shift += 7
    return (coded >> 1) ^ -(coded & 1)
