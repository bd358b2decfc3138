"""How much a Parquet file would take to read, found out before anything of it is decoded.

The footer and the heads of pages are in the compact protocol of Apache Thrift; what they claim
is added up here, since a file of some kilobytes can claim gigabytes. The library that decodes
is not asked about the columns of a file that was not held yet: it ends the process where a
footer contradicts itself.

References
----------
Apache Parquet, "File Format" and `parquet.thrift` (PageHeader: field 2 is
`uncompressed_page_size`, field 3 `compressed_page_size`; of a FileMetaData field 4 are its row
groups, of each field 1 its column chunks, of each field 3 its ColumnMetaData: field 7
`total_compressed_size`, 9 `data_page_offset`, 11 `dictionary_page_offset`). Apache Thrift,
"Thrift Compact Protocol Encoding".
"""

from __future__ import annotations

from pathlib import Path
from typing import BinaryIO

from battery.errors import RecordError
from battery.export.reading.usual_heads import (
    FIELDS,
    N_STRUCTURES,
    PageHead,
    column_numbers,
    page_head,
)

MAGIC = b"PAR1"
END_BYTES = 8  # the footer's length, and the mark of the format
MAX_FOOTER_BYTES = 16_000_000
MAX_STRUCTURES = 150_000  # of a footer; each takes some hundred bytes when it is decoded
MAX_COLUMNS = 200
MAX_HELD_BYTES = 64_000_000  # of the largest page and the dictionary of every column together
MAX_PACKED_BYTES = 64_000_000  # of a row group as it lies in the file
MAX_HEAD_BYTES = 16_384  # of a page
MAX_DEPTH = 16
NUMBERS, WORDS, LISTS, MAPS, STRUCTURE = (4, 5, 6), 8, (9, 10), 11, 12
BOOLEANS, BYTE, DOUBLE, DOUBLE_BYTES = (1, 2), 3, 7, 8
LONG_LIST = 15
ROW_GROUP, CHUNK = (4,), (4, 1, 3)  # the fields on the way to them in a footer
CHUNK_BYTES, DATA_AT, DICTIONARY_AT = FIELDS  # of a column chunk
UNCOMPRESSED, COMPRESSED = 2, 3  # fields of a page's head
ENCODINGS = {5: 2, 7: 2, 8: 4}  # its kinds of page, and the field of each that says how
DICTIONARY, N_VALUES = 7, 1
DELTA_BYTE_ARRAY = 7  # a value says what it shares with the last, so that its size is nowhere

Chunk = dict[int, int]  # the whole numbers of a column chunk, by their field


def hold_footer(path: Path, name: str) -> list[list[Chunk]]:
    """Refuse a file whose footer would take too much to decode; return its column chunks.

    Returns
    -------
    list of list of dict
        Of each row group what its columns say of themselves.

    Raises
    ------
    RecordError
        If it is too long, holds too many structures, or is none.
    OSError
        If the file cannot be read.
    """
    with path.open("rb") as file:
        n_bytes = file.seek(0, 2)
        file.seek(max(0, n_bytes - END_BYTES))
        end = file.read(END_BYTES)
        length = int.from_bytes(end[:4], "little")
        if end[4:] != MAGIC or length > n_bytes - END_BYTES:
            msg = f"{name} is no Parquet file, or cut short"
            raise RecordError(msg)
        if length > MAX_FOOTER_BYTES:
            msg = f"the footer of {name} has {length} bytes, more than {MAX_FOOTER_BYTES}"
            raise RecordError(msg)
        file.seek(n_bytes - END_BYTES - length)
        footer = Compact(file.read(length), f"the footer of {name}")
        footer.structure()
        return footer.groups


