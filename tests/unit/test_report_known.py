"""What is kept of people and read again where something changed is what a fresh look finds."""

import random
import shutil
import sqlite3
import uuid
import zlib
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from battery.alarms import set_limit
from battery.report import Known, keeping, page_rows, read_pools
from battery.report import known as known_module
from battery.report.caseload import judged_people
from battery.scoring import PRIMARY
from battery.store import Person, Store, TimingCheck
from battery.store.kept import KeptRow
from tests import store_kit as kit
from tests.multiplying import multiplied

CODE, OTHER = "AAA9", "AAC9"
MAIN = {measure.name for measure in PRIMARY.values()}
AT = "2026-12-01T10:00:00+00:00"
SAID = {"author": "AB", "reason": "so it was"}


def past_baseline(clinic, folder):
    home = shutil.copytree(clinic, folder / "clinic")
    multiplied(home, 3, 7)
    return home


@pytest.fixture(scope="module")
def grown(small_clinic, tmp_path_factory):
    """A clinic of one task in which three people are past their baseline."""
    return past_baseline(small_clinic, tmp_path_factory.mktemp("known"))


@pytest.fixture(scope="module")
def whole(whole_clinic, tmp_path_factory):
    """The same with every task."""
    return past_baseline(whole_clinic, tmp_path_factory.mktemp("known whole"))


def visit(store, code, number):
    visits = [v for v in store.visits.all() if v.header.person == code] or store.visits.all()
    return visits[number % len(visits)].header


def block(store, code, number):
    briefs = store.records.in_brief(visit_ids=[visit(store, code, number).visit_id])
    return next(b for b in briefs if b.phase == "test")


def by_hand(statement):
    """Change rows by another program, which knows nothing of this one."""

    def change(store, _number):
        with sqlite3.connect(store.folder / "battery.sqlite") as other:
            other.execute(statement)
        other.close()

    return change


def amend(kind, field, value):
    def change(store, number):
        code = (CODE, OTHER)[number % 2]
        target = (
            visit(store, code, number).visit_id
            if kind == "visit"
            else block(store, code, number).block_id
        )
        store.annotations.amend(kind, target, field, value, at_utc=AT, **SAID)

    return change


def answer(moment, question, value):
    def change(store, number):
        told = visit(store, CODE, number).visit_id
        store.visits.put_answer(told, moment, question, value, at_utc=AT)

    return change


def scored_again(store, number):
    told = block(store, OTHER, number).block_id
    held = store.scores.of_block(told)
    store.scores.put(told, [])
    with sqlite3.connect(store.folder / "battery.sqlite") as other:
        other.executemany(
            "INSERT INTO scores VALUES (?, ?, ?, ?, NULL, NULL, ?, ?)",
            [(told, s.measure, 7.0, s.n, s.reason, s.scoring_version) for s in held],
        )
    other.close()


def new_visit(store, number):
    header = replace(
        visit(store, CODE, number), visit_id=str(uuid.uuid4()), sequence=100 + number
    )
    store.visits.begin(header)


def check(store, number):
    del number
    store.setup.put_timing_check(
        TimingCheck(str(uuid.uuid4()), visit(store, CODE, 0).device.alias, "touch", 99, 20.0,
                    1.0, 0.5, 60.0, 0.5, 1.0, "2026-01-01T00:00:00+00:00")
    )  # fmt: skip


def erased(store, number):
    others = [p.code for p in store.people.all() if p.code not in (CODE, OTHER)]
    if others:
        store.erasure.erase(others[number % len(others)], author="AB", at_utc=AT)


DOORS = {
    "a visit is left out": amend("visit", "excluded", "yes"),
    "a visit is taken in again": amend("visit", "excluded", "no"),
    "a visit is somebody else's": amend("visit", "person", OTHER),
    "nobody helped": amend("visit", "helped", "no"),
    "the other hand": amend("block", "hand", "left"),
    "a block is left out": amend("block", "excluded", "yes"),
    "an emergency": answer("before", "red_flags", "yes"),
    "a strong rise": answer("after", "pain", "9"),
    "somebody helped": answer("after", "helped", "yes"),
    "a new baseline": lambda store, n: store.annotations.restart_baseline(
        CODE, visit(store, CODE, 3 + n % 3).visit_id, at_utc=AT, **SAID
    ),
    "an outside error": lambda store, n: store.annotations.enter_outside_error(
        "tapping.radial_error_mm", 0.1 + n / 100, source="x", author="AB", at_utc=AT
    ),
    "scored again": scored_again,
    "a value by hand": by_hand("UPDATE scores SET value = value * 1.5 WHERE rowid % 97 = 0"),
    "scores are gone": by_hand("DELETE FROM scores WHERE rowid % 193 = 0"),
    "a block was stopped": by_hand("UPDATE blocks SET ending = 'stopped' WHERE rowid % 31 = 0"),
    "another pointer": by_hand("UPDATE blocks SET input_type = 'touch' WHERE rowid % 29 = 0"),
    "an answer by hand": by_hand("UPDATE answers SET value = '9' WHERE rowid % 7 = 0"),
    "a visit by hand": by_hand("UPDATE visits SET ending = 'stopped' WHERE rowid % 5 = 0"),
    "unreadable": by_hand("UPDATE scores SET n = 'x' WHERE rowid % 389 = 0"),
    "somebody is enrolled": lambda store, n: store.people.add(
        Person(f"N{n % 100:02d}{uuid.uuid4().hex[0]}", "right", "left", "right", AT)
    ),
    "a visit begins": new_visit,
    "the screen was checked": check,
    "another limit": lambda store, n: set_limit(store, "pain", 1 + n % 9),
    "a fall": lambda store, _: store.annotations.add_marker(CODE, "fall", at_utc=AT),
    "paused": lambda store, _: store.care.set_state(
        OTHER, "paused", from_date=date(2026, 12, 1), reason="x", author="AB", at_utc=AT
    ),
    "somebody is erased": erased,
}  # fmt: skip


