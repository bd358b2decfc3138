"""Programs of different days: what a later one wrote is kept, waits, or is read by its rules.

A later program is played by this one writing what a later one would: fields, columns, formats
and rules that are not known here.
"""

import dataclasses
import json
from dataclasses import replace

import numpy as np
import pytest

from battery.errors import RecordError
from battery.export import export_tidy, verify_export
from battery.handover import bundle, bundle_reading, receipts
from battery.handover.bundle import sign_and_seal
from battery.handover.bundle_reading import open_content
from battery.handover.keys import clinic_keys, clinics_of, tablet_key
from battery.recording import (
    SAMPLE_DTYPE,
    BlockHeader,
    block_header_from_dict,
    column_bytes,
    header_to_dict,
    visit_header_to_dict,
)
from battery.runner import replay
from battery.simulate import Truth
from battery.store import Store, schema
from battery.store.arrival import Beside, WholeVisit
from battery.store.codec import from_parquet, to_parquet
from battery.store.form import complete
from battery.verify import block_notes, block_problems, verify
from tasks import registry
from tasks.contract import settings_from_dict, settings_to_dict
from tasks.plain import later
from tests import handover_kit as hand
from tests import store_kit as kit
from tests.blocks import simulated_block
from tests.export_kit import EVERYBODY

# What a header of a later program may say beside what is known here.
MORE = ((("glove",), '"none"'), (("device", "screen", "refresh_hz"), "120.0"))


@pytest.fixture
def pair(tmp_path):
    made = hand.Pair(tmp_path, n_visits=0)
    yield made
    made.close()


def sealed(pair, content):
    recipients = [card.seal for card in clinics_of(pair.tablet)]
    return sign_and_seal(content, tablet_key(pair.tablet), recipients)


def put(pair, content, number=1):
    (pair.stick / f"later_{number:06d}.cbundle").write_bytes(sealed(pair, content))


def later_visit():
    """A visit with more in its headers than is known here."""
    header = replace(kit.visit(), unknown=MORE)
    own = replace(kit.block_header(header), unknown=((("grip",), '{"kind": "stylus"}'),))
    return WholeVisit(header, "finished", kit.PLAN_JSON, [kit.made_up_block(own, 3)])


def test_unknown_words_of_a_header_are_kept_with_their_hash(pair):
    """The clinic is older than the tablet, and holds what it does not know."""
    visit = later_visit()
    put(pair, hand.packed(visit))
    assert pair.receive().outcomes == {"new": 1}
    stored = pair.clinic.visits.all()[0].header
    assert visit_header_to_dict(stored) == visit_header_to_dict(visit.header)
    assert visit_header_to_dict(stored)["device"]["screen"]["refresh_hz"] == 120.0
    block = pair.clinic.records.load(visit.blocks[0].header.block_id)
    assert header_to_dict(block.header)["grip"] == {"kind": "stylus"}
    assert block.sha256 == visit.blocks[0].sha256
    assert pair.clinic.transfer.visit_sha256(stored.visit_id) == visit.content_sha256
    assert pair.receive().outcomes == {"same": 1}


def test_an_unknown_word_that_was_altered_changes_the_hash():
    one = later_visit().blocks[0]
    other = replace(one, header=replace(one.header, unknown=((("grip",), '"none"'),)))
    assert one.sha256 != other.sha256
    assert one.sha256 != replace(one, header=replace(one.header, unknown=())).sha256


def test_a_field_that_came_later_changes_no_earlier_hash():
    """One field more once made 672 of 672 earlier blocks read as altered."""
    header = kit.block_header(kit.visit())
    assert "task_version" not in header_to_dict(header)
    assert header_to_dict(replace(header, task_version=2))["task_version"] == 2
    block = kit.made_up_block(header)
    assert block.sha256 != replace(block, header=replace(header, task_version=2)).sha256


def test_a_column_that_came_later_changes_no_earlier_hash(monkeypatch):
    """And reads back as what it was before there was such a column."""
    samples, _, _ = kit.made_up_arrays(1)
    wider = np.dtype([*((n, SAMPLE_DTYPE[n].str) for n in SAMPLE_DTYPE.names), ("tilt", "<f4")])
    monkeypatch.setattr("battery.recording.LATER_COLUMNS", {"tilt": float("nan")})
    monkeypatch.setattr("battery.store.codec.LATER_COLUMNS", {"tilt": float("nan")})
    read = from_parquet(to_parquet(samples), wider)
    assert np.isnan(read["tilt"]).all()
    assert column_bytes(read) == column_bytes(samples) == samples.tobytes()
    read["tilt"][0] = 30.0
    assert column_bytes(read) != samples.tobytes()


