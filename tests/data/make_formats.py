"""Keep a tablet, its clinic, the stick between them and an export, as this program writes them.

Later programs must still read all of it. Run once, before the form of a record, a bundle, a
receipt, an export or a store changes: ``python -m tests.data.make_formats``. It writes the next
``formats/<NN>/`` and changes none that is there:

- ``clinic/``: the clinic's store and its keys. It has taken in the first of two visits.
- ``tablet/``: the tablet's store and its key. It has sent both visits and read no receipt yet.
- ``stick/``: bundles of both visits and of what is said beside them, and the clinic's receipt
  of those of the first week.
- ``export/``: the clinic's export.
- ``told.json``: what that program read from all of these, and which program it was.

The second visit waits on the stick, so that a later clinic receives what an earlier tablet
sent, and a later tablet reads a receipt of an earlier clinic. Keys, people and visits are made
up.
"""

import json
import random
import shutil
import sqlite3
import subprocess
import tempfile
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from battery.export import export_tidy, rescore_export, verify_export
from battery.export.on_disk.package import EXPORT_VERSION
from battery.handover import keys, receive, send
from battery.plan import Plan, PlannedTask
from battery.recording import RECORD_VERSION
from battery.scoring import SCORING_VERSION
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import Person, Store
from battery.store.migrations import STEPS
from battery.store.opening import FILE_NAME
from battery.verify import verify
from battery.visits import begin_visit
from tests import clinic
from tests.data.make_store import told_by

FOLDER = Path(__file__).parent / "formats"
PERSON = Person("K7QF", "right", "left", "right", "2026-01-01T00:00:00+00:00", 1, 2)
FIRST = datetime(2026, 1, 5, 9, 30, tzinfo=UTC)
PLAN = Plan(  # whole, and apart from other plans: its hash stands in what was kept
    name="kept",
    hands="right",
    rest_s=0,
    tasks=(
        PlannedTask(task="tapping", options={"duration_s": 14.0}, practice={"duration_s": 5.0}),
        PlannedTask(task="slide", options={"duration_s": 14.0}, practice={"duration_s": 5.0}),
        PlannedTask(
            task="pursuit",
            options={"predictable_s": 4.0, "unpredictable_s": 20.0},
            practice={"predictable_s": 4.0, "unpredictable_s": 0.0},
        ),
        PlannedTask(
            task="trail",
            options={"kinds": ("numbers", "alternating"), "n_nodes": 5},
            practice={"kinds": ("numbers",), "n_nodes": 5},
        ),
    ),
)


def do_visit(store, week):
    """Record a visit of every task, with what is asked around it."""
    started = FIRST + timedelta(weeks=week)
    run = begin_visit(
        store, PERSON, PLAN, clinic.OTHER_TABLET, wall=lambda: started,
        random_source=random.Random(week), origin="simulated",
    )  # fmt: skip
    run.answer("before", "medication", "2_to_4_h")
    for number, planned in enumerate(list(run.todo)):
        run.run(planned, Simulated(Truth(), seed=10 * week + number))
    run.end()


def fill(home):
    """Make tablet, clinic, stick and export in a folder; return what this program reads."""
    stick = home / "stick"
    stick.mkdir()
    with Store.open(home / "clinic") as desk, Store.open(home / "tablet") as tablet:
        mark = keys.make_clinic_keys(desk, stick)
        own = keys.make_tablet_keys(tablet, keys.found_cards(stick), [mark])
        public = keys.tablet_key(tablet).public_key().public_bytes_raw()
        for store in (desk, tablet):
            store.people.add(PERSON)
        at = FIRST.isoformat()
        desk.transfer.accept_tablet(own, keys._text(public), "T-B", author="AB", at_utc=at)
        for week in range(2):
            do_visit(tablet, week)
            wall = FIRST + timedelta(weeks=week, days=1)
            tablet.annotations.add_marker(
                "K7QF", "medication", at_utc=wall.isoformat(), note="evening"
            )
            send(tablet, stick, wall=lambda wall=wall: wall)
        late = sorted(stick.glob("*.cbundle"))[2:]  # not there yet when the clinic looked
        for path in late:
            path.rename(home / path.name)
        receive(desk, stick, wall=lambda: wall)
        for path in late:
            (home / path.name).rename(path)
        visit = desk.visits.all()[0].header
        desk.annotations.amend(
            "visit",
            visit.visit_id,
            "note",
            "calm",
            author="AB",
            reason="asked",
            at_utc=wall.isoformat(),
        )
        desk.people.record_consent("K7QF", form_version="1", decision="given", at_utc=at)
        export_tidy(desk, home / "export")
        return {
            "made_by": made_by(),
            "store_steps": len(STEPS),
            "record_version": RECORD_VERSION,
            "scoring_version": SCORING_VERSION,
            "export_version": EXPORT_VERSION,
            "clinic": told_by(desk),
            "tablet": told_by(tablet),
            "verified": [verify(desk).summary(), verify(tablet).summary()],
            "export_verified": verify_export(home / "export").summary(),
            "export_rescored": rescore_export(home / "export").summary(),
        }


def made_by():
    """Name the program: its commit, and when that was made."""
    words = ["git", "log", "-1", "--format=%h %as"]
    return subprocess.run(words, capture_output=True, text=True, check=True).stdout.strip()


def shrink(home):
    """Bring each store into one small file, without what only a running program needs."""
    for part in ("clinic", "tablet"):
        path = home / part / FILE_NAME
        whole = home / part / "whole.sqlite"
        with closing(sqlite3.connect(path)) as connection:
            connection.execute("VACUUM INTO ?", (str(whole),))
        for left in path.parent.glob("*"):
            if left != whole and left.is_file():
                left.unlink()
        whole.rename(path)


def main():
    number = 1 + max((int(p.name) for p in FOLDER.glob("[0-9][0-9]")), default=0)
    with tempfile.TemporaryDirectory() as made:
        home = Path(made)
        told = fill(home)
        shrink(home)
        text = json.dumps(told, indent=1, sort_keys=True) + "\n"
        (home / "told.json").write_text(text, encoding="utf-8", newline="\n")
        shutil.copytree(home, FOLDER / f"{number:02d}")


if __name__ == "__main__":
    main()
