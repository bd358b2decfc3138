"""The invented clinic: through the real path, the same every time, nothing overwritten."""

import itertools
from datetime import UTC, datetime, timedelta

import pytest

from battery.demo import STORIES, make_demo
from battery.errors import StoreError
from battery.plan import STANDARD, planned_blocks
from battery.runner import replay
from battery.store import Store
from tests import asking

NOW = datetime(2026, 11, 25, 8, 15, tzinfo=UTC)


def made_at(store):
    """When the command was given: a week after it says that its people were enrolled."""
    enrolled = store.people.get(STORIES[0].code).enrolled_utc
    return datetime.fromisoformat(enrolled) + timedelta(weeks=1)


@pytest.fixture(
    scope="module",
    params=[1, pytest.param(len(STORIES), marks=pytest.mark.long)],
    ids=["one person", "everybody"],
)
def stories(request):
    """The people of the clinic; one of them costs a third of all."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("battery.demo.STORIES", STORIES[: request.param])
        yield STORIES[: request.param]


@pytest.fixture(scope="module")
def made(stories, tmp_path_factory):
    """Made by the command as people run it, without a screen: where, and what it said."""
    place = tmp_path_factory.mktemp("demo")
    words = ("demo", "made", "--visits", "1", "--no-open")
    run = asking.program if stories == STORIES else asking.ask
    done = run(*words, home=place / "home", folder=place)
    assert (done.returncode, done.stderr) == (0, "")
    return place / "made", done.stdout


def test_pages_say_that_one_visit_is_too_little_and_need_no_network(made, stories):
    folder, said = made
    pages = sorted(folder.glob("*.html"))
    assert [page.stem for page in pages] == sorted(story.code for story in stories)
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert page.stem in text
        assert f"made/{page.name}" in said
        assert "not enough comparable visits" in text.lower()
        assert "http://" not in text.replace("http://www.w3.org/2000/svg", "")
        assert "https://" not in text


def test_the_export_is_there_and_it_is_said_where_all_is(made, stories):
    folder, said = made
    assert (folder / "export" / "datapackage.json").exists()
    assert list((folder / "export").rglob("*.csv.gz"))
    for words in (*(story.about for story in stories), "Export: made/export", "Store:  made "):
        assert words in said


def test_what_was_made_is_scored_again_and_not_made_again(made, tmp_path):
    folder, _ = made
    rescored = asking.ask("rescore", home=folder, folder=tmp_path)
    assert rescored.returncode == 0, rescored.stderr
    assert " 0 changed" in rescored.stdout
    again = asking.ask("demo", folder, "--no-open", home=tmp_path, folder=tmp_path)
    assert (again.returncode, again.stderr.count("\n")) == (1, 1)
    assert again.stderr.startswith("battery: ")
    assert "not an empty folder" in again.stderr


def test_every_block_of_the_plan_is_recorded_scored_and_replays(made, stories):
    with Store.open(made[0], write=False) as store:
        for story in stories:
            (visit,) = store.visits.all(story.code)
            assert (visit.ending, visit.header.origin) == ("finished", "simulated")
            first = store.people.get(story.code).first_hand
            records = store.records.of_visit(visit.header.visit_id)
            planned = [(b.task, b.hand, b.phase) for b in planned_blocks(STANDARD, first)]
            assert [(r.header.task, r.header.hand, r.header.phase) for r in records] == planned
            tested = [r for r in records if r.header.phase == "test"]
            for record in tested:
                assert store.scores.of_block(record.header.block_id)
            block = store.records.load(tested[0].header.block_id)
            assert len(replay(block)) == len(block.events)


def test_blocks_follow_one_another_on_the_wall_with_a_rest_between(made):
    with Store.open(made[0], write=False) as store:
        now = made_at(store)
        (visit,) = store.visits.all(STORIES[0].code)
        records = store.records.of_visit(visit.header.visit_id)
        begun = [datetime.fromisoformat(r.header.started_utc) for r in records]
        lengths_s = [store.records.load(r.header.block_id).ended_ns / 1e9 for r in records]
    for (a, b), length_s in zip(itertools.pairwise(begun), lengths_s, strict=False):
        assert (b - a).total_seconds() == pytest.approx(length_s + STANDARD.rest_s, abs=0.01)
    assert timedelta(minutes=8) < begun[-1] - begun[0] < timedelta(minutes=20)
    assert timedelta(days=1) < now - begun[-1] < timedelta(days=3)


def test_a_folder_with_something_in_it_is_left_alone(tmp_path):
    (tmp_path / "note.txt").write_text("mine")
    with pytest.raises(StoreError, match="nothing was changed"):
        make_demo(tmp_path, n_visits=1, now=NOW)
    assert [p.name for p in tmp_path.iterdir()] == ["note.txt"]


def test_the_default_folder_is_numbered_when_it_is_taken(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("battery.demo.STORIES", ())
    folders = [make_demo(n_visits=1, now=NOW).folder.name for _ in range(2)]
    assert folders == ["battery-demo", "battery-demo-2"]


def test_the_same_day_gives_the_same_clinic_step_by_step(made, tmp_path, monkeypatch):
    monkeypatch.setattr("battery.demo.STORIES", STORIES[:1])
    steps = []
    with Store.open(made[0], write=False) as store:
        now = made_at(store)
    again = make_demo(
        tmp_path / "again", n_visits=1, now=now, progress=lambda *step: steps.append(step)
    )
    hashes = []
    for folder in (made[0], again.folder):
        with Store.open(folder, write=False) as store:
            (visit,) = store.visits.all(STORIES[0].code)
            hashes.append([r.sha256 for r in store.records.of_visit(visit.header.visit_id)])
    assert hashes[0] == hashes[1]
    assert len(set(hashes[0])) == 16
    done = [d for d, _ in steps]
    assert done == sorted(done)
    assert steps[-1] == (3, 3)


def test_only_the_one_who_improves_does_so_and_learning_fades():
    """What the stories promise of the people themselves, before any chance."""
    improving, unchanged, learner = STORIES
    early, late = (improving.truth(k, "left").tremor_mm for k in (6, 13))
    assert late < 0.8 * early
    assert improving.truth(13, "right").tremor_mm == pytest.approx(
        improving.truth(6, "right").tremor_mm, rel=0.01
    )
    for hand in ("left", "right"):
        for story in (unchanged, learner):
            tremor_mm = [story.truth(k, hand).tremor_mm for k in range(14)]
            assert tremor_mm[13] == pytest.approx(tremor_mm[6], rel=0.01)
    assert learner.truth(0, "left").search_s > 1.2 * learner.truth(6, "left").search_s


@pytest.mark.long
def test_the_pages_of_fourteen_visits_tell_the_stories(tmp_path):
    demo = make_demo(tmp_path / "clinic", n_visits=14, now=NOW)
    told = ["better, beyond error" in p.read_text(encoding="utf-8") for p in demo.pages]
    assert told == [True, False, False]
