"""Arrays as the store packs them: every bit comes back, also as earlier programs packed it."""

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as made

from battery.recording import EVENT_DTYPE, FRAME_DTYPE, SAMPLE_DTYPE
from battery.store.codec import PAYS, from_parquet, to_parquet

N_ROWS = st.sampled_from([0, 1, 2, 33, PAYS - 1, PAYS, PAYS + 1])
TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=16)


def filled(dtype, n_rows, byte):
    """Rows with any bits: the least and the largest numbers, odd nans, and words of `byte`."""
    array = np.frombuffer(np.random.default_rng(byte).bytes(n_rows * dtype.itemsize), dtype)
    array = array.copy()
    for name in dtype.names:
        if dtype[name].kind == "U":
            array[name] = [chr(33 + (byte + k) % 90) * (k % 17) for k in range(n_rows)]
        elif dtype[name].kind in "iu" and n_rows > 1:
            array[name][:2] = np.iinfo(dtype[name]).min, np.iinfo(dtype[name]).max
    return array


@given(st.sampled_from([SAMPLE_DTYPE, FRAME_DTYPE, EVENT_DTYPE]), N_ROWS, st.integers(0, 255))
@settings(max_examples=40)
def test_any_bits_come_back(dtype, n_rows, byte):
    """Also numbers whose differences are larger than the type holds."""
    array = filled(dtype, n_rows, byte)
    for is_sealed in (True, False):
        read = from_parquet(to_parquet(array), dtype, is_sealed=is_sealed)
        assert read.tobytes() == array.tobytes()


@given(made.arrays(EVENT_DTYPE["label"], st.integers(1, 20), elements=TEXT))
@example(np.array(["", "é", "\U0001f590"], dtype=EVENT_DTYPE["label"]))
@settings(max_examples=40)
def test_any_words_come_back(words):
    array = np.zeros(len(words), EVENT_DTYPE)
    array["label"] = words
    assert from_parquet(to_parquet(array), EVENT_DTYPE).tobytes() == array.tobytes()


@pytest.mark.parametrize("dtype", [SAMPLE_DTYPE, FRAME_DTYPE, EVENT_DTYPE])
def test_as_earlier_programs_packed_it(dtype):
    """Every column plain and compressed, with what is the least and the largest in each."""
    array = filled(dtype, 700, 7)
    columns = {
        n: pa.array(
            array[n].tolist() if dtype[n].kind == "U" else np.ascontiguousarray(array[n])
        )
        for n in dtype.names
    }
    sink = pa.BufferOutputStream()
    pq.write_table(
        pa.table(columns), sink, compression="zstd", compression_level=9, use_dictionary=False,
        write_page_checksum=True, row_group_size=300,
    )  # fmt: skip
    assert from_parquet(sink.getvalue().to_pybytes(), dtype).tobytes() == array.tobytes()


def test_regular_times_take_no_room():
    """At 60 Hz a minute has 3,600 frames: as plain numbers 57.6 kB."""
    frames = np.zeros(3_600, FRAME_DTYPE)
    frames["drawn_ns"] = np.arange(3_600) * 16_666_667
    frames["flip_ns"] = frames["drawn_ns"] + 900_000
    assert len(to_parquet(frames)) < 2_000
