"""The calls of the store, on a file and on a server alike."""

import json

import pytest
from sqlalchemy import text

from battery.errors import RecordError, StoreError, UsageError
from battery.recording import Device, Screen
from battery.store import BlockWriter, Store
from tests import store_kit as kit

LATER = "2026-02-01T10:00:00+00:00"


@pytest.fixture(params=["file", "server"])
def address(request, tmp_path):
    """Where a fresh store may be made."""
    if request.param == "file":
        return tmp_path
    return request.getfixturevalue("empty_database")


@pytest.fixture
def store(address):
    with Store.open(address) as opened:
        kit.enrol(opened)
        yield opened


@pytest.fixture
def visit(store):
    header = kit.visit()
    store.visits.begin(header)
    return header


# People, devices, plans, settings


def test_people_are_listed_in_order_of_enrolment(store):
    store.people.add(kit.person("X3CF", enrolled_utc="2025-12-01T00:00:00+00:00"))
    store.people.add(
        kit.person("M4WX", affected_side="both", n_familiarisation=1, n_baseline=6)
    )
    assert [p.code for p in store.people.all()] == ["X3CF", "K7QF", "M4WX"]
    assert store.people.get("M4WX") == kit.person(
        "M4WX", affected_side="both", n_familiarisation=1, n_baseline=6
    )


def test_baseline_rule_is_two_visits_left_out_and_four_kept():
    assert (kit.PERSON.n_familiarisation, kit.PERSON.n_baseline) == (2, 4)


def test_an_unknown_code_names_those_there_are(store):
    with pytest.raises(UsageError, match=r"no person 'NONE' in this store; enrolled are K7QF"):
        store.people.get("NONE")


def test_a_code_is_given_once(store):
    with pytest.raises(StoreError, match="nothing was changed"):
        store.people.add(kit.PERSON)


def test_the_latest_decision_on_consent_holds(store):
    store.people.add(kit.person("M4WX"))
    for day, code, decision in [
        (1, "K7QF", "given"), (3, "K7QF", "withdrawn"), (2, "M4WX", "withdrawn"),
        (4, "M4WX", "given"),
    ]:  # fmt: skip
        store.people.record_consent(
            code, form_version="1", decision=decision, at_utc=f"2026-01-0{day}T00:00:00+00:00"
        )
    assert store.people.withdrawn() == {"K7QF"}
    assert [c.decision for c in store.people.consents("M4WX")] == ["withdrawn", "given"]


def test_a_device_is_known_as_last_seen(store):
    measured = Device("T-03", Screen(1920, 1200, 0.1, 0.11, "card"), "Linux", 21.5)
    store.setup.put_device(measured)
    assert store.setup.device("T-03") == measured
    assert store.setup.devices() == [measured]
    assert store.setup.device("T-99") is None


def test_a_plan_never_changes_under_its_hash(store):
    store.setup.put_plan(kit.PLAN_HASH, {"name": "another"})
    store.setup.put_plan("ffff", {"name": "long", "hands": ["left"]})
    assert store.setup.plans() == {
        kit.PLAN_HASH: json.loads(kit.PLAN_JSON),
        "ffff": {"name": "long", "hands": ["left"]},
    }


def test_a_setting_keeps_any_plain_value(store):
    assert store.setup.setting("of_later") is None
    assert store.setup.setting("of_later", "112") == "112"
    store.setup.put_setting("of_later", "144")
    store.setup.put_setting("of_later", {"text": "144 é", "at": [1, 2.5, None]})
    assert store.setup.setting("of_later") == {"text": "144 é", "at": [1, 2.5, None]}


# Visits and blocks


def test_visits_come_in_order_and_open_ones_have_no_ending(store):
    store.people.add(kit.person("A3CF"))
    for code, sequence in [("K7QF", 2), ("K7QF", 1), ("A3CF", 1)]:
        store.visits.begin(kit.visit(code, sequence))
    store.visits.end(kit.visit(sequence=1).visit_id, "finished")
    assert [(v.header.person, v.header.sequence, v.ending) for v in store.visits.all()] == [
        ("A3CF", 1, None), ("K7QF", 1, "finished"), ("K7QF", 2, None),
    ]  # fmt: skip
    assert [v.header for v in store.visits.all("A3CF")] == [kit.visit("A3CF")]
    assert store.visits.all("NONE") == []