def marker(**more):
    row = {"marker_id": kit.identifier("fall"), "person": "K7QF", "kind": "fall",
           "at_utc": hand.SAID["at_utc"], "note": ""}  # fmt: skip
    return Beside(person={"markers": [row | more]})


def test_an_empty_column_that_is_not_known_here_says_nothing(pair):
    """A tablet one nullable column ahead hands over to a clinic that is not."""
    put(pair, hand.packed(beside=marker(seen_by=None)))
    assert pair.receive().outcomes == {"added": 1}
    assert [m.kind for m in pair.clinic.annotations.markers()] == ["fall"]


@pytest.mark.parametrize(
    ("name", "lacking", "value"),
    [("practice", "symptoms", None), ("answers", "block_id", None)],
)
def test_a_column_that_came_later_is_filled_in_rows_of_an_earlier_tablet(name, lacking, value):
    """A clinic one nullable column ahead once told an earlier tablet to update the clinic."""
    table = schema.metadata.tables[name]
    row = {column.name: "x" for column in table.columns if column.name != lacking}
    complete(table, row)
    assert row[lacking] is value


LATER = {
    "a filled column": lambda: hand.packed(beside=marker(seen_by="AB")),
    "a table": lambda: hand.packed(beside=Beside(person={"dreams": [{"person": "K7QF"}]})),
}


@pytest.mark.parametrize("what", LATER)
def test_what_cannot_be_kept_here_waits_and_names_whose_program_to_update(pair, what):
    put(pair, LATER[what]())
    report = pair.receive()
    assert (report.n_newer, report.outcomes) == (1, {})
    line = report.refused[0]
    assert "a later program on the tablet" in line
    assert "Nothing is lost" in line
    assert "Update the program of this clinic" in line
    assert list(pair.stick.glob("later_*"))
    assert pair.clinic.annotations.markers() == []


@pytest.mark.parametrize("number", ["FORMAT", "RECORD_VERSION"])
def test_a_later_bundle_waits_and_is_taken_after_the_update(pair, monkeypatch, number):
    with monkeypatch.context() as on_the_tablet:
        on_the_tablet.setattr(bundle, number, getattr(bundle, number) + 1)
        put(pair, hand.packed(later_visit()))
    before = {p.name: p.read_bytes() for p in pair.stick.glob("*.cbundle")}
    report = pair.receive()
    assert (report.n_newer, report.outcomes) == (1, {})
    assert "Update the program of this clinic" in report.refused[0]
    assert {p.name: p.read_bytes() for p in pair.stick.glob("*.cbundle")} == before
    monkeypatch.setattr(bundle_reading, number, getattr(bundle_reading, number) + 1)
    assert pair.receive().outcomes == {"new": 1}


def test_a_bundle_states_its_columns_and_is_read_by_them(pair, monkeypatch):
    """In another order, and with one that this program does not have."""
    turned = np.dtype([(name, SAMPLE_DTYPE[name].str) for name in reversed(SAMPLE_DTYPE.names)])
    visit = kit.visit()
    block = kit.made_up_block(kit.block_header(visit), 3)
    parts = {"000.samples": block.samples[list(turned.names)].astype(turned).tobytes()}
    rows = bundle_reading._rows(parts["000.samples"], "samples", {"samples": turned})
    assert rows.tobytes() == block.samples.tobytes()
    wider = np.dtype([*((n, SAMPLE_DTYPE[n].str) for n in SAMPLE_DTYPE.names), ("tilt", "<f4")])
    with monkeypatch.context() as on_the_tablet:
        on_the_tablet.setattr(bundle, "ARRAYS", {**bundle.ARRAYS, "samples": wider})
        put(pair, hand.packed(WholeVisit(visit, "finished", "{}", [])))
    report = pair.receive()
    assert report.n_newer == 1
    assert "'tilt'" in report.refused[0]


def test_a_receipt_of_a_later_clinic_says_to_update_the_tablet(pair, monkeypatch):
    hand.record_visits(pair.tablet, 1)
    pair.send()
    with monkeypatch.context() as at_the_clinic:
        at_the_clinic.setattr(receipts.SIGNED, "version", receipts.FORMAT + 1)
        pair.receive()
    report = pair.send()
    assert report.n_acknowledged == 0
    assert "Update the program of this tablet" in report.problems[0]
    monkeypatch.setattr(receipts.SIGNED, "version", receipts.FORMAT + 1)
    assert pair.send().n_acknowledged == 1


# Rules of a task


@pytest.fixture
def block():
    return simulated_block("tapping", Truth(), seed=2)


def ends_at_once(settings, state, signal):
    """Rules of which nothing recorded before holds."""
    return state, ()


