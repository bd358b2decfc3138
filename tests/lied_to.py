"""A clinic lied to by a tablet it accepted, and what its commands then say and write."""

import base64
import contextlib
import hashlib
import importlib
import re
import shutil
import uuid

import pytest
from sqlalchemy import insert
from typer.testing import CliRunner

from battery.cli import app
from battery.errors import BatteryError
from battery.handover import keys
from battery.handover.bundle import sign_and_seal
from battery.rescoring import rescore_all
from battery.store import Store, schema
from tests import clinic as made_up
from tests import forging
from tests import handover_kit as hand

PERSON, OTHERS = "M4WX", ("K7QF", "X3CF")
WORDS = tuple(forging.lies("", "", ""))
TOLD_THE_TIME = ("clinic", "exporting", "keeping", "handing", "watching", "saying")
# What a clinic does with its store; each writes into the folder that is put for `{}`.
COMMANDS = {
    "people": ("people",),
    "alarms": ("people", "--only", "alarm"),
    "page": ("report", OTHERS[0], "--out", "{}/page.html", "--csv"),
    "page of another": ("report", OTHERS[1], "--out", "{}/page.html"),
    "own page": ("report", PERSON, "--out", "{}/page.html"),
    "alarms of one": ("acknowledge", PERSON),
    "visits": ("amend", PERSON),
    "state": ("state", PERSON),
    "consent": ("consent", PERSON, "--form-version", "2", "--given"),
    "limits": ("limits",),
    "said": ("take-back", OTHERS[0]),
    "reliability": ("reliability",),
    "keys": ("keys", "show"),
    "tidy": ("export", "{}/out", "--csv", "--without-consent", "a test", "--by", "AB"),
    "bids": ("export", "{}/out", "--bids"),
    "charts": ("export", "{}/out", "--fhir"),
    "rescore": ("rescore",),
    "verify": ("verify",),
    "send": ("send", "--to", "{}"),
    "receive": ("receive", "{}"),
    "backup": ("backup", "{}/copy.sqlite"),
}
# Of a backup, which holds what waits, and of what is sealed, names are compared only.
NEVER_TWICE_THE_SAME = {"backup", "send", "receive"}
_WAITING = re.compile(  # what is said of what waits
    r"^(\d+ received bundles wait|\d+ wait for a choice|ALARM [0-9a-f]{8} ).*\n", re.MULTILINE
)


class Desk:
    """The clinic with its stick, and a true bundle of the tablet to lie with."""

    def __init__(self, folder, made):
        self.template, self.cards = folder / "clinic", folder / "cards"
        shutil.copytree(made, folder / "tablet")
        with Store.open(folder / "tablet") as tablet:
            made_up.one_visit(tablet, PERSON, 5, device=made_up.OTHER_TABLET)
            visit = tablet.visits.all(PERSON)[-1].header
            self.true = hand.packed(
                tablet.transfer.whole_visit(visit.visit_id), person=tablet.people.get(PERSON),
                device=visit.device, beside=tablet.bundles.beside_visit(visit.visit_id, "T-B"),
            )  # fmt: skip
        shutil.copytree(made, self.template)
        self.signer = hand.key("tablet")
        self.public = self.signer.public_key().public_bytes_raw()
        with Store.open(self.template) as store:
            keys.make_clinic_keys(store, self.cards)
            self.card = keys.clinic_keys(store).card
            keys.make_tablet_keys(store, keys.found_cards(self.cards), [self.card.fingerprint])
            hand.accept_key(store, self.public)
            other = store.visits.all(OTHERS[0])[0].header.visit_id
            self.lies = forging.lies(
                other,
                store.records.of_visit(other)[0].header.block_id,
                store.annotations.amendments(OTHERS[0])[0].amendment_id,
            )
            # One had no scores, and what is said of people is kept as it will be said again.
            rescore_all(store, progress=lambda *_: None, n_processes=1)
            self.before = hand.state(store)
        self.folder = folder
        self.n_homes = 0

    def new_home(self):
        """A copy of the clinic as it was before any lie."""
        if self.n_homes:
            shutil.rmtree(self.folder / f"home {self.n_homes}")
        self.n_homes += 1
        home = self.folder / f"home {self.n_homes}"
        return shutil.copytree(self.template, home)

    def forged(self, name):
        bundle = forging.Bundle(self.true)
        self.lies[name][0](bundle)
        return bundle.content()

    def put(self, stick, number, content):
        sealed = sign_and_seal(content, self.signer, [self.card.seal])
        (stick / f"x_{number:06d}.cbundle").write_bytes(sealed)

    def row(self, content, reason="person"):
        """A bundle that waits already, as a program without the gate let it in."""
        return {
            "item_id": str(uuid.uuid4()), "reason": reason,
            "fingerprint": keys.fingerprint(self.public), "number": 1, "device": "T-B",
            "public_key": base64.b64encode(self.public).decode(), "person": PERSON,
            "sha256": hashlib.sha256(content).hexdigest(), "content": content,
            "arrived_utc": hand.SAID["at_utc"],
        }  # fmt: skip

    def unchanged(self, store):
        """Whether all is as it was, but for what waits."""
        now, before = hand.state(store), dict(self.before)
        return {**now, "quarantine": 0} == {**before, "quarantine": 0}


@contextlib.contextmanager
def waiting(store, row):
    """Let a bundle wait meanwhile."""
    table = schema.quarantine
    with store._writing() as connection:
        connection.execute(insert(table).values(**row))
    yield
    with store._writing() as connection:
        connection.execute(table.delete().where(table.c.item_id == row["item_id"]))


@contextlib.contextmanager
def one_time():
    """Let every command be asked at one time, so that what it writes can be compared."""
    with pytest.MonkeyPatch.context() as patch:
        for name in TOLD_THE_TIME:
            module = importlib.import_module(f"battery.commands.{name}")
            patch.setattr(module, "now", hand.wall)
        yield


def ask(*words, home):
    """What a command says: its exit status and its text, an error of ours as the program does.

    Anything else that goes wrong comes up here.
    """
    done = CliRunner().invoke(app, [*words, "--home", str(home)])
    if isinstance(done.exception, BatteryError):
        return done.exception.exit_status, f"{done.output}battery: {done.exception}\n"
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.output


def answer(name, home, out):
    """Exit status, text and files of one of the commands, as far as no lie may touch them.

    It is asked of a copy, as some commands keep that they were asked.
    """
    out.mkdir()
    copy = shutil.copytree(home, out / "home")
    status, text = ask(*(word.format(out) for word in COMMANDS[name]), home=copy)
    shutil.rmtree(copy)
    files = {
        path.relative_to(out).as_posix(): b"" if name in NEVER_TWICE_THE_SAME
        else path.read_bytes()
        for path in sorted(out.rglob("*"))
        if path.is_file()
    }  # fmt: skip
    shutil.rmtree(out)
    return status, _WAITING.sub("", text).replace(str(out), "OUT"), files
