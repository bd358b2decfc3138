"""Make the store that later versions of the program must still read.

Run once for each version of the store, before the next step is added to the migrations:
``python -m tests.data.make_store``. It writes ``store_v<N>.sqlite`` and, beside it, what the
program of that version reads from it. Neither file is changed afterwards. Origin: simulated,
no person.
"""

import json
import random
import sqlite3
import tempfile
from contextlib import closing
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from battery.plan import Plan, PlannedTask
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import Person, Store
from battery.store.migrations import STEPS
from battery.store.opening import FILE_NAME
from battery.visits import begin_visit
from tests import clinic

FOLDER = Path(__file__).parent
PLAN = Plan(
    name="old",
    hands="left",
    rest_s=0,
    tasks=(
        PlannedTask(task="tapping", options={"duration_s": 6.0}),
        PlannedTask(task="slide", options={"duration_s": 6.0}),
        PlannedTask(task="pursuit", options={"predictable_s": 4.0, "unpredictable_s": 0.0}),
        PlannedTask(task="trail", options={"kinds": ("numbers",), "n_nodes": 5}),
    ),
)


def told_by(store):
    """Everything the calls of the store tell, as plain values that JSON can hold."""
    visits = []
    for visit in store.visits.all():
        blocks = []
        for record in store.records.of_visit(visit.header.visit_id):
            told = plain(record)
            if record.ending is not None:
                block = store.records.load(record.header.block_id)
                told |= {
                    "recomputed_sha256": block.sha256,
                    "frames": len(block.frames),
                    "events": len(block.events),
                    "last_sample": repr(block.samples[-1:].tolist()),
                    "ended_ns": block.ended_ns,
                }
            blocks.append(told)
        visits.append(plain(visit) | {"blocks": blocks})
    return {
        "people": [plain(p) for p in store.people.all()],
        "devices": [plain(d) for d in store.setup.devices()],
        "plans": store.setup.plans(),
        "visits": visits,
        "scores": [plain(s) for s in store.scores.all()],
        "amendments": [plain(a) for a in store.annotations.amendments()],
        "markers": [plain(m) for m in store.annotations.markers()],
        "consents": [plain(c) for c in store.people.consents()],
        "setting": store.setup.setting("emergency_number"),
        "withdrawn": sorted(store.people.withdrawn()),
    }


def plain(record):
    """Fields by name; nan is None, since nan is not equal to itself."""
    values = record._asdict() if isinstance(record, tuple) else asdict(record)
    return json.loads(json.dumps(values, default=asdict).replace("NaN", "null"))


def fill(store):
    """Record a visit of every task, one cut off, and say something of every kind."""
    moment = datetime(2026, 1, 5, 9, 30, tzinfo=UTC)
    store.people.add(Person("K7QF", "right", "left", "left", "2026-01-01T00:00:00+00:00"))
    store.people.add(Person("M4WX", "left", "both", "left", "2026-01-02T00:00:00+00:00", 1, 3))
    run = begin_visit(
        store, store.people.get("K7QF"), PLAN, clinic.OTHER_TABLET, wall=lambda: moment,
        random_source=random.Random(1), origin="simulated",
    )  # fmt: skip
    for planned in list(run.todo):
        run.run(planned, Simulated(Truth(), seed=1))
    clinic.cut_off(store, run.header)
    run.end()
    first = store.records.of_visit(run.header.visit_id)[0].header
    said = {"author": "therapist", "reason": "asked again", "at_utc": moment.isoformat()}
    store.annotations.amend("block", first.block_id, "hand", "right", **said)
    store.annotations.amend("visit", run.header.visit_id, "note", "calm", **said)
    store.annotations.add_marker(
        "K7QF", "medication", at_utc=moment.isoformat(), note="evening"
    )
    store.people.record_consent("M4WX", form_version="2", decision="withdrawn",
                         at_utc=moment.isoformat())  # fmt: skip
    store.setup.put_setting("emergency_number", "112")


def main():
    name = f"store_v{len(STEPS)}"
    with tempfile.TemporaryDirectory() as folder:
        with Store.open(folder) as store:
            fill(store)
            told = told_by(store)
        with closing(sqlite3.connect(Path(folder) / FILE_NAME)) as connection:
            connection.execute("VACUUM INTO ?", (str(FOLDER / f"{name}.sqlite"),))
    text = json.dumps(told, indent=1, sort_keys=True) + "\n"
    (FOLDER / f"{name}.json").write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
