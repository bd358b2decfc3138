"""Invented people, visits and blocks for the tests of what is stored and exported."""

import json
import uuid
from dataclasses import asdict, replace

import numpy as np
from hypothesis import strategies as st
from sqlalchemy import insert

from battery.plan import SHORT, plan_hash
from battery.recording import (
    FRAME_DTYPE,
    KIND_CODES,
    SAMPLE_DTYPE,
    Block,
    BlockHeader,
    Device,
    Screen,
    VisitHeader,
    events_to_array,
    short_hash,
)
from battery.store import Person, Prescription, schema
from tasks.contract import Event, settings_to_dict
from tasks.registry import OPTIONS, make_settings

DEVICE = Device("T-03", Screen(1920, 1200, 0.113, 0.113, "ruler"), system="Linux")
PERSON = Person("K7QF", "right", "left", "right", "2026-01-05T08:00:00+00:00")
PLAN_HASH = plan_hash(SHORT)
PLAN_JSON = json.dumps(SHORT.model_dump(mode="json"), sort_keys=True)


def person(code="K7QF", **changes):
    return replace(PERSON, code=code, **changes)


def visit(person="K7QF", sequence=1, **changes):
    day = 4 + sequence
    header = VisitHeader(
        visit_id=identifier(f"visit {person} {sequence}"),
        person=person,
        sequence=sequence,
        plan_name="short",
        plan_hash=PLAN_HASH,
        device=DEVICE,
        started_utc=f"2026-01-{day:02d}T09:30:00.000+00:00",
        utc_offset_min=60,
        software="coordination-battery 0.1.0",
        origin="simulated",
    )
    return replace(header, **changes)


def block_header(visit_header, index=0, **changes):
    settings = slide_settings(f"{visit_header.visit_id} {index}")
    header = BlockHeader(
        block_id=identifier(f"block {visit_header.visit_id} {index}"),
        visit_id=visit_header.visit_id,
        index=index,
        task="slide",
        hand="right" if index % 2 == 0 else "left",
        phase="test",
        layout_seed=index,
        layout_hash=short_hash(settings),
        settings=settings,
        started_utc=visit_header.started_utc,
        versions={"python": "3.11.7"},
    )
    return replace(header, **changes)


def slide_settings(name):
    """Settings of the slide task, others for another name."""
    settings = make_settings("slide", OPTIONS["slide"](), 1, hand="right")
    apart_mm = int(uuid.uuid5(uuid.NAMESPACE_URL, name)) % 1_000_000 / 1_000_000
    return settings_to_dict(replace(settings, least_out_mm=20 + apart_mm))


def identifier(name):
    """The same name always gives the same UUID."""
    return str(uuid.uuid5(uuid.NAMESPACE_URL, name))


def made_up_arrays(seed, duration_s=3.0, rate_hz=240):
    """Samples, frames and events of a block, the same for the same seed."""
    random = np.random.default_rng(seed)
    n_samples = int(duration_s * rate_hz)
    samples = np.zeros(n_samples, dtype=SAMPLE_DTYPE)
    samples["t_ns"] = np.arange(1, n_samples + 1) * (1_000_000_000 // rate_hz)
    samples["kind"] = KIND_CODES["move"]
    samples["pointer"] = 1
    samples["x_mm"] = random.normal(size=n_samples).cumsum()
    samples["y_mm"] = random.normal(size=n_samples).cumsum()
    samples["pressure"] = np.nan
    samples["stamp_gap_ns"] = random.integers(1, 2_000_000, n_samples)
    frames = np.zeros(int(duration_s * 60), dtype=FRAME_DTYPE)
    frames["drawn_ns"] = np.arange(len(frames)) * 16_666_667
    frames["flip_ns"] = frames["drawn_ns"] + 9_000_000
    events = [
        Event(int(t_ns), "cue", trial, "left" if trial % 2 else "right", x_mm=float(trial))
        for trial, t_ns in enumerate(samples["t_ns"][:: rate_hz // 2])
    ]
    return samples, frames, events


def made_up_block(header, seed=0, **changes):
    samples, frames, events = made_up_arrays(seed)
    block = Block(
        header=header,
        samples=samples,
        frames=frames,
        events=events_to_array(events),
        ending="finished",
        ended_ns=int(samples["t_ns"][-1]),
    )
    return replace(block, **changes)


def enrol(store, code="K7QF", **changes):
    """Enter a person with what a visit refers to."""
    store.people.add(person(code, **changes))
    store.setup.put_device(DEVICE)
    store.setup.put_plan(PLAN_HASH, json.loads(PLAN_JSON))


def record(store, header, seed=0, **changes):
    """Store a made-up block as a run would: in parts, then whole."""
    block = made_up_block(header, seed, **changes)
    sink = store.records.begin(header)
    sink.put(block.samples[:100], block.frames[:25], [])
    sink.close(block)
    return block


FLOATS = st.floats(width=64)
SAMPLES = st.lists(
    st.tuples(
        st.integers(0, 2**62),
        st.integers(0, 3),
        st.integers(-(2**15), 2**15 - 1),
        FLOATS,
        FLOATS,
        st.floats(width=32),
        st.integers(0, 2**40),
    ),
    max_size=60,
)
FRAMES = st.lists(st.tuples(st.integers(0, 2**62), st.integers(0, 2**62)), max_size=30)
# Text that a numpy field of 16 letters can hold: no nul, which ends it, and no half letters.
WORDS = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=16)
EVENTS = st.lists(
    st.builds(
        Event,
        t_ns=st.integers(0, 2**62),
        kind=WORDS,
        trial=st.integers(-1, 2**31 - 1),
        label=WORDS,
        x_mm=FLOATS,
        y_mm=FLOATS,
        r_mm=FLOATS,
    ),
    max_size=30,
)


def planned_earlier(store, day, per_week, *, code="K7QF", at_utc="2026-01-01T00:00:00+00:00"):
    """Leave times a week, as they were kept before there were home plans."""
    name = identifier(f"{code} {day} {per_week}")
    row = Prescription(name, code, day, per_week, "three a day", "AB", at_utc)
    with store.care._writing() as connection:
        connection.execute(insert(schema.prescriptions).values(**asdict(row)))
    return row
