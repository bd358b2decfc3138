"""What is looked at before it is kept: a preview, who has seen a page, copies, erasure."""

from datetime import timedelta

import pytest

from battery.copies import copy_is_due, copy_store, days_since_copy, try_copy
from battery.effective import blocks_of, visits_of
from battery.errors import UsageError
from battery.report import page_of, render
from battery.store import Store
from tests.desk.office import NOW


def everything(home):
    """What was said of the records, and the records."""
    with Store.open(home, write=False) as store:
        said = store.annotations
        return (
            said.amendments(), said.markers(), store.people.consents(), store.care.states(),
            [v.header for v in store.visits.all()],
        )  # fmt: skip


def test_a_preview_tells_what_would_change_and_keeps_nothing(desk, code, own_clinic):
    before = everything(own_clinic)
    asked = {"what": "leave-out", "reason": "asleep", "preview": "yes"}
    answer = desk.send(f"/person/{code}/visits/2", asked)
    assert answer.status_code == 200
    assert "Nothing is saved yet" in answer.text
    assert 'value="asleep"' in answer.text
    assert '<option value="leave-out" selected>' in answer.text
    assert everything(own_clinic) == before


def test_the_page_says_after_what_the_preview_said(desk, code):
    asked = {"what": "leave-out", "reason": "asleep"}
    shown = desk.send(f"/person/{code}/visits/2", {**asked, "preview": "yes"}).text
    desk.send(f"/person/{code}/visits/2", asked)
    again = desk.send(
        f"/person/{code}/visits/2", {"what": "take-in", "reason": "back", "preview": "yes"}
    ).text

    def cells(text):
        rows = text[text.index('id="preview"') :].split("<tr>")[2:]
        return [row.split("<td>")[1:] for row in rows]

    then = [(a.split("<")[0], b.split("<")[0]) for a, b in cells(shown)]
    back = [(b.split("<")[0], a.split("<")[0]) for a, b in cells(again)]
    assert then == back
    assert then


def test_a_preview_of_another_persons_visit_tells_of_both(desk, code):
    with desk.office.store() as store:
        other = next(p.code for p in store.people.all() if p.code != code)
    asked = {"what": "give", "person": other, "reason": "mixed up", "preview": "yes"}
    text = desk.send(f"/person/{code}/visits/2", asked).text
    assert f"{other}: " in text[text.index('id="preview"') :]


def test_a_page_is_the_same_after_a_try(desk, code, own_clinic):
    with Store.open(own_clinic) as store:
        before = render(page_of(store, code, now=NOW))
        visit = visits_of(store, code)[1].header.visit_id
        headers = [held.record.header for held in blocks_of(store, visit)]
        block = next(header.block_id for header in headers if header.phase == "test")
        said = {"author": "AB", "reason": "r", "at_utc": "2026-12-01T10:00:00+00:00"}
        with store.tried():
            store.annotations.amend("block", block, "excluded", "yes", **said)
            assert store.annotations.amendments()[-1].target_id == block
        assert render(page_of(store, code, now=NOW)) == before


def test_who_has_seen_a_page_stands_on_the_list_and_goes_with_the_person(desk, code):
    assert "seen by you" not in desk.get("/").text
    assert desk.send(f"/person/{code}/say/seen").url.path == "/"
    assert "seen by you" in desk.get("/").text
    desk.send("/clinic/author", {"initials": "CD", "code": "1357"})
    desk.send("/door/lock")
    desk.come_in("CD", "1357")
    assert "seen by you" not in desk.get("/").text
    desk.send(f"/person/{code}/erase", {"again": code})
    with desk.office.store() as store:
        assert store.setup.settings_of("desk_seen") == {}


def test_that_a_note_was_put_into_the_record_is_kept_with_author_and_time(desk, code):
    assert "the note was put into the chart" not in desk.get(f"/person/{code}").text
    desk.send(f"/person/{code}/say/noted")
    page = desk.get(f"/person/{code}").text
    assert f"Last on {NOW:%Y-%m-%d} by AB." in page
    assert "<td>AB</td><td>the note was put into the chart</td>" in page
    assert "the note was put into the chart" in desk.get("/log?author=AB").text
    desk.send(f"/person/{code}/erase", {"again": code})
    with desk.office.store() as store:
        assert store.setup.settings_of("desk_noted") == {}


