"""Steps that bring a store to the present form, each named and never edited again.

All that are missing share one transaction with their lines in the table of migrations, so a
store is always in the form that its table says. Steps spell out their SQL: `schema` may
change, history may not.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from datetime import UTC, datetime

from sqlalchemy import Connection, Engine, inspect, select, text

from battery.errors import StoreError
from battery.store import schema
from battery.store.first_steps import first_tables, run_script, second_tables, with_bytes

Step = Callable[[Connection], None]

# One key for every program that migrates the same PostgreSQL database.
MIGRATION_KEY = 0x_C00D_0001

_WATCH_TABLES = """
CREATE TABLE alarm_acknowledgements (
    acknowledgement_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    alarm TEXT NOT NULL, note TEXT NOT NULL, author TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_alarm_acknowledgements_person ON alarm_acknowledgements (person);
CREATE TABLE person_states (
    state_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    state TEXT NOT NULL, from_date TEXT NOT NULL, reason TEXT NOT NULL,
    author TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_person_states_person ON person_states (person);
CREATE TABLE contraindications (
    entry_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    item TEXT NOT NULL, answer TEXT NOT NULL, author TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_contraindications_person ON contraindications (person);
CREATE TABLE taken_back (
    taken_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    kind TEXT NOT NULL, target_id TEXT NOT NULL, reason TEXT NOT NULL,
    author TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_taken_back_person ON taken_back (person);
"""

_LOOP_TABLES = """
CREATE TABLE loop_checks (
    check_id TEXT NOT NULL PRIMARY KEY,
    device TEXT NOT NULL REFERENCES devices (alias),
    edge TEXT NOT NULL, n_read INTEGER NOT NULL,
    mean_ms DOUBLE PRECISION NOT NULL, sd_ms DOUBLE PRECISION NOT NULL,
    low_ms DOUBLE PRECISION NOT NULL, high_ms DOUBLE PRECISION NOT NULL,
    program_ms DOUBLE PRECISION, camera_hz DOUBLE PRECISION NOT NULL,
    frames TEXT NOT NULL, method TEXT NOT NULL, reader TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_loop_checks_device ON loop_checks (device);
"""

_PERSON_PLAN_TABLES = """
CREATE TABLE person_plans (
    entry_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    plan_name TEXT NOT NULL, plan_hash TEXT NOT NULL, plan_json TEXT NOT NULL,
    source TEXT NOT NULL, source_sha256 TEXT, follows TEXT NOT NULL,
    author TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_person_plans_person ON person_plans (person);
"""

_HOME_PLAN_TABLES = """
CREATE TABLE home_plans (
    entry_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    version_id TEXT NOT NULL, from_date TEXT NOT NULL,
    exercise TEXT NOT NULL, hand TEXT, minutes DOUBLE PRECISION, times_a_day INTEGER,
    weekdays TEXT NOT NULL, target TEXT, weight_g INTEGER, at_times TEXT NOT NULL,
    author TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_home_plans_person ON home_plans (person);
"""


_PICTURES = ("house", "boat", "tree", "cup", "key", "star", "fish", "sun")


def pictures_of_people(connection: Connection) -> None:
    """Keep with everybody the picture that was theirs by their place in the list so far."""
    codes = connection.exec_driver_sql(
        "SELECT code FROM people ORDER BY enrolled_utc, code"
    ).scalars()
    for place, code in enumerate(list(codes)):
        picture = _PICTURES[place % len(_PICTURES)]
        connection.execute(
            text("INSERT INTO settings (name, json) VALUES (:name, :json)"),
            {"name": f"picture:{code}", "json": f'"{picture}"'},
        )


def watch_tables(connection: Connection) -> None:
    """Add who acknowledged an alarm, who is due no longer, what was asked and taken back."""
    run_script(connection, _WATCH_TABLES)


def sealed_payloads(connection: Connection) -> None:
    """Add a seal to what is stored of a block from now on; earlier blocks keep none."""
    run_script(connection, "ALTER TABLE payloads ADD COLUMN seal TEXT")


def scope_of_consent(connection: Connection) -> None:
    """Tell consent to research use from consent to care; all there was is to research use."""
    run_script(
        connection,
        "ALTER TABLE consents ADD COLUMN scope TEXT NOT NULL DEFAULT 'research'",
    )


def loop_tables(connection: Connection) -> None:
    """Add what was filmed of the delay from touch to light on a device."""
    run_script(connection, _LOOP_TABLES)


def plans_of_people(connection: Connection) -> None:
    """Let a plan belong to a person; who has none does the one that is named, as before."""
    run_script(connection, _PERSON_PLAN_TABLES)


_TRIAL_TABLES = """
CREATE TABLE trials (
    block_id TEXT NOT NULL PRIMARY KEY REFERENCES blocks (block_id),
    scoring_version INTEGER NOT NULL, packed {bytes} NOT NULL, sha256 TEXT NOT NULL
);
"""


def trials_of_blocks(connection: Connection) -> None:
    """Keep the rows of a block's trials beside its scores, so that no export computes them."""
    run_script(connection, with_bytes(connection, _TRIAL_TABLES))


def home_plans(connection: Connection) -> None:
    """Add what is agreed for home, and what is said around head turns."""
    run_script(connection, "ALTER TABLE practice ADD COLUMN symptoms_before INTEGER")
    run_script(connection, "ALTER TABLE practice ADD COLUMN clear_beats_per_min INTEGER")
    run_script(connection, _HOME_PLAN_TABLES)


_REVISION_TABLES = """
CREATE TABLE revisions (
    number {counted}, visit_id TEXT NOT NULL UNIQUE
);
INSERT INTO revisions (visit_id) SELECT visit_id FROM visits;
"""
# What a row of these tables says whose visit it is; `row` is the row.
_WHOSE = {
    "visits": "{row}.visit_id",
    "blocks": "{row}.visit_id",
    "answers": "{row}.visit_id",
    "scores": "(SELECT visit_id FROM blocks WHERE block_id = {row}.block_id)",
    "amendments": "coalesce({row}.visit_id, "
    "(SELECT visit_id FROM blocks WHERE block_id = {row}.block_id))",
}
# Not in place of the earlier row: in a trigger the way of the statement outside would hold.
_REVISED = """
    DELETE FROM revisions WHERE visit_id = {whose};
    INSERT INTO revisions (visit_id)
        SELECT visit_id FROM visits WHERE visit_id = {whose};
"""
_REVISED_ON_SERVER = """
    INSERT INTO revisions (visit_id) SELECT visit_id FROM visits WHERE visit_id = {whose}
        ON CONFLICT (visit_id) DO UPDATE SET number = nextval('revisions_number_seq');
"""
_ROWS = {"INSERT": ("NEW",), "UPDATE": ("OLD", "NEW"), "DELETE": ("OLD",)}


def revisions_of_visits(connection: Connection) -> None:
    """Keep the number of each visit's latest change, whatever program made it."""
    server = connection.dialect.name == "postgresql"
    counted = (
        "BIGSERIAL PRIMARY KEY" if server else "INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT"
    )
    run_script(connection, _REVISION_TABLES.replace("{counted}", counted))
    for table, whose in _WHOSE.items():
        for event, rows in _ROWS.items():
            revised = _REVISED_ON_SERVER if server else _REVISED
            does = "".join(revised.format(whose=whose.format(row=row)) for row in rows)
            if (table, event) == ("visits", "DELETE"):
                does = "DELETE FROM revisions WHERE visit_id = OLD.visit_id;"
            name = f"revised_by_{table}_{event.lower()}"
            when = f"CREATE TRIGGER {name} AFTER {event} ON {table} FOR EACH ROW"
            if server:
                connection.exec_driver_sql(
                    f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS "
                    f"$$ BEGIN {does} RETURN NULL; END $$"
                )
                connection.exec_driver_sql(f"{when} EXECUTE FUNCTION {name}()")
            else:
                connection.exec_driver_sql(f"{when} BEGIN {does} END")


_KEPT_TABLES = """
CREATE TABLE kept_readings (
    person TEXT NOT NULL REFERENCES people (code), kind TEXT NOT NULL,
    sign TEXT NOT NULL, packed {bytes} NOT NULL, sha256 TEXT NOT NULL,
    PRIMARY KEY (person, kind)
);
"""


def readings_of_people(connection: Connection) -> None:
    """Keep what was read of people, so that the next start need not read it again."""
    run_script(connection, with_bytes(connection, _KEPT_TABLES))


_COMFORT_TABLES = """
CREATE TABLE comforts (
    entry_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    name TEXT NOT NULL, value TEXT NOT NULL, author TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_comforts_person ON comforts (person);
"""
_COMFORT_ROW = text("INSERT INTO comforts VALUES (:id, :person, :name, :value, :author, :at)")
MAX_WORD = 80
NOT_KEPT = "not kept"  # who set it, in the days when nobody was asked


def comforts_of_people(connection: Connection) -> None:
    """Let what pages look and sound like for a person have author and time, and travel.

    What was set before is dated on the day of enrolment, so that all later words hold.
    """
    run_script(connection, _COMFORT_TABLES)
    held = connection.exec_driver_sql(
        "SELECT code, enrolled_utc, json FROM people JOIN settings ON name = 'comfort:' || code"
    ).all()
    for code, at_utc, told in held:
        try:
            values = json.loads(told)
        except ValueError:
            continue
        if not isinstance(values, dict):
            continue
        for key, value in values.items():
            if isinstance(value, str | int) and len(str(value)) <= MAX_WORD:
                word = str(value)
                if isinstance(value, bool):
                    word = "on" if value else "off"
                connection.execute(
                    _COMFORT_ROW,
                    {
                        "id": str(uuid.uuid4()), "person": code, "name": key, "value": word,
                        "author": NOT_KEPT, "at": at_utc,
                    },
                )  # fmt: skip
        name = f"comfort:{code}"
        connection.execute(text("DELETE FROM settings WHERE name = :name"), {"name": name})


STEPS: tuple[Step, ...] = (
    first_tables,
    second_tables,
    pictures_of_people,
    watch_tables,
    sealed_payloads,
    scope_of_consent,
    loop_tables,
    plans_of_people,
    trials_of_blocks,
    home_plans,
    revisions_of_visits,
    readings_of_people,
    comforts_of_people,
)


def version_of(connection: Connection, name: str) -> int:
    """Return the number of the last step a store has seen; 0 for an empty one.

    Raises
    ------
    StoreError
        If the store is newer than this program, or the database is something else.
    """
    tables = set(inspect(connection).get_table_names())
    if schema.migrations.name not in tables:
        ours = set(schema.metadata.tables)
        # A server's database may hold other tables beside ours; a file is ours or not.
        if tables and (connection.dialect.name == "sqlite" or tables & ours):
            msg = f"{name} is not a store of this program; it was not changed"
            raise StoreError(msg)
        return 0
    numbers = connection.execute(select(schema.migrations.c.number)).scalars().all()
    if not all(isinstance(number, int) for number in numbers):
        msg = f"{name} is damaged: its list of migrations cannot be read; restore a copy"
        raise StoreError(msg)
    version = max(numbers, default=0)
    if version > len(STEPS):
        msg = (
            f"{name} has store version {version}; this program reads up to {len(STEPS)}. "
            "Update the program; the store was not changed."
        )
        raise StoreError(msg)
    return version


def migrate(engine: Engine, name: str) -> None:
    """Apply the steps that are missing, all in one transaction with their bookkeeping."""
    with engine.connect() as connection:
        if version_of(connection, name) == len(STEPS):
            return
    with engine.begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({MIGRATION_KEY})")
        version = version_of(connection, name)  # another program may have been quicker
        at_utc = datetime.now(UTC).isoformat(timespec="seconds")
        for number, step in enumerate(STEPS[version:], start=version + 1):
            step(connection)
            line = {"number": number, "name": step.__name__, "applied_utc": at_utc}
            connection.execute(schema.migrations.insert().values(line))
