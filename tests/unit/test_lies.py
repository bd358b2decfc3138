"""What is well formed, signed and false is named, and changes nothing for anybody."""

import base64
import shutil
import uuid

import pytest
from sqlalchemy import insert
from typer.testing import CliRunner

from battery.cli import app
from battery.errors import HandoverError
from battery.handover import keys, list_waiting, receive, take
from battery.handover.bundle import sign_and_seal
from battery.report import page_of, render
from battery.rescoring import rescore_all
from battery.store import Store, schema
from tests import clinic as made_up
from tests import forging
from tests import handover_kit as hand

PERSON, OTHERS = "M4WX", ("K7QF", "X3CF")
WORDS = tuple(forging.lies("", "", ""))


class Desk:
    """A clinic that has accepted a tablet, and a true bundle of that tablet to lie with."""

    def __init__(self, folder, made):
        shutil.copytree(made, folder / "tablet")
        with Store.open(folder / "tablet") as tablet:
            made_up.one_visit(tablet, PERSON, 5, device=made_up.OTHER_TABLET)
            visit = tablet.visits(PERSON)[-1].header
            self.true = hand.packed(
                tablet.whole_visit(visit.visit_id), person=tablet.person(PERSON),
                device=visit.device, beside=tablet.beside_visit(visit.visit_id, "T-B"),
            )  # fmt: skip
        self.home = shutil.copytree(made, folder / "clinic")
        self.stick = folder / "stick"
        self.stick.mkdir()
        self.store = Store.open(self.home)
        keys.make_clinic_keys(self.store, folder / "cards")
        self.card = keys.clinic_keys(self.store).card
        self.signer = hand.key("tablet")
        self.public = self.signer.public_key().public_bytes_raw()
        hand.accept_key(self.store, self.public)
        other = self.store.visits(OTHERS[0])[0].header.visit_id
        self.lies = forging.lies(
            other,
            self.store.blocks(other)[0].header.block_id,
            self.store.amendments(OTHERS[0])[0].amendment_id,
        )
        self.before = hand.state(self.store)
        self.pages = self.read_pages()

    def forged(self, name):
        bundle = forging.Bundle(self.true)
        self.lies[name][0](bundle)
        return bundle.content()

    def receive(self, content):
        sealed = sign_and_seal(content, self.signer, [self.card.seal])
        (self.stick / "x_000001.cbundle").write_bytes(sealed)
        return receive(self.store, self.stick, wall=hand.wall)

    def read_pages(self):
        return {
            code: render(page_of(self.store, code, now=hand.NOW)) for code in (*OTHERS, PERSON)
        }

    def tables(self):
        """All but what waits."""
        now = hand.state(self.store)
        return {name: rows for name, rows in now.items() if name != "quarantine"}

    def unchanged(self):
        same = {name: rows for name, rows in self.before.items() if name != "quarantine"}
        return self.tables() == same


@pytest.fixture(scope="module")
def desk(clinic, tmp_path_factory):
    made = Desk(tmp_path_factory.mktemp("lies"), clinic)
    yield made
    made.store.close()


def commands(desk, folder, *, every=True):
    """The commands of a clinic, and whether each ended as it should: 0, or 1 in one line."""
    home = ["--home", str(desk.home)]
    told = {}
    asked = [
        ["people"],
        ["report", OTHERS[0], "--out", str(folder / "page.html")],
        ["quarantine"],
    ]
    asked += [
        ["export", str(folder / "tidy")],
        ["export", str(folder / "bids"), "--bids"],
        ["rescore"],
        ["verify"],
    ][: 4 if every else 0]
    for words in asked:
        result = CliRunner().invoke(app, [*words, *home])
        expected = result.exception is None or isinstance(result.exception, SystemExit)
        said = result.output if expected else f"{result.output}{result.exception!r}"
        told[" ".join(words[:1] + words[2:3])] = (expected, result.exit_code, said)
        for made in folder.iterdir():
            shutil.rmtree(made) if made.is_dir() else made.unlink()
    return told


