"""What a page reads from the store: whose block it is now, what counts, who is pooled."""

import math

import pytest
from sqlalchemy import event

from battery.errors import StoreError, UsageError
from battery.recording import Device, Screen
from battery.report import gather, page_data, write_page
from battery.report.combined import COMPOSITE
from battery.scoring.score import SCORING_VERSION, Score
from battery.store import Store
from tests import report_cases as cases
from tests import store_kit as kit

ERROR, TIME = "tapping.radial_error_mm", "tapping.movement_time_s"
HANDS = ("right", "left")
SAID = {"author": "therapist", "reason": "the person said so"}
LATER = "2026-03-01T08:00:00+00:00"


def day(sequence):
    return f"2026-01-{4 + sequence:02d}T09:30:00.000+00:00"


def add_visit(store, sequence, code="K7QF", *, value=9.0, **changes):
    """A visit with one test block of tapping a hand; returns the headers of the blocks."""
    header = kit.visit(code, sequence, **{"started_utc": day(sequence), **changes})
    store.visits.begin(header)
    blocks = []
    for index, hand in enumerate(HANDS):
        block = kit.block_header(
            header, index, task="tapping", hand=hand, settings={"target_r_mm": 10.0}
        )
        kit.record(store, block, seed=index)
        put(store, block, value + index / 10)
        blocks.append(block)
    store.visits.end(header.visit_id, "finished")
    return header, blocks


def put(store, block, value, n=24):
    store.scores.put(block.block_id, [Score(ERROR, value, n, 0.9 * value, 1.1 * value),
                                      Score(TIME, 0.5, n)])  # fmt: skip


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path) as opened:
        kit.enrol(opened)
        yield opened


def of(rows, hand, measure=ERROR):
    return [r for r in rows.readings if (r.measure, r.hand) == (measure, hand)]


def test_a_reading_carries_what_a_reader_needs_to_trace_it(store):
    header, (right, left) = add_visit(store, 1)
    rows = gather(store, "K7QF")
    (reading,) = of(rows, "left")
    assert (reading.visit, reading.block_id, reading.value) == (1, left.block_id, 9.1)
    assert (reading.n, reading.low, reading.high) == (24, 0.9 * 9.1, 1.1 * 9.1)
    assert reading.counts
    key = reading.key
    assert (key.task, key.hand, key.plan) == ("tapping", "left", kit.PLAN_HASH)
    assert (key.device, key.input_type, key.protocol, key.scoring) == (
        "T-03",
        "touch",
        "1",
        str(SCORING_VERSION),
    )
    (visit,) = rows.visits
    assert visit.when.isoformat() == "2026-01-05T10:30:00+01:00"  # the visit's own offset
    assert visit.screen == "217 × 136 mm, measured with a ruler"
    assert of(rows, "right")[0].block_id == right.block_id
    assert rows.person == store.people.get("K7QF")
    assert header.visit_id == visit.visit_id


def test_a_block_belongs_to_the_hand_that_holds_now(store):
    _, (right, left) = add_visit(store, 1)
    add_visit(store, 2)
    store.annotations.amend("block", left.block_id, "hand", "right", **SAID, at_utc=LATER)
    rows = gather(store, "K7QF")
    assert [r.visit for r in of(rows, "left")] == [2]
    assert next((r.visit, r.block_id) for r in of(rows, "right")) == (1, left.block_id)
    assert right.block_id not in {r.block_id for r in rows.readings}
    (remark,) = rows.visits[0].remarks
    assert "hand right (was left), by therapist on 2026-03-01: the person said so" in remark


@pytest.mark.parametrize("target", ["visit", "block"])
def test_what_was_left_out_is_shown_with_its_reason_and_does_not_count(store, target):
    header, (_, left) = add_visit(store, 1)
    identity = header.visit_id if target == "visit" else left.block_id
    store.annotations.amend(target, identity, "excluded", "yes", **SAID, at_utc=LATER)
    rows = gather(store, "K7QF")
    assert of(rows, "left")[0].aside == "left out by therapist: the person said so"
    assert of(rows, "right")[0].counts == (target == "block")
    store.annotations.amend(
        target, identity, "excluded", "no", **SAID, at_utc="2026-03-02T08:00:00+00:00"
    )
    assert of(gather(store, "K7QF"), "left")[0].counts


def test_a_visit_said_to_be_another_persons_is_on_that_page_by_its_time(store):
    store.people.add(kit.person("A3CF"))
    add_visit(store, 1, "A3CF")
    add_visit(store, 3, "A3CF")
    moved, _ = add_visit(store, 2, "K7QF", value=5.0)
    add_visit(store, 4, "K7QF")
    store.annotations.amend("visit", moved.visit_id, "person", "A3CF", **SAID, at_utc=LATER)
    theirs = gather(store, "A3CF")
    assert [(v.number, v.visit_id == moved.visit_id) for v in theirs.visits] == [
        (1, False), (2, True), (3, False),
    ]  # fmt: skip
    assert [r.value for r in of(theirs, "right")] == [9.0, 5.0, 9.0]
    assert len(gather(store, "K7QF").visits) == 1


def test_of_a_repeated_block_the_finished_one_counts(store):
    header = kit.visit("K7QF", 1, started_utc=day(1))
    store.visits.begin(header)
    for index, ending in enumerate(("interrupted", "finished", "stopped")):
        block = kit.block_header(header, index, task="tapping", hand="right")
        kit.record(store, block, seed=index, ending=ending, reason="the doorbell rang")
        put(store, block, 7.0 + index)
    rows = gather(store, "K7QF")
    assert [r.value for r in of(rows, "right")] == [8.0]
    assert rows.visits[0].remarks == (
        "tapping, right hand, interrupted: the doorbell rang",
        "tapping, right hand, stopped: the doorbell rang",
    )