def hold_pages(path: Path, groups: list[list[Chunk]], name: str) -> list[int]:
    """Refuse a file of which more would have to be unpacked at once than the limit.

    Returns
    -------
    list of int
        Of each row group, the bytes that it takes at once.

    Raises
    ------
    RecordError
        If it has too many columns, or the heads of its pages claim too much or make no sense.
    OSError
        If the file cannot be read.
    """
    n_columns = max(map(len, groups), default=0)
    if n_columns > MAX_COLUMNS:
        msg = f"{name} has {n_columns} columns, more than {MAX_COLUMNS}; not read"
        raise RecordError(msg)
    at_once: list[int] = []
    with path.open("rb") as file:
        for group in groups:
            held = packed = 0
            for column in group:
                packed += column.get(CHUNK_BYTES, 0)
                held += _held_bytes(file, column, name)
            if max(held, packed) > min(MAX_HELD_BYTES, MAX_PACKED_BYTES):
                msg = (
                    f"a row group of {name} claims more than {MAX_HELD_BYTES} bytes at once; "
                    "not read"
                )
                raise RecordError(msg)
            at_once.append(max(held, packed))
    return at_once


def _held_bytes(file: BinaryIO, column: Chunk, name: str) -> int:
    """Return the two largest pages of a column, unpacked: the dictionary and one of data."""
    at, length = column.get(DATA_AT, -1), column.get(CHUNK_BYTES, -1)
    if column.get(DICTIONARY_AT):
        at = min(at, column[DICTIONARY_AT])
    if at < 0 or length < 0:
        msg = f"a column of {name} does not say where its pages are"
        raise RecordError(msg)
    if length > MAX_PACKED_BYTES:
        return length  # too much, whatever it unpacks to
    file.seek(at)
    data = file.read(length)
    largest, second, at = 0, 0, 0
    while at < length:
        head = page_head(data, at) or _head_of_page(data, at, name)
        unpacked, packed = head.unpacked, head.packed
        if unpacked < 0 or packed < 0 or head.n_numbered > unpacked:
            msg = f"a page of {name} does not say its size"
            raise RecordError(msg)
        if head.encoding == DELTA_BYTE_ARRAY:
            msg = f"a page of {name} is packed in a way that hides its size"
            raise RecordError(msg)
        largest, second = max(largest, unpacked), max(second, min(largest, unpacked))
        at = head.end + packed
    return largest + second


def _head_of_page(data: bytes, at: int, name: str) -> PageHead:
    """Read the head of a page field by field."""
    head = Compact(data[at : at + MAX_HEAD_BYTES], f"a page of {name}")
    told = head.structure()
    encodings = {head.inner.get(kind, {}).get(field) for kind, field in ENCODINGS.items()}
    return PageHead(
        told.get(UNCOMPRESSED, -1),
        told.get(COMPRESSED, -1),
        DELTA_BYTE_ARRAY if DELTA_BYTE_ARRAY in encodings else -1,
        head.inner.get(DICTIONARY, {}).get(N_VALUES, 0),
        at + head.at,
    )