def test_a_visit_number_is_given_once(store, visit):
    with pytest.raises(StoreError, match="nothing was changed"):
        store.visits.begin(kit.visit(visit_id=kit.identifier("another")))


def test_a_block_comes_back_whole(store, visit):
    header = kit.block_header(visit)
    block = kit.record(store, header, seed=5, reason="é", ended_ns=2**62)
    (record,) = store.records.of_visit(visit.visit_id)
    assert (record.ending, record.n_samples) == ("finished", len(block.samples))
    assert (record.input_type, record.sha256) == ("touch", block.sha256)
    again = store.records.load(header.block_id)
    assert again.sha256 == block.sha256
    assert (again.audit, again.reason, again.ended_ns) == (block.audit, "é", 2**62)
    with store._engine.connect() as connection:
        assert connection.execute(text("SELECT count(*) FROM chunks")).scalar() == 0


def test_blocks_in_brief_say_what_the_records_say_in_one_reading(store, visit):
    store.people.add(kit.person("A3CF"))
    other = kit.visit("A3CF")
    store.visits.begin(other)
    for header in (kit.block_header(visit, 1), kit.block_header(visit, 0)):
        kit.record(store, header, reason="é")
    store.records.begin(kit.block_header(other)).stop()
    brief = store.records.in_brief("K7QF")
    assert [(b.block_id, b.number, b.task, b.hand, b.phase, b.ending, b.reason, b.input_type,
             b.audit, b.visit_id) for b in brief] == [
        (r.header.block_id, r.header.index, r.header.task, r.header.hand, r.header.phase,
         r.ending, r.reason, r.input_type, r.audit, r.header.visit_id)
        for r in store.records.of_visit(visit.visit_id)
    ]  # fmt: skip
    everybody = store.records.in_brief()
    assert [b.visit_id for b in everybody] == [other.visit_id, *[visit.visit_id] * 2]
    assert (everybody[0].ending, everybody[0].input_type) == (None, "none")


def test_a_running_block_has_no_ending_and_cannot_be_loaded(store, visit):
    header = kit.block_header(visit)
    sink = store.records.begin(header)
    (record,) = store.records.of_visit(visit.visit_id)
    assert (record.ending, record.n_samples, record.sha256) == (None, 0, "")
    with pytest.raises(RecordError, match="no finished block"):
        store.records.load(header.block_id)
    sink.stop()


def test_a_whole_block_is_never_written_again(store, visit):
    header = kit.block_header(visit)
    block = kit.record(store, header)
    with pytest.raises(StoreError, match="all earlier blocks are safe"):
        store_anew(store, kit.made_up_block(header, seed=99))
    assert store.records.load(header.block_id).sha256 == block.sha256


def store_anew(store, block):
    BlockWriter(store._engine, block.header.block_id).close(block)


def test_layouts_met_are_those_of_the_person(store, visit):
    store.people.add(kit.person("A3CF"))
    other = kit.visit("A3CF")
    store.visits.begin(other)
    for header in (kit.block_header(visit, 0), kit.block_header(visit, 1)):
        kit.record(store, header)
    store.records.begin(kit.block_header(other)).stop()  # met, though it was not finished
    assert store.visits.used_layouts("K7QF") == {
        kit.block_header(visit, index).layout_hash for index in range(2)
    }
    assert store.visits.used_layouts("A3CF") == {kit.block_header(other).layout_hash}


def test_an_open_block_is_put_together_from_its_parts(store, visit, address):
    header = kit.block_header(visit)
    samples, frames, events = kit.made_up_arrays(3)
    sink = store.records.begin(header)
    sink.put(samples[:200], frames[:50], events[:2])
    sink.flush()
    sink.put(samples[200:300], frames[50:60], events[2:3])
    store.close()
    with Store.open(address) as again:
        assert again.records.recover() == [header.block_id]
        assert again.records.recover() == []
        block = again.records.load(header.block_id)
        (record,) = again.records.of_visit(visit.visit_id)
    assert block.samples.tobytes() == samples[:300].tobytes()
    assert block.frames.tobytes() == frames[:60].tobytes()
    assert repr(block.events["t_ns"].tolist()) == repr([e.t_ns for e in events[:3]])
    assert (block.ending, block.ended_ns) == ("interrupted", int(samples["t_ns"][299]))
    assert record.reason == "the program was ended while the block ran"
    assert record.sha256 == block.sha256


