"""Rows held at once hold one by one: what a block's own checks refuse is never let through."""

import hashlib
import json
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from battery import playable
from battery.export.dictionary.all_tables import TABLES
from battery.export.reading.sound_rows import DTYPES, sound_rows
from battery.export.rows import raw
from battery.export.rows.rebuilding import packed_rows
from tests import store_kit as kit

MADE = {"samples": raw.samples_of, "events": raw.events_of, "frames": raw.frames_of}
COLUMNS = [(name, column) for name in MADE for column in TABLES[name].arrow_schema.names[1:]]
WHOLE = st.sampled_from([None, 0, -1, 1, 7, 2**15 - 1, 10**12, 2**40, -(2**62)])
REAL = st.sampled_from([None, 0.0, -0.5, 1e5, 1.1e5, -1e5, -1e300, float("inf"), float("nan")])
TEXT = st.sampled_from([None, "", "x", "move", "hover", "a" * 16, "a" * 17])


def blocks():
    """Three short blocks; the driver tells pressure for some reports of the second."""
    headers = [kit.block_header(kit.visit(), number) for number in range(3)]
    made = [kit.made_up_block(h, seed) for seed, h in enumerate(headers)]
    samples = made[1].samples.copy()
    samples["pressure"][::2] = 0.25
    made[1] = replace(made[1], samples=samples)
    return [(block.header.block_id, block) for block in made]


BLOCKS = blocks()


def starts_of(name):
    lengths = [len(getattr(block, name)) for _, block in BLOCKS]
    return np.cumsum([0, *lengths[:-1]])


@pytest.mark.parametrize("name", list(MADE))
def test_what_was_recorded_is_packed_at_once_to_the_bit(name):
    found = sound_rows(name, MADE[name](BLOCKS), starts_of(name))
    whole = np.concatenate([getattr(block, name) for _, block in BLOCKS])
    assert found is not None
    assert found.dtype == DTYPES[name]
    assert found.tobytes() == whole.tobytes()


@given(st.data())
def test_a_changed_value_is_refused_or_holds_in_its_block_too(data):
    name, column = data.draw(st.sampled_from(COLUMNS))
    rows = MADE[name](BLOCKS)
    place = rows.schema.get_field_index(column)
    field = rows.schema.field(place)
    odd = (
        TEXT if pa.types.is_dictionary(field.type)
        else REAL if pa.types.is_floating(field.type) else WHOLE
    )  # fmt: skip
    values = rows.column(place).to_pylist()
    at = data.draw(st.integers(0, len(values) - 1))
    values[at] = data.draw(odd)
    try:
        changed = rows.set_column(place, field.name, pa.array(values, field.type))
    except (pa.ArrowException, OverflowError):
        return  # the column cannot have it
    starts = starts_of(name)
    found = sound_rows(name, changed, starts)
    if found is None:
        return
    for (_, block), first, last in zip(BLOCKS, starts, [*starts[1:], len(found)], strict=True):
        own = changed.slice(first, last - first)
        assert own.column(1).to_pylist() == list(range(last - first))
        assert found[first:last].tobytes() == packed_rows(name, own).tobytes()
        playable._hold_numbers(replace(block, **{name: found[first:last].copy()}), "it")


def test_rows_of_two_blocks_under_one_name_are_not_held_at_once():
    assert sound_rows("samples", raw.samples_of(BLOCKS), starts_of("samples")[:2]) is None


def test_the_hash_of_a_block_is_that_of_what_the_dictionary_says():
    """Written anew from the words of `sha256` in the dictionary, with the standard library."""
    block = BLOCKS[1][1]
    row = dict.fromkeys(raw.RECORDED, 1.5) | {"versions": '{"b":"2","a":"1"}', "task": "slide"}
    settings = {"z": [1, 2.5], "a": {"c": "\u00e9"}}
    told = row | {"versions": {"a": "1", "b": "2"}, "settings": settings}
    text = json.dumps(told, sort_keys=True, separators=(",", ":"))
    columns = {
        name: [None if v != v else v for v in block.events[name].tolist()]
        for name in block.events.dtype.names
    }
    events = json.dumps(columns, sort_keys=True, separators=(",", ":"))
    whole = text.encode() + b"\n" + block.samples.tobytes() + block.frames.tobytes()
    wanted = hashlib.sha256(whole + events.encode()).hexdigest()
    assert raw.block_sha256(row, settings, block) == wanted
    canonical = raw.canonical_json(settings)
    assert raw.block_sha256(row, settings, block, text=canonical, is_quiet=True) == wanted