class Compact:
    """Structures of the compact protocol, read only as far as their whole numbers.

    Parameters
    ----------
    data : bytes
    what : str
        What it is, for the refusal.

    Attributes
    ----------
    at : int
        How far it was read.
    inner : dict
        Whole numbers of the structures that lie directly in the outermost one, by its fields.
    groups : list of list of dict
        If it is a footer: of each row group what its column chunks say of themselves.
    """

    def __init__(self, data: bytes, what: str) -> None:
        self._data = data
        self._what = what
        self._left = MAX_STRUCTURES
        self.at = 0
        self.inner: dict[int, dict[int, int]] = {}
        self.groups: list[list[Chunk]] = []

    def structure(self, depth: int = 0, way: tuple[int, ...] = ()) -> dict[int, int]:
        """Read a structure; return its own whole numbers by their field.

        Parameters
        ----------
        depth : int
            In how many others it lies.
        way : tuple of int
            The fields that led to it.

        Raises
        ------
        RecordError
            If it is cut short, too deep, or holds too many others.
        """
        self._left -= 1
        if self._left < 0 or depth > MAX_DEPTH:
            msg = f"{self._what} holds too many structures; not read"
            raise RecordError(msg)
        if way == ROW_GROUP:
            self.groups.append([])
        elif way == CHUNK and (usual := self._usual_column()) is not None:
            return usual
        numbers: dict[int, int] = {}
        field = 0
        data, end = self._data, len(self._data)
        while True:  # what is met in every head is read here: a call takes longer
            at = self.at
            head = data[at] if at < end else self._byte()
            self.at = at + 1
            if not head:
                break
            step, kind = head >> 4, head & 15
            field = field + step if step else self._whole()
            if kind in NUMBERS:
                at = self.at
                if at < end and (byte := data[at]) < 128:
                    self.at = at + 1
                    numbers[field] = (byte >> 1) ^ -(byte & 1)
                else:
                    numbers[field] = self._whole()
            elif kind == WORDS:
                self._forward(self._natural())
            elif kind == STRUCTURE:
                within = self.structure(depth + 1, (*way, field))
                if depth == 0:
                    self.inner[field] = within
            elif kind not in BOOLEANS:  # those lie in the head itself
                self._skip(kind, depth, (*way, field))
        if way == CHUNK and self.groups:
            self.groups[-1].append(numbers)
        return numbers

    def _usual_column(self) -> Chunk | None:
        usual = column_numbers(self._data, self.at) if self.groups else None
        if usual is None:
            return None
        self._left -= N_STRUCTURES
        numbers, self.at = usual
        self.groups[-1].append(numbers)
        return numbers

    def _skip(self, kind: int, depth: int, way: tuple[int, ...]) -> None:
        if kind in NUMBERS:
            self._natural()
        elif kind == BYTE or kind in BOOLEANS:
            self._forward(1)
        elif kind == DOUBLE:
            self._forward(DOUBLE_BYTES)
        elif kind == WORDS:
            self._forward(self._natural())
        elif kind == STRUCTURE:
            self.structure(depth + 1, way)
        elif kind in LISTS:
            head = self._byte()
            n = self._natural() if head >> 4 == LONG_LIST else head >> 4
            self._skip_all([head & 15], n, depth, way)
        elif kind == MAPS:
            n = self._natural()
            kinds = self._byte() if n else 0
            self._skip_all([kinds >> 4, kinds & 15], n, depth, way)
        else:
            msg = f"{self._what} makes no sense"
            raise RecordError(msg)

    def _skip_all(self, kinds: list[int], n: int, depth: int, way: tuple[int, ...]) -> None:
        self._left -= n  # each takes a place in memory, whatever it is
        if self._left < 0 or depth > MAX_DEPTH:
            msg = f"{self._what} holds too many structures; not read"
            raise RecordError(msg)
        if kinds == [STRUCTURE]:
            for _ in range(n):
                self.structure(depth + 1, way)
            return
        for _ in range(n):
            for kind in kinds:
                self._skip(kind, depth + 1, way)

    def _whole(self) -> int:
        coded = self._natural()
        return (coded >> 1) ^ -(coded & 1)

    def _natural(self) -> int:
        data, at = self._data, self.at
        value = shift = 0
        while at < len(data):
            byte = data[at]
            at += 1
            value |= (byte & 127) << shift
            if byte < 128:
                self.at = at
                return value
            shift += 7
            if shift > 63:
                msg = f"{self._what} makes no sense"
                raise RecordError(msg)
        msg = f"{self._what} is cut short"
        raise RecordError(msg)

    def _byte(self) -> int:
        self.at += 1
        if self.at > len(self._data):
            msg = f"{self._what} is cut short"
            raise RecordError(msg)
        return self._data[self.at - 1]

    def _forward(self, n: int) -> None:
        self.at += n
        if self.at > len(self._data):
            msg = f"{self._what} is cut short"
            raise RecordError(msg)