def seen(store, known):
    """The list, what is brought to the pools and told by them, and what could not be read."""
    people = judged_people(store, known)
    return people, *pools_told(store, known), sorted(store.unreadable())


def pools_told(store, known):
    """What is brought to the pools, and what those of main measures tell."""
    pools = read_pools(store, known)
    told = [
        (plan, place, pools._pool(plan, place).prior(log_scale=False))
        for plan, same in sorted(pools._by_plan.items())
        for place in sorted({place for shares in same.values() for place in shares})
        if place[0] in MAIN
    ]
    known.hold_fits(pools)
    return list(pools._shares.items()), told


def plain(seen):
    """The same as text, in which a value that is missing is equal to itself."""
    return repr(seen)


def walk(home, doors, number=0, *, between=1):
    """Go through doors one after another; after so many, look with and without what is kept.

    Also as a program that starts now and finds what the earlier ones kept in the store.
    """
    known = Known()
    with Store.open(home) as store:
        seen(store, known)
        known.keep(store)
        for at in range(0, len(doors), between):
            names = doors[at : at + between]
            for name in names:
                DOORS[name](store, number)
                number += 1
            fresh, started = Known(use_kept=False), Known()
            looks = []
            for whose in (fresh, known, started):
                with Store.open(home, write=False) as opened:
                    looks.append(seen(opened, whose))
            assert looks[0] == looks[1], names
            assert plain(looks[0]) == plain(looks[2]), names
            started.keep(store)


def test_what_is_kept_is_what_a_fresh_look_finds(grown, tmp_path):
    """Every door once, five before each look."""
    doors = sorted(DOORS)
    random.Random(0).shuffle(doors)
    walk(shutil.copytree(grown, tmp_path / "clinic"), doors, between=5)


@pytest.mark.long
@pytest.mark.parametrize("part", range(3))
def test_what_is_kept_is_what_a_fresh_look_finds_after_each_door(whole, tmp_path, part):
    """Every door once; which it meets first does not matter."""
    doors = sorted(DOORS)
    random.Random(part).shuffle(doors)
    walk(shutil.copytree(whole, tmp_path / "clinic"), doors[part::3])


@pytest.mark.long
@settings(
    deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.sampled_from(sorted(DOORS)), min_size=1, max_size=8), st.integers(0, 99))
def test_what_is_kept_holds_after_any_changes(whole, tmp_path, doors, number):
    home = tmp_path / uuid.uuid4().hex
    walk(shutil.copytree(whole, home), doors, number)
    shutil.rmtree(home)


@pytest.fixture
def n_read(monkeypatch):
    """Of how many people records were read."""
    n = []
    true = known_module._theirs
    monkeypatch.setattr(known_module, "_theirs", lambda *told: n.append(1) or true(*told))
    return n


@pytest.fixture
def n_fitted(monkeypatch):
    """How many weeks of pools were fitted, pool by pool."""
    n = []
    true = page_rows.pool

    def watched(*told, known=(), **more):
        found = true(*told, known=known, **more)
        n.append(len(found.by_week) - len(known))
        return found

    monkeypatch.setattr(page_rows, "pool", watched)
    return n


def test_the_next_program_fits_only_weeks_that_changed(whole, tmp_path, n_fitted, monkeypatch):
    home = shutil.copytree(whole, tmp_path / "clinic")
    with Store.open(home) as store:
        first = Known()
        before = pools_told(store, first)
        n_all = sum(n_fitted)
        assert n_all > len(MAIN)
        first.keep(store)
        n_fitted.clear()
        started = Known()
        assert plain(pools_told(store, started)) == plain(before)
        assert (n_fitted, started.n_to_keep) == ([], 0)
        store.annotations.amend(
            "visit", visit(store, CODE, -1).visit_id, "excluded", "yes", at_utc=AT, **SAID
        )
        after = pools_told(store, Known())
        assert 0 < sum(n_fitted) < n_all
        assert plain(after) == plain(pools_told(store, Known(use_kept=False)))
        n_fitted.clear()
        monkeypatch.setattr(keeping, "program_sign", lambda: "a later program")
        assert plain(pools_told(store, Known())) == plain(after)
        assert sum(n_fitted) > 0
        n_fitted.clear()


