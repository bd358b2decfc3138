"""A large clinic made of a small one: one person's visit copied to many people and weeks.

Rows are copied inside the database. Samples are copied, and sealed, of some people only: lists
and pools do not ask for them. What is copied does not verify: the hash of a block covers its
header, which names another visit, and blocks without samples have nothing to be hashed.
"""

import sqlite3
import uuid
from contextlib import closing, contextmanager
from datetime import datetime, timedelta
from random import Random

from battery.store.sealing import BLOBS, seal_of

SOURCE = "K7QF"
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
# No two values alike, as nobody's are; scores that are all equal are judged in no time.
UNLIKE = "value * (1 + ((own.place * 7919 + score.rowid * 104729) % 1009) / 5000.0)"
FAST = ("journal_mode = OFF", "synchronous = OFF", "cache_size = -400000", "temp_store = FILE")


def multiplied(home, n_people, n_visits=26, *, whole=()):
    """Copy one person's second visit to many people, a week apart; no two scores alike.

    Whose codes are in `whole` get samples too, so that their pages can be judged.
    """
    path = home / "battery.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as held:
        for fast in FAST:
            held.execute(f"PRAGMA {fast}").fetchall()
        held.row_factory = sqlite3.Row
        with uncounted(held):
            held.execute("BEGIN")
            copy(held, n_people, n_visits)
            for code in whole:
                put_samples(held, code)
            held.execute("COMMIT")
        held.execute("PRAGMA journal_mode = WAL").fetchall()


def copy(held, n_people, n_visits):
    visit = held.execute(
        "SELECT * FROM visits WHERE person = ? ORDER BY started_utc", (SOURCE,)
    ).fetchall()[1]
    number_own_ids(held, visit, n_people, n_visits)
    told = {
        "source": SOURCE, "visit": visit["visit_id"], "started": visit["started_utc"],
        "sequence": f'"sequence": {visit["sequence"]}',
    }  # fmt: skip
    own = (
        (":source", "own.code"), (":visit", "own.visit_id"), (":started", "own.started"),
        (":sequence", """'"sequence": ' || own.sequence"""),
    )  # fmt: skip
    insert(
        held, "people", told, "new_people AS own, people AS old WHERE old.code = :source",
        code="own.code",
    )  # fmt: skip
    insert(
        held, "visits", told, "new_visits AS own, visits AS old WHERE old.visit_id = :visit",
        visit_id="own.visit_id", person="own.code", sequence="own.sequence",
        started_utc="own.started", header_json=replaced("old.header_json", own),
    )  # fmt: skip
    insert(
        held, "blocks", told,
        "new_blocks AS own, blocks AS old WHERE old.block_id = own.source "
        "ORDER BY own.block_id",
        block_id="own.block_id", visit_id="own.visit_id",
        header_json=replaced("old.header_json", (*own, ("own.source", "own.block_id"))),
    )  # fmt: skip
    insert(
        held, "answers", told,
        "new_visits AS own, answers AS old WHERE old.visit_id = :visit",
        answer_id="own_id()", visit_id="own.visit_id", block_id=(
            "(SELECT block_id FROM new_blocks AS b WHERE b.visit_id = own.visit_id "
            "AND b.source = old.block_id)"
        ),
    )  # fmt: skip
    held.execute(
        f"""INSERT INTO scores SELECT own.block_id, score.measure, {UNLIKE}, score.n, score.low,
        score.high, score.reason, score.scoring_version FROM new_blocks AS own
        CROSS JOIN scores AS score ON score.block_id = own.source ORDER BY own.block_id"""
    )


def number_own_ids(held, visit, n_people, n_visits):
    """Make tables of who and what is new, with identifiers drawn as real ones are."""
    drawn = Random(visit["visit_id"])

    def own_id():
        return str(uuid.UUID(int=drawn.getrandbits(128), version=4))

    held.create_function("own_id", 0, own_id)
    started = datetime.fromisoformat(visit["started_utc"])
    blocks = [
        row["block_id"]
        for row in held.execute(
            "SELECT block_id FROM blocks WHERE visit_id = ?", (visit["visit_id"],)
        )
    ]
    held.execute("CREATE TEMP TABLE new_people (code)")
    held.execute("CREATE TEMP TABLE new_visits (visit_id, code, sequence, started)")
    held.execute(
        "CREATE TEMP TABLE new_blocks "
        "(block_id PRIMARY KEY, source, place, visit_id, code, sequence, started)"
    )
    for n in range(n_people):
        code = LETTERS[n // 576] + LETTERS[n // 24 % 24] + LETTERS[n % 24] + "9"
        held.execute("INSERT INTO new_people VALUES (?)", (code,))
        for week in range(n_visits):
            own = (own_id(), code, week + 1, (started + timedelta(weeks=week)).isoformat())
            held.execute("INSERT INTO new_visits VALUES (?, ?, ?, ?)", own)
            held.executemany(
                "INSERT INTO new_blocks VALUES (?, ?, ?, ?, ?, ?, ?)",
                [(own_id(), block, n * n_visits + week, *own) for block in blocks],
            )
    held.execute("CREATE INDEX temp.of_visits ON new_blocks (visit_id)")


def replaced(text, pairs):
    """Return the expression of a text with some words in place of others."""
    for old, new in pairs:
        text = f"replace({text}, {old}, {new})"
    return text


def insert(held, table, told, source, **own):
    """Copy rows of a table, with some columns told anew."""
    columns = [row["name"] for row in held.execute(f"PRAGMA table_info({table})")]
    values = ", ".join(own.get(name, f"old.{name}") for name in columns)
    held.execute(
        f"INSERT INTO {table} ({', '.join(columns)}) SELECT {values} FROM {source}", told
    )


def put_samples(held, code):
    """Copy the samples of a person's blocks, each under the seal of its copy."""
    query = "SELECT source, block_id FROM new_blocks WHERE code = ?"
    for source, block_id in held.execute(query, (code,)).fetchall():
        blobs = held.execute("SELECT * FROM payloads WHERE block_id = ?", (source,)).fetchone()
        row = held.execute("SELECT * FROM blocks WHERE block_id = ?", (block_id,)).fetchone()
        told = {**blobs, "block_id": block_id}
        told["seal"] = seal_of({**row, **{name: blobs[name] for name in BLOBS}})
        marks = ", ".join("?" * len(told))
        held.execute(
            f"INSERT INTO payloads ({', '.join(told)}) VALUES ({marks})", tuple(told.values())
        )


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
