"""A large clinic made of a small one: one person's visit copied to many people and weeks.

Samples are copied, and sealed, of some people only: lists and pools do not ask for them.
"""

import sqlite3
import uuid
from contextlib import contextmanager
from datetime import datetime, timedelta

from battery.store.sealing import BLOBS, seal_of

SOURCE = "K7QF"
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
# No two values alike, as nobody's are; scores that are all equal are judged in no time.
UNLIKE = "UPDATE scores SET value = value * (1 + (rowid * 7919 % 101) / 500.0)"


def multiplied(home, n_people, n_visits=26, *, whole=()):
    """Copy one person's second visit to many people, a week apart; no two scores alike.

    Whose codes are in `whole` get samples too, so that their pages can be judged.
    """
    with sqlite3.connect(home / "battery.sqlite") as held, uncounted(held):
        held.row_factory = sqlite3.Row
        visit = held.execute(
            "SELECT * FROM visits WHERE person = ? ORDER BY started_utc", (SOURCE,)
        ).fetchall()[1]
        beside = {
            table: held.execute(
                f"SELECT * FROM {table} WHERE visit_id = ?", (visit["visit_id"],)
            ).fetchall()
            for table in ("blocks", "answers")
        }
        person = held.execute("SELECT * FROM people WHERE code = ?", (SOURCE,)).fetchone()
        for n in range(n_people):
            code = LETTERS[n // 576] + LETTERS[n // 24 % 24] + LETTERS[n % 24] + "9"
            put(held, "people", person, {SOURCE: code})
            for week in range(n_visits):
                started = datetime.fromisoformat(visit["started_utc"])
                changes = {
                    SOURCE: code,
                    visit["visit_id"]: str(uuid.uuid4()),
                    visit["started_utc"]: (started + timedelta(weeks=week)).isoformat(),
                }
                changes[f'"sequence": {visit["sequence"]}'] = f'"sequence": {week + 1}'
                put(held, "visits", {**visit, "sequence": week + 1}, changes)
                for block in beside["blocks"]:
                    own = str(uuid.uuid4())
                    put(held, "blocks", block, {**changes, block["block_id"]: own})
                    held.execute(
                        "INSERT INTO scores SELECT ?, measure, value, n, low, high, reason, "
                        "scoring_version FROM scores WHERE block_id = ?",
                        (own, block["block_id"]),
                    )
                    if code in whole:
                        put_samples(held, block["block_id"], own)
                for answer in beside["answers"]:
                    put(held, "answers", {**answer, "answer_id": str(uuid.uuid4())}, changes)
        held.execute(UNLIKE)
    held.close()


def put_samples(held, source, block_id):
    """Copy the samples of a block under the seal of its copy."""
    blobs = held.execute("SELECT * FROM payloads WHERE block_id = ?", (source,)).fetchone()
    row = held.execute("SELECT * FROM blocks WHERE block_id = ?", (block_id,)).fetchone()
    seal = seal_of({**row, **{name: blobs[name] for name in BLOBS}})
    put(held, "payloads", {**blobs, "block_id": block_id, "seal": seal}, {})


@contextmanager
def uncounted(held):
    """Count the changes of all visits at the end, once, in place of row by row."""
    triggers = held.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    kept = triggers.fetchall()
    for name, _ in kept:
        held.execute(f"DROP TRIGGER {name}")
    yield
    held.execute("DELETE FROM revisions")
    held.execute("INSERT INTO revisions (visit_id) SELECT visit_id FROM visits")
    for _, statement in kept:
        held.execute(statement)


def put(held, table, row, changes):
    """Write a row again with some words changed, wherever they stand in it."""
    told = dict(row)
    for name, value in told.items():
        if isinstance(value, str):
            for old, new in changes.items():
                value = value.replace(old, new)
            told[name] = value
    marks = ", ".join("?" * len(told))
    held.execute(
        f"INSERT INTO {table} ({', '.join(told)}) VALUES ({marks})", tuple(told.values())
    )