def test_the_recording_lock_is_free_at_once_when_it_is_let_go(store):
    """A server ends a closed session in its own time; the lock must not wait for that."""
    for _ in range(60):
        with store.records.lock():
            pass


def test_a_block_that_was_cut_off_before_its_first_sample_is_kept_empty(store, visit):
    header = kit.block_header(visit)
    store.records.begin(header).stop()
    assert store.records.recover() == [header.block_id]
    block = store.records.load(header.block_id)
    assert (len(block.samples), len(block.frames), len(block.events)) == (0, 0, 0)
    assert (block.ending, block.ended_ns, block.input_type) == ("interrupted", 0, "none")


def test_one_program_records_at_a_time(store, address):
    with Store.open(address) as other, store.records.lock():
        with store.records.lock():  # its holder may take it again
            pass
        with pytest.raises(StoreError, match="another program is recording"):
            other.records.recover()
    with Store.open(address) as other:
        assert other.records.recover() == []


def test_reading_sees_one_moment(store, visit, address):
    with Store.open(address, write=False) as reader:
        with reader.at_one_moment():
            assert len(reader.visits.all()) == 1
            store.visits.begin(kit.visit(sequence=2))
            store.people.add(kit.person("A3CF"))
            assert len(reader.visits.all()) == 1
            assert len(reader.people.all()) == 1
        assert len(reader.visits.all()) == 2


def test_reading_cannot_write(store, address):
    with Store.open(address, write=False) as reader:
        with pytest.raises(StoreError, match="nothing was changed"):
            reader.people.add(kit.person("A3CF"))
        assert len(reader.people.all()) == 1


# The writer


def test_put_does_not_wait_for_the_disk(store, visit):
    """While somebody else holds the tables, put returns; what waited is written later."""
    header = kit.block_header(visit)
    samples, frames, events = kit.made_up_arrays(1)
    sink = store.records.begin(header)
    count = text("SELECT count(*) FROM chunks")
    with store._engine.begin() as held:
        if store.folder is None:
            held.execute(text("LOCK TABLE chunks IN ACCESS EXCLUSIVE MODE"))
        for start in range(0, len(samples), 100):
            sink.put(samples[start : start + 100], frames[:0], events[:1])
        assert held.execute(count).scalar() == 0  # so no put has waited for its row
    sink.flush()
    with store._engine.connect() as connection:
        n_chunks = connection.execute(count).scalar()
    assert 1 <= n_chunks <= 2  # what came meanwhile is written in one go
    sink.stop()
    store.records.recover()
    block = store.records.load(header.block_id)
    assert block.samples.tobytes() == samples.tobytes()
    assert len(block.events) == -(-len(samples) // 100)


def test_a_failure_of_the_writer_comes_up_at_the_next_put(store, visit):
    """Take the table away under it; then give it back, and the whole block is stored."""
    header = kit.block_header(visit)
    block = kit.made_up_block(header)
    sink = store.records.begin(header)
    sink.put(block.samples[:240], block.frames[:0], [])
    sink.flush()
    with store._engine.begin() as connection:
        connection.execute(text("ALTER TABLE chunks RENAME TO hidden"))
    sink.put(block.samples[240:480], block.frames[:0], [])
    with pytest.raises(StoreError, match=r"1\.0 s of it and all earlier blocks are safe"):
        sink.flush()
    with pytest.raises(StoreError, match=r"1\.0 s of it and all earlier blocks are safe"):
        sink.put(block.samples[480:], block.frames[:0], [])
    with store._engine.begin() as connection:
        connection.execute(text("ALTER TABLE hidden RENAME TO chunks"))
    sink.close(block)
    assert store.records.load(header.block_id).sha256 == block.sha256
    with pytest.raises(ValueError, match="has ended"):
        sink.put(block.samples, block.frames, [])
