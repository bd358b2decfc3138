"""Names: on this machine, under a pass phrase, and in nothing that leaves it."""

import gzip

import pytest
from pyrage import DecryptError
from typer.testing import CliRunner

from battery.cli import app
from battery.desk import names as module
from battery.desk.names import Names
from battery.errors import StoreError, UsageError
from battery.people import person_label

PHRASE = "three grey herons wait"
NAME = "Wilhelmine Beispiel"


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here."""
    return small_clinic


class Quick:
    """Seals at once and keeps nothing secret: for what is not about the sealing."""

    def encrypt(self, told, phrase):
        return phrase.encode() + b"\0" + told

    def decrypt(self, sealed, phrase):
        held, told = sealed.split(b"\0", 1)
        if held != phrase.encode():
            raise DecryptError
        return told


@pytest.fixture
def quick(desk, code, own_clinic):
    desk.office.names = Names(own_clinic, Quick())
    return begun(desk, code)


@pytest.fixture
def named(desk, code):
    return begun(desk, code)


def begun(desk, code):
    desk.send("/clinic/names", {"what": "begin", "phrase": PHRASE, "again": PHRASE})
    desk.send(f"/person/{code}/say/name", {"name": NAME})
    return desk


def test_a_name_is_seen_by_those_who_opened_it_and_in_nothing_that_leaves(
    named, code, own_clinic, tmp_path
):
    assert f"{NAME} ({code})" in named.get("/").text
    assert named.get("/?code=wilhel").text.count('href="/person/') == 1
    assert f"<h1>{NAME} ({code})" in named.get(f"/person/{code}").text
    assert all(f"{NAME} ({code})" in named.get(path).text for path in ("/start", "/out"))
    assert NAME not in named.get(f"/person/{code}/page").text
    is_in_no_file(own_clinic, tmp_path, code, named)
    named.send("/clinic/names", {"what": "close"})
    wrong = named.send("/clinic/names", {"what": "open", "phrase": "three grey herons sit"})
    assert "not the pass phrase" in wrong.text
    named.send("/clinic/names", {"what": "open", "phrase": PHRASE})
    assert NAME in named.get("/").text


def test_names_are_closed_opened_erased_and_deleted(quick, code):
    quick.send("/clinic/names", {"what": "close"})
    assert NAME not in quick.get("/").text
    assert NAME not in quick.get(f"/person/{code}").text
    wrong = quick.send("/clinic/names", {"what": "open", "phrase": "three grey herons sit"})
    assert "not the pass phrase" in wrong.text
    assert NAME not in quick.get("/").text
    quick.send("/clinic/names", {"what": "open", "phrase": PHRASE})
    assert NAME in quick.get("/").text
    quick.send(f"/person/{code}/erase", {"again": code})
    assert quick.office.names() == {}
    quick.send("/clinic/names", {"what": "delete"})
    assert quick.office.names.kept
    quick.send("/clinic/names", {"what": "delete", "sure": "yes"})
    assert not quick.office.names.kept


def is_in_no_file(own_clinic, tmp_path, code, named):
    named.send("/clinic/backup", {"file": str(tmp_path / "out" / "copy.sqlite")})
    page, tables = str(tmp_path / "out" / "page.html"), str(tmp_path / "out" / "tables")
    for words in (["report", code, "--out", page, "--csv"], ["export", tables, "--csv"]):
        done = CliRunner().invoke(app, [*words, "--home", str(own_clinic)])
        assert done.exit_code == 0, done.output
    files = [p for f in (own_clinic, tmp_path / "out") for p in f.rglob("*") if p.is_file()]
    assert own_clinic / "names.age" in files
    assert len(files) > 20
    for path in files:
        data = path.read_bytes()
        if path.suffix == ".gz":
            data = gzip.decompress(data)
        assert b"Wilhelmine" not in data, path


def test_where_the_names_are_closed_an_erasure_says_so(desk, code):
    desk.office.names.path.write_bytes(b"sealed earlier")
    assert "the names are closed" in desk.send(f"/person/{code}/erase", {"again": code}).text


@pytest.mark.parametrize(
    ("phrase", "again", "words"),
    [("short", "short", "10 characters"), (PHRASE, PHRASE + "!", "phrases differ")],
)
def test_a_weak_or_mistyped_phrase_begins_nothing(tmp_path, phrase, again, words):
    names = Names(tmp_path)
    with pytest.raises(UsageError, match=words):
        names.begin(phrase, again)
    assert not names.kept


def test_what_is_no_file_of_names_is_one_line(tmp_path):
    names = Names(tmp_path)
    names.begin(PHRASE, PHRASE)
    for data in (b"", b"no age", names.path.read_bytes()[:-3]):
        names.path.write_bytes(data)
        with pytest.raises(UsageError, match="damaged"):
            Names(tmp_path).open(PHRASE)


def test_nobody_has_a_name_where_no_names_are_open(desk, code):
    assert desk.send(f"/person/{code}/say/name", {"name": NAME}).status_code == 400
    with desk.office.store() as store:
        person = store.people.get(code)
    assert person_label(person) == code
    assert person_label(person, {code: NAME}) == f"{NAME} ({code})"


def test_the_file_lies_beside_the_store_it_names_people_of(tmp_path, monkeypatch):
    monkeypatch.setenv("BATTERY_HOME", str(tmp_path / "by name"))
    assert Names(None).path == tmp_path / "by name" / "names.age"
    assert Names(tmp_path).path == tmp_path / "names.age"
    assert tmp_path not in Names("postgresql://clinic/store").path.parents


def test_a_name_that_could_not_be_written_is_not_shown(tmp_path, monkeypatch):
    names = Names(tmp_path, Quick())
    names.begin(PHRASE, PHRASE)

    def full(path, data):
        msg = "no room"
        raise StoreError(msg)

    monkeypatch.setattr(module, "replace_whole", full)
    with pytest.raises(StoreError):
        names.put("K7QF", NAME)
    assert names() == {}
