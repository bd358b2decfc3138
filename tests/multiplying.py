"""A large clinic made of a small one: one person's visit copied to many people and weeks.

Seals of copies do not hold, which lists and pools do not ask for.
"""

import sqlite3
import uuid
from datetime import datetime, timedelta

SOURCE = "K7QF"
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


def multiplied(home, n_people, n_visits=26):
    """Copy the rows of one person's second visit to many people, a week apart."""
    with sqlite3.connect(home / "battery.sqlite") as held:
        held.row_factory = sqlite3.Row
        visit = held.execute(
            "SELECT * FROM visits WHERE person = ? ORDER BY started_utc", (SOURCE,)
        ).fetchall()[1]
        blocks = held.execute(
            "SELECT * FROM blocks WHERE visit_id = ?", (visit["visit_id"],)
        ).fetchall()
        scores = {
            b["block_id"]: held.execute(
                "SELECT * FROM scores WHERE block_id = ?", (b["block_id"],)
            ).fetchall()
            for b in blocks
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
                for block in blocks:
                    own = {**changes, block["block_id"]: str(uuid.uuid4())}
                    put(held, "blocks", block, own)
                    for score in scores[block["block_id"]]:
                        put(held, "scores", score, own)
    held.close()


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
