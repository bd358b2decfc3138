"""What goes into the store comes out of it, bit for bit."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from battery.recording import (
    FRAME_DTYPE,
    SAMPLE_DTYPE,
    Block,
    canonical_json,
    events_to_array,
    header_to_dict,
)
from battery.store import Store
from tests import store_kit as kit

REASONS = st.text(st.characters(exclude_categories=["C"]), max_size=16)  # words of the program
ENDINGS = st.sampled_from(["finished", "stopped", "interrupted"])


@pytest.fixture(scope="module")
def store_and_visits(tmp_path_factory):
    """One open store and an endless row of fresh visits in it."""
    with Store.open(tmp_path_factory.mktemp("store")) as store:
        kit.enrol(store)

        def visits():
            for sequence in itertools.count(1):
                header = kit.visit(sequence=sequence, started_utc="2026-01-05T09:00:00+00:00")
                store.visits.begin(header)
                yield header

        yield store, visits()


@given(
    samples=kit.SAMPLES,
    frames=kit.FRAMES,
    events=kit.EVENTS,
    ending=ENDINGS,
    reason=REASONS,
    seed=st.integers(0, 2**31 - 1),
    cuts=st.lists(st.integers(0, 60), max_size=4),
)
@settings(max_examples=50, deadline=None)
def test_a_block_comes_back_bit_for_bit(
    store_and_visits, samples, frames, events, ending, reason, seed, cuts
):
    """Whole, and also when it was cut off: then it is what had been put."""
    store, visits = store_and_visits
    visit = next(visits)
    whole = kit.block_header(visit, 0, layout_seed=seed)
    cut = kit.block_header(visit, 1, layout_seed=seed)
    block = Block(
        header=whole,
        samples=np.array(samples, dtype=SAMPLE_DTYPE),
        frames=np.array(frames, dtype=FRAME_DTYPE),
        events=events_to_array(events),
        ending=ending,
        ended_ns=2**62,
        reason=reason,
    )
    store.records.begin(whole).close(block)
    sink = store.records.begin(cut)
    for start, end in itertools.pairwise([0, *sorted(cuts), None]):
        sink.put(block.samples[start:end], block.frames[start:end], events[start:end])
    sink.stop()
    assert store.records.recover() == [cut.block_id]

    again, rescued = store.records.load(whole.block_id), store.records.load(cut.block_id)
    assert again.sha256 == block.sha256 == store.records.of_visit(visit.visit_id)[0].sha256
    assert canonical_json(header_to_dict(again.header)) == canonical_json(header_to_dict(whole))
    assert (again.ending, again.reason, again.ended_ns) == (ending, reason, 2**62)
    assert rescued.ending == "interrupted"
    for name in ("samples", "frames"):
        assert getattr(again, name).tobytes() == getattr(block, name).tobytes()
        assert getattr(rescued, name).tobytes() == getattr(block, name).tobytes()
        assert not getattr(again, name).flags.writeable
    assert again.events.tobytes() == block.events.tobytes()
    assert repr(rescued.events.tolist()) == repr(block.events.tolist())  # nan is nan