def test_consent_is_kept_with_its_use_and_form(desk, code):
    told = {"scope": "research", "decision": "withdrawn", "form_version": "3"}
    desk.send(f"/person/{code}/say/consent", told)
    with desk.office.store() as store:
        assert code in store.people.withdrawn()
    assert "research: withdrawn, form 3" in desk.get(f"/person/{code}").text


@pytest.mark.parametrize("left_out", ["scope", "decision", "form_version"])
def test_a_consent_that_says_too_little_is_not_kept(desk, code, left_out):
    told = {"scope": "care", "decision": "given", "form_version": "3", left_out: ""}
    with desk.office.store() as store:
        before = store.people.consents()
    assert desk.send(f"/person/{code}/say/consent", told).status_code == 400
    with desk.office.store() as store:
        assert store.people.consents() == before


def test_somebody_is_erased_only_after_the_code_was_typed(desk, code):
    assert desk.send(f"/person/{code}/erase", {"again": "yes"}).status_code == 400
    with desk.office.store() as store:
        assert store.people.get(code)
    answer = desk.send(f"/person/{code}/erase", {"again": code.lower()})
    assert f"{code} is erased" in answer.text
    assert f'href="/person/{code}"' not in desk.get("/").text
    with desk.office.store() as store:
        assert [t.code for t in store.erasure.tombstones()] == [code]


def test_a_copy_is_asked_for_until_one_is_a_week_young(desk, own_clinic, tmp_path):
    assert "No backup has been made here yet" in desk.get("/").text
    answer = desk.send("/clinic/backup", {"file": str(tmp_path / "copy.sqlite")})
    assert "The backup is made." in answer.text
    assert "ackup was" not in desk.get("/").text
    with Store.open(own_clinic) as store:
        assert days_since_copy(store, NOW + timedelta(days=6)) == 6
        assert not copy_is_due(store, NOW + timedelta(days=6))
        assert copy_is_due(store, NOW + timedelta(days=8))


def test_a_copy_is_tried_without_touching_it_or_the_store(own_clinic, tmp_path):
    copy = tmp_path / "copy.sqlite"
    copy_store(own_clinic, copy, now=NOW)
    whole = copy.read_bytes()
    with Store.open(own_clinic) as store:
        n_people, n_visits = len(store.people.all()), len(store.visits.all())
        first, second, *rest = try_copy(copy, store)
    assert first.startswith(f"{n_people} people, {n_visits} visits, ")
    assert first.endswith("it can be restored")
    assert (second, rest) == ("0 visits of the store are not in it", [])
    assert copy.read_bytes() == whole


def test_a_damaged_copy_is_named(own_clinic, tmp_path):
    copy = tmp_path / "copy.sqlite"
    copy_store(own_clinic, copy, now=NOW)
    spoilt = bytearray(copy.read_bytes())
    middle = len(spoilt) // 2
    spoilt[middle : middle + 4096] = bytes(4096)
    copy.write_bytes(spoilt)
    with Store.open(own_clinic) as store:
        lines = try_copy(copy, store)
        assert "damaged; make a new one" in lines[0]
        assert len(lines) > 2
        with pytest.raises(UsageError, match="is not a file"):
            try_copy(tmp_path / "nothing", store)


def test_what_a_machine_shows_is_set_at_the_desk(desk):
    desk.send(
        "/clinic/tablet",
        {"emergency_number": "144", "staff_code": "2468", "show_scores": "yes"},
    )
    with desk.office.store() as store:
        assert store.setup.setting("emergency_number") == "144"
        assert store.setup.setting("staff_code") == "2468"
        assert store.setup.setting("show_scores") is True
        assert store.setup.setting("large") is False
    desk.send("/clinic/tablet", {"emergency_number": "144"})
    with desk.office.store() as store:
        assert store.setup.setting("staff_code") == "2468"  # empty: as it is
    assert desk.send("/clinic/tablet", {"emergency_number": "call me"}).status_code == 400