def test_a_block_without_scores_is_shown_and_does_not_count(store):
    header = kit.visit("K7QF", 1, started_utc=day(1))
    store.visits.begin(header)
    kit.record(
        store, kit.block_header(header, 0, task="tapping", hand="left"), ending="interrupted"
    )
    (reading,) = of(gather(store, "K7QF"), "left")
    assert math.isnan(reading.value)
    assert reading.flags == ("interrupted", "learning")
    assert reading.aside == "the block was broken off"


def test_a_screen_never_measured_and_too_few_trials_do_not_count(store):
    guessed = Device("T-09", Screen(1920, 1200, 0.113, 0.113, "guess"))
    store.setup.put_device(guessed)
    add_visit(store, 1, device=guessed)
    _, (right, _) = add_visit(store, 2)
    put(store, right, 9.0, n=3)
    rows = gather(store, "K7QF")
    assert of(rows, "left")[0].aside == "the screen was never measured"
    assert of(rows, "right")[1].aside == "too few trials were kept"
    assert of(rows, "left")[1].counts


def test_a_cut_off_block_on_another_device_begins_no_series(store):
    other = Device("T-09", Screen(1920, 1200, 0.2, 0.2, "ruler"))
    store.setup.put_device(other)
    for sequence in range(1, 9):
        add_visit(store, sequence, value=9 + sequence / 10)
    header = kit.visit("K7QF", 9, started_utc=day(9), device=other)
    store.visits.begin(header)
    kit.record(
        store, kit.block_header(header, 0, task="tapping", hand="right"), ending="interrupted"
    )
    line = page_data(gather(store, "K7QF"), made=cases.MADE).line(ERROR, "right")
    assert line.begun == ""
    assert line.breaks == ()
    assert [s.standing for s in line.shown] == (
        ["familiarisation"] * 2 + ["baseline"] * 4 + ["later"] * 2 + ["aside"]
    )


def test_scatter_is_pooled_over_the_same_plan_and_role_of_the_hand(store):
    """K7QF and A3CF: left more affected; M4WX: right; X9YR: another plan."""
    store.setup.put_plan("another", {"name": "long"})
    people = {"K7QF": "left", "A3CF": "left", "M4WX": "right", "X9YR": "left"}
    for number, (code, side) in enumerate(people.items()):
        if code != "K7QF":
            store.people.add(kit.person(code, affected_side=side))
        for sequence in range(1, 8):
            add_visit(
                store, sequence, code, value=10 * (number + 1) + sequence,
                plan_hash="another" if code == "X9YR" else kit.PLAN_HASH,
            )  # fmt: skip
    pools = gather(store, "K7QF").pools
    # More affected hands: left of K7QF and A3CF (13.1 and 23.1 at the third visit, the first of
    # the baseline), right of M4WX (33).
    assert sorted(group[0] for group in pools[ERROR, "left"].groups) == [13.1, 23.1, 33]
    assert sorted(group[0] for group in pools[ERROR, "right"].groups) == [13, 23, 33.1]
    assert {len(group) for group in pools[ERROR, "left"].groups} == {4}
    assert {len(series) for series in pools[ERROR, "left"].series} == {5}, "from baseline on"


def test_one_task_alone_has_no_composite_and_is_the_headline_itself(store):
    for sequence in range(1, 4):
        add_visit(store, sequence)
    page = page_data(gather(store, "K7QF"), made=cases.MADE)
    assert page.line(COMPOSITE.name, "left") is None
    assert page.headline("left").measure.name == ERROR


def test_markers_come_with_the_time_of_the_place(store):
    add_visit(store, 1)
    store.annotations.add_marker(
        "K7QF", "fall", at_utc="2026-01-10T23:30:00+00:00", note="at home"
    )
    (marker,) = gather(store, "K7QF").markers
    assert (marker.kind, marker.note) == ("fall", "at home")
    assert marker.when.isoformat() == "2026-01-11T00:30:00+01:00"


def test_reading_asks_the_store_no_more_often_for_more_visits(store):
    def asked():
        statements = []
        listener = lambda *arguments: statements.append(arguments[2])  # noqa: E731
        event.listen(store._engine, "before_cursor_execute", listener)
        gather(store, "K7QF")
        event.remove(store._engine, "before_cursor_execute", listener)
        return len(statements)

    add_visit(store, 1)
    few = asked()
    for sequence in range(2, 8):
        add_visit(store, sequence)
    assert asked() == few


def test_nobody_has_the_code(store, tmp_path):
    with pytest.raises(UsageError, match="no person 'ZZZZ'"):
        write_page(store, "ZZZZ", tmp_path / "page.html", now=cases.MADE)
    assert list(tmp_path.glob("page*")) == []


def test_a_page_that_cannot_be_written_is_one_line(store, tmp_path):
    add_visit(store, 1)
    with pytest.raises(StoreError, match=r"cannot write .*; the store was not changed") as told:
        write_page(store, "K7QF", tmp_path / "missing" / "page.html", now=cases.MADE)
    assert "\n" not in str(told.value)


def test_a_page_of_real_records_is_written_whole(clinic, tmp_path):
    """Every task through recording, scoring and reading; two people, one cut off."""
    with Store.open(clinic, write=False) as opened:
        for code in ("K7QF", "M4WX"):
            out = write_page(opened, code, tmp_path / f"{code}.html", now=cases.MADE)
            html = out.read_text(encoding="utf-8")
            assert f"<title>Coordination test: {code}</title>" in html
            assert "invented data" in html
        assert html.count("What the hand did") == 1
    assert list(tmp_path.glob("*.part")) == []