def test_the_next_program_reads_only_who_changed(grown, tmp_path, n_read, monkeypatch):
    home = shutil.copytree(grown, tmp_path / "clinic")
    with Store.open(home) as store:
        first = Known()
        before = seen(store, first)
        n_people = len(before[0])
        assert (len(n_read), first.keep(store), first.keep(store)) == (n_people, n_people, 0)
        assert plain(seen(store, Known())) == plain(before)
        assert len(n_read) == n_people
        DOORS["a visit is left out"](store, 0)
        seen(store, Known())
        assert len(n_read) == n_people + 1
        monkeypatch.setattr(keeping, "program_sign", lambda: "a later program")
        seen(store, Known())
        assert len(n_read) == 2 * n_people + 1


@pytest.mark.parametrize(
    "spoilt",
    ["packed = x'00'", "packed = 'text'", "sign = 'another'", "person = 'AAA9' || kind"],
)
def test_what_was_altered_is_read_again(grown, tmp_path, spoilt):
    home = shutil.copytree(grown, tmp_path / "clinic")
    with Store.open(home) as store:
        known = Known()
        before = seen(store, known)
        known.keep(store)
    with sqlite3.connect(home / "battery.sqlite") as other:
        other.execute(f"UPDATE kept_readings SET {spoilt} WHERE person = '{CODE}'")
    other.close()
    with Store.open(home) as store:
        assert plain(seen(store, Known())) == plain(before)


def test_what_is_well_sealed_but_of_another_form_is_read_again(grown, tmp_path):
    """As by a mistake of a program whose sign is this one's."""
    home = shutil.copytree(grown, tmp_path / "clinic")
    with Store.open(home) as store:
        known = Known()
        before = seen(store, known)
        odd = [zlib.compress(text) for text in (b"", b"[]", b"{}", b'{"words":[]}', b"1e999")]
        odd += [b"", b"\xff" * 9, zlib.compress(b"0" * 70_000_000)]
        lists = (
            b"[]",
            b"{}",
            b"[[]]",
            b"[[1,2,3]]",
            b'[["a","b",true,0,-1]]',
            b"[[1,2,3,4,9e9]]",
        )
        odd += [len(told).to_bytes(4, "little") + told + b"x" * 16 for told in lists]
        signs = {code: known._sign(code) for code in (CODE, OTHER)}
        people = known.people(store)
        fits = {code: keeping.sign_of("fits", people[code].plan) for code in signs}
        for packed in odd:
            for kind in ("records", "shares", "fits"):
                rows = [
                    KeptRow(code, kind, fits[code] if kind == "fits" else sign, packed)
                    for code, sign in signs.items()
                ]
                store.kept.put(rows, n_erased=0)
            assert plain(seen(store, Known())) == plain(before)


def test_erasing_somebody_leaves_nothing_of_what_was_read(grown, tmp_path):
    """Of nobody: a visit may have been somebody else's when it was read."""
    home = shutil.copytree(grown, tmp_path / "clinic")
    with Store.open(home) as store:
        slow, known = Known(), Known()
        seen(store, slow)
        seen(store, known)
        known.keep(store)
        store.erasure.erase(OTHER, author="AB", at_utc=AT)
        assert kept_of(home) == []
        slow.keep(store)  # read before, kept too late
        assert kept_of(home) == []
        seen(store, slow)
        slow.keep(store)
        assert OTHER not in kept_of(home)


def test_a_server_keeps_it_too(empty_database, n_read):
    with Store.open(empty_database) as store:
        kit.enrol(store, "M4WX")
        visit = kit.visit("M4WX")
        store.visits.begin(visit)
        kit.record(store, kit.block_header(visit), seed=7)
        known = Known()
        before = seen(store, known)
        assert known.keep(store) == 1
        assert plain(seen(store, Known())) == plain(before)
        assert len(n_read) == 1
        store.annotations.amend("visit", visit.visit_id, "excluded", "yes", at_utc=AT, **SAID)
        assert plain(seen(store, Known())) == plain(seen(store, Known(use_kept=False)))
        store.erasure.erase("M4WX", author="AB", at_utc=AT)
        with store._engine.connect() as connection:
            left = connection.execute(text("SELECT count(*) FROM kept_readings")).scalar()
    assert left == 0


def kept_of(home):
    with sqlite3.connect(home / "battery.sqlite") as held:
        found = held.execute("SELECT DISTINCT person FROM kept_readings").fetchall()
    held.close()
    return [code for (code,) in found]


def test_only_who_changed_is_read_again(grown, tmp_path):
    home = shutil.copytree(grown, tmp_path / "clinic")
    known = Known()
    with Store.open(home) as store:
        before = known.people(store)
        DOORS["a visit is left out"](store, 0)
        after = known.people(store)
        anew = {code for code in after if after[code] is not before[code]}
        assert anew == {CODE}
        pools = known.pools_of_headlines(after)[0]
        DOORS["a fall"](store, 0)
        assert known.pools_of_headlines(known.people(store))[0] is pools