@pytest.fixture
def second_rules(monkeypatch):
    """The program after its tapping has got other rules."""
    first = registry.TASKS["tapping"]
    second = replace(first, version=2, advance=ends_at_once)
    monkeypatch.setitem(registry.TASKS, "tapping", second)
    return first


def test_a_block_is_replayed_by_the_rules_it_was_recorded_by(block, second_rules, monkeypatch):
    monkeypatch.setitem(registry.EARLIER, ("tapping", 1), second_rules)
    assert list(block_problems(block)) == list(block_notes(block)) == []


def test_a_block_of_rules_that_are_gone_is_said_to_be_that_and_not_altered(block, second_rules):
    """A changed rule once made 34 earlier blocks read as altered."""
    assert list(block_problems(block)) == []
    assert list(block_notes(block)) == [
        "recorded by tapping 1, whose rules are not here; replayed by tapping 2 as far as "
        f"event 0 of {len(block.events)}"
    ]
    with pytest.raises(RecordError, match="a block of tapping 1 has rules"):
        replay(block)


@pytest.mark.parametrize(
    "change",
    [
        {"task": "balancing"},
        {"task_version": 7},
    ],
    ids=str,
)
def test_a_block_of_a_later_program_is_not_called_altered(block, change):
    strange = replace(block, header=replace(block.header, **change))
    assert list(block_problems(strange)) == []
    (note,) = block_notes(strange)
    assert "recorded by" in note


def test_altered_contacts_are_still_found(block, second_rules, monkeypatch):
    monkeypatch.setitem(registry.EARLIER, ("tapping", 1), second_rules)
    samples = block.samples.copy()
    samples["x_mm"] += 40
    assert any("replay" in p for p in block_problems(replace(block, samples=samples)))


def test_verify_tells_records_of_other_rules_apart_from_findings(
    tmp_path, block, second_rules
):  # fmt: skip
    header = kit.visit()
    own = replace(block.header, visit_id=header.visit_id)
    with Store.open(tmp_path / "home") as store:
        kit.enrol(store)
        store.visits.begin(header)
        sink = store.records.begin(own)
        sink.close(replace(block, header=own))
        found = verify(store)
        assert found.findings == ()
        assert len(found.notes) == 1
        assert "1 blocks were recorded by other rules" in found.summary()
        done = export_tidy(store, tmp_path / "out", selection=EVERYBODY)
        assert done.n_rows["blocks"] == 1
    read = verify_export(tmp_path / "out", replay=True)
    assert read.findings == ()
    assert "for 1 blocks of other rules than are here" in read.summary()


@dataclasses.dataclass(frozen=True)
class Track:
    length_mm: float


@dataclasses.dataclass(frozen=True)
class LongerTrack(Track):
    n_lanes: int = later(1)


def test_settings_grow_without_changing_what_was():
    assert settings_to_dict(LongerTrack(80.0)) == settings_to_dict(Track(80.0))
    assert settings_from_dict(LongerTrack, {"length_mm": 80}) == LongerTrack(80.0, 1)
    two = json.loads(json.dumps(settings_to_dict(LongerTrack(80.0, 2))))
    assert settings_from_dict(LongerTrack, two) == LongerTrack(80.0, 2)
    with pytest.raises(ValueError, match="unknown=\\['n_lanes'\\]"):
        settings_from_dict(Track, two)
    with pytest.raises(ValueError, match="missing=\\['length_mm'\\]"):
        settings_from_dict(LongerTrack, {})


def test_the_first_bundles_columns_are_never_changed():
    """They are known here only, since those bundles do not state them."""
    told = {
        name: [tuple(c) for c in columns] for name, columns in bundle_reading.SCHEMA_1.items()
    }
    assert np.dtype(told["samples"]).itemsize == 39
    assert np.dtype(told["frames"]).itemsize == 16


def test_header_names_are_never_taken_for_the_place_of_the_unknown():
    """A header may hold the very word that this program keeps the rest under."""
    told = header_to_dict(kit.block_header(kit.visit())) | {"unknown": [1, 2]}
    header = block_header_from_dict(told)
    assert isinstance(header, BlockHeader)
    assert header_to_dict(header) == told


def test_a_clinic_key_opens_what_is_kept(pair):
    put(pair, hand.packed(later_visit()))
    path = next(pair.stick.glob("later_*"))
    opened = bundle.unseal(path.read_bytes(), clinic_keys(pair.clinic).identities)
    line = bundle_reading.FIRST_LINE.match(opened)
    assert int(line[1]) == bundle.FORMAT
    content = opened[len(line[0]) + 96 :]
    assert (
        open_content(content, b"\0" * 32).visit.content_sha256 == later_visit().content_sha256
    )
