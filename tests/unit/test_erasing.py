"""Who is erased is gone from every byte of the store; a tombstone stays."""

import random
from datetime import UTC, datetime

from sqlalchemy import text
from typer.testing import CliRunner

from battery.cli import app
from battery.errors import UsageError
from battery.export import export_tidy
from battery.people import new_person
from battery.store import Store, schema
from battery.store.reach import RECORD, tables_beside
from battery.verify import verify
from tests import store_kit as kit

AT = "2026-06-01T10:00:00+00:00"


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def everything_of(store, code):
    """Every identifier that only this person's rows hold."""
    names = {v.header.visit_id for v in store.visits.all(code)}
    for visit in list(names):
        names |= {b.header.block_id for b in store.records.of_visit(visit)}
    names |= {a.amendment_id for a in store.annotations.amendments(code)}
    names |= {m.marker_id for m in store.annotations.markers(code)}
    return names | {c.consent_id for c in store.people.consents(code)}


def bytes_of(folder):
    return b"".join(path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file())


def test_nothing_of_an_erased_person_is_left_in_any_file(own_clinic, tmp_path):
    """Free pages and the write-ahead log too; found in the bytes before, and not after."""
    with Store.open(own_clinic) as store:
        store.setup.put_setting("comfort:K7QF", {"language": "Plattdeutsch"})
        names = everything_of(store, "K7QF")
        others = everything_of(store, "M4WX")
    planted = bytes_of(own_clinic)
    assert len(names) > 20
    assert all(name.encode() in planted for name in names)
    assert b"new dose" in planted
    # A reader that has left may leave a log behind; what is erased must not stay in it.
    result = run("erase", "k7qf", "--by", "AB", "--yes", "--home", own_clinic)
    assert result.exit_code == 0, result.exception
    left = bytes_of(own_clinic)
    assert not [name for name in names if name.encode() in left]
    assert b"new dose" not in left
    assert b"Plattdeutsch" not in left
    assert all(name.encode() in left for name in others)
    with Store.open(own_clinic) as store:
        assert [(t.code, t.author) for t in store.erasure.tombstones()] == [("K7QF", "AB")]
        assert verify(store).findings == ()
        export_tidy(store, tmp_path / "export")
    exported = bytes_of(tmp_path / "export")
    assert b"K7QF" not in exported
    assert not [name for name in names if name.encode() in exported]


def test_a_visit_that_was_somebody_elses_stays_under_their_code(own_clinic):
    with Store.open(own_clinic) as store:
        theirs, own = (store.visits.all("K7QF")[i].header.visit_id for i in (2, 1))
        wrong = store.visits.all("M4WX")[0].header.visit_id
        said = {"author": "AB", "reason": "wrong tile", "at_utc": AT}
        store.annotations.amend("visit", theirs, "person", "M4WX", **said)
        store.annotations.amend("visit", wrong, "person", "K7QF", **said)
        raw = [b.sha256 for b in store.records.of_visit(theirs)]
        store.erasure.erase("K7QF", author="AB", at_utc=AT)
        left = {v.header.visit_id: v.header.person for v in store.visits.all()}
        assert left[theirs] == "M4WX"
        assert wrong not in left  # by amendment it was the erased person's
        assert own not in left
        assert [b.sha256 for b in store.records.of_visit(theirs)] == raw
        assert verify(store).findings == ()
    # Only the tombstone: once in its row, once in the index of its key.
    assert bytes_of(own_clinic).count(b"K7QF") == 2


def test_an_erased_code_is_never_drawn_again(own_clinic, monkeypatch):
    with Store.open(own_clinic) as store:
        store.erasure.erase("K7QF", author="AB", at_utc=AT)
        draws = iter(["K7QF", "M4WX", "TTTT"])
        monkeypatch.setattr("battery.people.new_code", lambda: next(draws))
        made = new_person(
            store, dominant_hand="right", affected_side="left", first_hand=None,
            now=datetime(2026, 6, 2, tzinfo=UTC),
        )  # fmt: skip
        assert made.code == "TTTT"


def test_erasure_needs_a_person_an_author_and_a_yes(own_clinic):
    for words, told in (
        (("ZZZZ", "--by", "AB", "--yes"), "no person 'ZZZZ'"),
        (("K7QF", "--by", " ", "--yes"), "needs an author"),
        (("K7QF", "--by", "AB"), "cannot be undone"),
    ):
        result = run("erase", *words, "--home", own_clinic)
        assert isinstance(result.exception, UsageError)
        assert told in str(result.exception)
    with Store.open(own_clinic, write=False) as store:
        assert len(store.visits.all("K7QF")) == 3


def test_every_table_is_the_record_or_hangs_on_it_or_is_named_here():
    """A table that erasure and hand-over would not find by its keys would be forgotten."""
    apart = {"migrations", "settings", "outside_errors", "scores", "trials",
             "bundles", "tablets", "received", "quarantine", "tombstones",
             "revisions", "kept_readings"}  # fmt: skip
    found = {table.name for table in tables_beside()}
    assert found | RECORD | apart == set(schema.metadata.tables)


def test_erasure_on_a_server(empty_database):
    with Store.open(empty_database) as store:
        for code in ("K7QF", "M4WX"):
            kit.enrol(store, code) if code == "K7QF" else store.people.add(kit.person(code))
            visit = kit.visit(code)
            store.visits.begin(visit)
            kit.record(store, kit.block_header(visit), seed=random.Random(code).randrange(99))
        store.erasure.erase("K7QF", author="AB", at_utc=AT)
        assert [p.code for p in store.people.all()] == ["M4WX"]
        assert len(store.visits.all()) == 1
        with store._engine.connect() as connection:
            assert connection.execute(text("SELECT count(*) FROM payloads")).scalar() == 1