def test_there_are_at_least_sixty_lies():
    assert len(WORDS) >= 60


def put(desk, number, content):
    sealed = sign_and_seal(content, desk.signer, [desk.card.seal])
    (desk.stick / f"x_{number:06d}.cbundle").write_bytes(sealed)


def test_every_lie_is_named_waits_and_reaches_no_table(desk):
    for number, name in enumerate(WORDS):
        put(desk, number, desk.forged(name))
    report = receive(desk.store, desk.stick, wall=hand.wall)
    for path in desk.stick.glob("*.cbundle"):
        path.unlink()
    assert desk.unchanged()
    assert set(report.outcomes) == {"false"}
    told = {line.split(":")[0].strip("'"): line for line in report.refused}
    why = {str(w.why) for w in desk.store.quarantine() if w.reason == "false"}
    for number, name in enumerate(WORDS):
        line = told[f"x_{number:06d}.cbundle"]
        assert desk.lies[name][1] in line, f"{name}: {line}"
        of_later = "Update the program" in line
        assert of_later or any(desk.lies[name][1] in words for words in why), name
    listed = "\n".join(list_waiting(desk.store))
    assert "says what cannot be: visit.started_utc is 'a word'" in listed


@pytest.mark.parametrize("names", [WORDS[::5], pytest.param(WORDS, marks=pytest.mark.long)])
def test_a_lie_that_waits_already_is_not_taken(desk, names):
    """As a program without the gate let it in: under its tablet or its person."""
    rows = {
        name: {
            "item_id": str(uuid.uuid4()), "reason": "person",
            "fingerprint": keys.fingerprint(desk.public), "number": 1, "device": "T-B",
            "public_key": base64.b64encode(desk.public).decode(), "person": PERSON,
            "sha256": keys.fingerprint(name.encode()), "content": desk.forged(name),
            "arrived_utc": hand.SAID["at_utc"],
        }
        for name in names
    }  # fmt: skip
    table = schema.quarantine
    for name, row in rows.items():
        with desk.store._writing() as connection:
            connection.execute(insert(table).values(**row))
        try:
            told = take(desk.store, row["item_id"], author="AB", why="so", wall=hand.wall)
        except HandoverError as error:
            told = [str(error)]
        assert any(desk.lies[name][1] in line for line in told), f"{name}: {told}"
        with desk.store._writing() as connection:
            connection.execute(table.delete().where(table.c.item_id == row["item_id"]))
    assert {p.code for p in desk.store.list_people()} == {PERSON, *OTHERS}
    assert desk.tables()["visits"] == desk.before["visits"]


def test_after_all_the_lies_every_command_works_and_every_page_is_as_before(desk, tmp_path):
    assert desk.read_pages() == desk.pages
    for words, (expected, status, output) in commands(desk, tmp_path, every=False).items():
        assert expected, f"{words}: {output}"
        assert status == 0, f"{words}: {output}"


def test_the_truth_is_taken(desk):
    """Last: the bundle that all lies are made of is taken in by the same way."""
    report = desk.receive(desk.true)
    assert report.refused == []
    assert report.outcomes["new"] == 1


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_after_each_lie_every_command_works_and_every_page_is_as_before(clinic, tmp_path):
    desk = Desk(tmp_path, clinic)
    out = tmp_path / "out"
    out.mkdir()
    rescore_all(desk.store, progress=lambda *_: None, n_processes=1)  # one had no scores
    desk.pages = desk.read_pages()
    for name in WORDS:
        report = desk.receive(desk.forged(name))
        assert desk.lies[name][1] in report.refused[0]
        assert desk.read_pages() == desk.pages, name
        desk.store.close()  # a command is another process; no process has the file open twice
        for words, (expected, status, output) in commands(desk, out).items():
            assert expected, f"{name}, {words}: {output}"
            assert status == 0, f"{name}, {words}: {output}"
        desk.store = Store.open(desk.home)
    desk.store.close()
