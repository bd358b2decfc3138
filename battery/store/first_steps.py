"""The tables of the first stores: every later step in `migrations` builds on them."""

from __future__ import annotations

from sqlalchemy import Connection

_FIRST_TABLES = """
CREATE TABLE migrations (
    number INTEGER NOT NULL PRIMARY KEY, name TEXT NOT NULL, applied_utc TEXT NOT NULL
);
CREATE TABLE settings (name TEXT NOT NULL PRIMARY KEY, json TEXT NOT NULL);
CREATE TABLE people (
    code TEXT NOT NULL PRIMARY KEY,
    dominant_hand TEXT NOT NULL, affected_side TEXT NOT NULL, first_hand TEXT NOT NULL,
    enrolled_utc TEXT NOT NULL,
    n_familiarisation INTEGER NOT NULL, n_baseline INTEGER NOT NULL
);
CREATE TABLE consents (
    consent_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    form_version TEXT NOT NULL, decision TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_consents_person ON consents (person);
CREATE TABLE devices (alias TEXT NOT NULL PRIMARY KEY, json TEXT NOT NULL);
CREATE TABLE plans (plan_hash TEXT NOT NULL PRIMARY KEY, json TEXT NOT NULL);
CREATE TABLE visits (
    visit_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    sequence INTEGER NOT NULL,
    plan_hash TEXT NOT NULL REFERENCES plans (plan_hash),
    device TEXT NOT NULL REFERENCES devices (alias),
    started_utc TEXT NOT NULL, ending TEXT, header_json TEXT NOT NULL,
    UNIQUE (person, sequence)
);
CREATE INDEX ix_visits_person ON visits (person);
CREATE INDEX ix_visits_plan_hash ON visits (plan_hash);
CREATE INDEX ix_visits_device ON visits (device);
CREATE TABLE blocks (
    block_id TEXT NOT NULL PRIMARY KEY,
    visit_id TEXT NOT NULL REFERENCES visits (visit_id),
    number INTEGER NOT NULL,
    task TEXT NOT NULL, hand TEXT NOT NULL, phase TEXT NOT NULL,
    layout_hash TEXT NOT NULL, header_json TEXT NOT NULL,
    ending TEXT, reason TEXT, ended_ns BIGINT, n_samples INTEGER, input_type TEXT,
    audit_json TEXT, sha256 TEXT,
    UNIQUE (visit_id, number)
);
CREATE INDEX ix_blocks_visit_id ON blocks (visit_id);
CREATE TABLE payloads (
    block_id TEXT NOT NULL PRIMARY KEY REFERENCES blocks (block_id),
    samples {bytes} NOT NULL, frames {bytes} NOT NULL, events {bytes} NOT NULL
);
CREATE TABLE chunks (
    block_id TEXT NOT NULL REFERENCES blocks (block_id),
    number INTEGER NOT NULL,
    samples {bytes} NOT NULL, frames {bytes} NOT NULL, events TEXT NOT NULL,
    PRIMARY KEY (block_id, number)
);
CREATE TABLE scores (
    block_id TEXT NOT NULL REFERENCES blocks (block_id),
    measure TEXT NOT NULL,
    value DOUBLE PRECISION, n INTEGER NOT NULL, low DOUBLE PRECISION, high DOUBLE PRECISION,
    reason TEXT NOT NULL, scoring_version INTEGER NOT NULL,
    PRIMARY KEY (block_id, measure)
);
CREATE TABLE amendments (
    amendment_id TEXT NOT NULL PRIMARY KEY,
    visit_id TEXT REFERENCES visits (visit_id),
    block_id TEXT REFERENCES blocks (block_id),
    field TEXT NOT NULL, old TEXT NOT NULL, new TEXT NOT NULL,
    author TEXT NOT NULL, reason TEXT NOT NULL, at_utc TEXT NOT NULL,
    CONSTRAINT one_target CHECK ((visit_id IS NULL) <> (block_id IS NULL))
);
CREATE INDEX ix_amendments_visit_id ON amendments (visit_id);
CREATE INDEX ix_amendments_block_id ON amendments (block_id);
CREATE TABLE markers (
    marker_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    kind TEXT NOT NULL, at_utc TEXT NOT NULL, note TEXT NOT NULL
);
CREATE INDEX ix_markers_person ON markers (person);
"""


def first_tables(connection: Connection) -> None:
    """Create every table of the first form."""
    run_script(connection, with_bytes(connection, _FIRST_TABLES))


_CONTEXT_TABLES = """
CREATE TABLE restarts (
    restart_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    visit_id TEXT REFERENCES visits (visit_id),
    author TEXT NOT NULL, reason TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_restarts_person ON restarts (person);
CREATE INDEX ix_restarts_visit_id ON restarts (visit_id);
CREATE TABLE outside_errors (
    error_id TEXT NOT NULL PRIMARY KEY,
    measure TEXT NOT NULL, sem DOUBLE PRECISION, n_people INTEGER NOT NULL,
    source TEXT NOT NULL, author TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE TABLE prescriptions (
    prescription_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    from_date TEXT NOT NULL, per_week DOUBLE PRECISION NOT NULL, note TEXT NOT NULL,
    author TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_prescriptions_person ON prescriptions (person);
CREATE TABLE goals (
    goal_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    goal TEXT NOT NULL, weight DOUBLE PRECISION NOT NULL,
    author TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_goals_person ON goals (person);
CREATE TABLE goal_levels (
    level_id TEXT NOT NULL PRIMARY KEY,
    goal_id TEXT NOT NULL REFERENCES goals (goal_id),
    level INTEGER NOT NULL, author TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_goal_levels_goal_id ON goal_levels (goal_id);
"""

