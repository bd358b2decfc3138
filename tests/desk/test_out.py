"""Going out of the desk: exports and pages with how far they are; a visit on this screen."""

import json
import select
import time

import pytest

from battery.charting import saying
from battery.desk.jobs import Jobs
from battery.export import verify_export
from battery.export.choosing.selection import Selection
from battery.export.fhir import export_charts
from battery.store import Person
from battery.store.settings import WITHOUT_CONSENT

WAIT_S = 60


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here."""
    return small_clinic


def until(done):
    end_s = time.monotonic() + WAIT_S
    while not done():
        assert time.monotonic() < end_s
        select.select([], [], [], 0.02)


def finished(desk, answer):
    path = answer.url.path
    until(
        lambda: (
            "It has begun" not in desk.get(path).text and "Stop it" not in desk.get(path).text
        )
    )
    return desk.get(path).text


def test_an_export_from_the_desk_is_one_that_verifies(desk, tmp_path):
    folder = tmp_path / "study"
    fields = {"kind": "tables", "folder": str(folder), "without_consent": "a test of the desk"}
    begun = desk.send("/out", fields)
    done, path = finished(desk, begun), begun.url.path
    assert "Done." in done
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    assert package["resources"]
    titles = {resource["name"]: resource["title"] for resource in package["resources"]}
    assert f"{titles['outside_errors']} (outside_errors): 0" in done
    desk.client.cookies.set("desk-language", "de")
    assert "Messfehler aus anderen Studien (outside_errors): 0" in desk.get(path).text
    assert not verify_export(folder).findings


def test_who_exports_without_consent_is_kept_with_the_reason(desk, tmp_path):
    with desk.office.store(write=True) as store:
        enrolled = "2026-03-01T08:00:00+00:00"
        store.people.add(Person("W7TR", "right", "left", "right", enrolled))
    fields = {"kind": "tables", "folder": str(tmp_path / "study"), "without_consent": "a test"}
    finished(desk, desk.send("/out", fields))
    with desk.office.store() as store:
        ((_, by, reason, codes),) = store.setup.setting(WITHOUT_CONSENT)
    assert (by, reason) == (desk.office.session.author, "a test")
    assert "W7TR" in codes.split()


def test_charts_for_the_record_system_are_those_of_the_command(desk, tmp_path):
    fields = {"kind": "charts", "without_consent": "a test", "attach": ""}
    assert "Done." in finished(desk, desk.send("/out", fields, folder=str(tmp_path / "charts")))
    with desk.office.store() as store:
        codes = {p.code for p in store.people.all()} - store.people.withdrawn()
        now = desk.office.wall()
        export_charts(
            store, tmp_path / "same", say=saying(store, now, None),
            selection=Selection(without_consent="a test"),
        )  # fmt: skip
    made = {path.stem: json.loads(path.read_text()) for path in tmp_path.glob("charts/*.json")}
    assert made.keys() == codes
    for code, chart in made.items():
        same = json.loads((tmp_path / "same" / f"{code}.json").read_text())
        assert [e["fullUrl"] for e in chart["entry"]] == [e["fullUrl"] for e in same["entry"]]
    refused = desk.send("/out", fields, folder=str(tmp_path / "other"), task="slide")
    assert refused.status_code == 400
    assert "tick no task" in refused.text
    assert not (tmp_path / "other").exists()


def test_pages_of_ticked_people_are_written_as_pdf(desk, tmp_path):
    with desk.office.store() as store:
        code = store.people.all()[0].code
    done = finished(desk, desk.send("/out", kind="pages", folder=str(tmp_path), person=code))
    assert "Done." in done
    assert (tmp_path / f"{code}.pdf").read_bytes().startswith(b"%PDF")
    assert len(list(tmp_path.glob("*.pdf"))) == 1


def test_work_that_is_stopped_ends_at_its_next_step_and_says_so():
    jobs = Jobs()

    def work(step):
        number = 0
        while True:
            number += 1
            step(number, 0)

    job = jobs.start("endless", work)
    until(lambda: job.done > 0)
    job.stop()
    until(lambda: not job.running)
    assert job.error.startswith("stopped")


def test_work_that_fails_says_one_calm_line():
    def work(step):
        del step
        return [1 / 0]

    job = Jobs().start("wrong", work)
    until(lambda: not job.running)
    assert "what is stored is safe" in job.error


def test_a_visit_without_a_screen_says_why_on_the_desk(desk, monkeypatch):
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    with desk.office.store() as store:
        code = store.people.all()[0].code
    assert desk.send("/start", code=code, plan="short").status_code == 200
    until(lambda: not desk.office.visiting.running)
    assert "no screen to draw on" in desk.get("/start").text
    assert desk.send("/start", code="NOBODY", plan="short").status_code == 400
    assert desk.send("/start", code=code, plan="--large").status_code == 400


def test_the_log_names_author_person_and_what(desk):
    with desk.office.store() as store:
        code = store.people.all()[0].code
    desk.send(f"/person/{code}/say/goal", goal="write a postcard")
    assert "goal: write a postcard" in desk.get("/log?author=AB").text
    assert "goal: write a postcard" not in desk.get("/log?author=nobody").text