_ASKED_TABLES = """
CREATE TABLE answers (
    answer_id TEXT NOT NULL PRIMARY KEY,
    visit_id TEXT NOT NULL REFERENCES visits (visit_id),
    number INTEGER NOT NULL,
    block_id TEXT REFERENCES blocks (block_id),
    moment TEXT NOT NULL, question TEXT NOT NULL, value TEXT NOT NULL, at_utc TEXT NOT NULL,
    UNIQUE (visit_id, number)
);
CREATE INDEX ix_answers_visit_id ON answers (visit_id);
CREATE INDEX ix_answers_block_id ON answers (block_id);
CREATE TABLE screen_checks (
    check_id TEXT NOT NULL PRIMARY KEY,
    device TEXT NOT NULL REFERENCES devices (alias),
    width_px INTEGER NOT NULL, height_px INTEGER NOT NULL,
    mm_per_px_x DOUBLE PRECISION NOT NULL, mm_per_px_y DOUBLE PRECISION NOT NULL,
    source TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_screen_checks_device ON screen_checks (device);
CREATE TABLE timing_checks (
    check_id TEXT NOT NULL PRIMARY KEY,
    device TEXT NOT NULL REFERENCES devices (alias),
    input_type TEXT NOT NULL, n_reports INTEGER NOT NULL,
    report_rate_hz DOUBLE PRECISION, longest_gap_ms DOUBLE PRECISION,
    wide_gaps DOUBLE PRECISION, frame_rate_hz DOUBLE PRECISION,
    slow_frames DOUBLE PRECISION, flip_p99_ms DOUBLE PRECISION,
    at_utc TEXT NOT NULL
);
CREATE INDEX ix_timing_checks_device ON timing_checks (device);
"""


_PRACTICE_TABLES = """
CREATE TABLE practice (
    practice_id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (code),
    kind TEXT NOT NULL, exercise TEXT NOT NULL, hand TEXT,
    minutes DOUBLE PRECISION, symptoms INTEGER,
    local_date TEXT NOT NULL, at_utc TEXT NOT NULL
);
CREATE INDEX ix_practice_person ON practice (person);
"""
_HAND_OVER_TABLES = """
CREATE TABLE bundles (
    number INTEGER NOT NULL PRIMARY KEY,
    file_name TEXT NOT NULL, file_sha256 TEXT NOT NULL, sha256 TEXT NOT NULL,
    person TEXT, visit_id TEXT, content_sha256 TEXT, beside_sha256 TEXT,
    made_utc TEXT NOT NULL, sent_utc TEXT, receipt_utc TEXT
);
CREATE TABLE tablets (
    fingerprint TEXT NOT NULL PRIMARY KEY,
    public_key TEXT NOT NULL, device TEXT NOT NULL, author TEXT NOT NULL,
    accepted_utc TEXT NOT NULL
);
CREATE TABLE received (
    fingerprint TEXT NOT NULL, number INTEGER NOT NULL, sha256 TEXT NOT NULL,
    replaces_json TEXT NOT NULL, previous_sha256 TEXT NOT NULL,
    person TEXT, visit_id TEXT, content_sha256 TEXT, received_utc TEXT NOT NULL,
    PRIMARY KEY (fingerprint, number, sha256)
);
CREATE TABLE quarantine (
    item_id TEXT NOT NULL PRIMARY KEY,
    reason TEXT NOT NULL, fingerprint TEXT NOT NULL, number INTEGER NOT NULL,
    device TEXT NOT NULL, public_key TEXT NOT NULL, person TEXT NOT NULL,
    visit_id TEXT, content_sha256 TEXT, sha256 TEXT NOT NULL, content {bytes} NOT NULL,
    arrived_utc TEXT NOT NULL, decision TEXT, author TEXT, why TEXT, decided_utc TEXT
);
CREATE TABLE tombstones (
    code TEXT NOT NULL PRIMARY KEY, author TEXT NOT NULL, erased_utc TEXT NOT NULL
);
"""


def second_tables(connection: Connection) -> None:
    """Add what is known around a person's visits, and practice between them."""
    run_script(connection, _CONTEXT_TABLES)
    run_script(connection, _PRACTICE_TABLES)
    run_script(connection, with_bytes(connection, _HAND_OVER_TABLES))
    run_script(connection, _ASKED_TABLES)


def with_bytes(connection: Connection, script: str) -> str:
    """Return a script with the type of bytes that this kind of database has."""
    return script.replace(
        "{bytes}", {"sqlite": "BLOB", "postgresql": "BYTEA"}[connection.dialect.name]
    )


def run_script(connection: Connection, script: str) -> None:
    """Run statements that end with a semicolon, one after another."""
    for statement in filter(None, map(str.strip, script.split(";"))):
        connection.exec_driver_sql(statement)
