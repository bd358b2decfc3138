"""The tables as they are now. The same on SQLite and PostgreSQL; structures are JSON text.

Raw records (`blocks`, `payloads`) are written once. Scores, amendments and markers lie beside
them. How a store comes to have these tables stands in `migrations`; a test holds the two equal.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Double,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)


def _reference(name: str, target: str, *, optional: bool = False) -> Column[str]:
    return Column(name, Text, ForeignKey(target), nullable=optional, index=True)


metadata = MetaData()

migrations = Table(
    "migrations",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    Column("applied_utc", Text, nullable=False),
)
settings = Table(
    "settings",
    metadata,
    Column("name", Text, primary_key=True),
    Column("json", Text, nullable=False),
)
people = Table(
    "people",
    metadata,
    Column("code", Text, primary_key=True),
    Column("dominant_hand", Text, nullable=False),
    Column("affected_side", Text, nullable=False),
    Column("first_hand", Text, nullable=False),
    Column("enrolled_utc", Text, nullable=False),
    Column("n_familiarisation", Integer, nullable=False),
    Column("n_baseline", Integer, nullable=False),
)
consents = Table(
    "consents",
    metadata,
    Column("consent_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("form_version", Text, nullable=False),
    Column("decision", Text, nullable=False),  # given, withdrawn
    Column("at_utc", Text, nullable=False),
    # care: record and page; research: export. Until there were two it was research.
    Column("scope", Text, nullable=False, server_default="research"),
)
devices = Table(
    "devices",
    metadata,
    Column("alias", Text, primary_key=True),
    Column("json", Text, nullable=False),
)
plans = Table(
    "plans",
    metadata,
    Column("plan_hash", Text, primary_key=True),
    Column("json", Text, nullable=False),
)
visits = Table(
    "visits",
    metadata,
    Column("visit_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("sequence", Integer, nullable=False),
    _reference("plan_hash", "plans.plan_hash"),
    _reference("device", "devices.alias"),
    Column("started_utc", Text, nullable=False),
    Column("ending", Text),  # null while the visit is open
    Column("header_json", Text, nullable=False),
    UniqueConstraint("person", "sequence"),
)
blocks = Table(
    "blocks",
    metadata,
    Column("block_id", Text, primary_key=True),
    _reference("visit_id", "visits.visit_id"),
    Column("number", Integer, nullable=False),
    Column("task", Text, nullable=False),
    Column("hand", Text, nullable=False),
    Column("phase", Text, nullable=False),
    Column("layout_hash", Text, nullable=False),
    Column("header_json", Text, nullable=False),
    Column("ending", Text),  # null while the block runs, as all that follows
    Column("reason", Text),
    Column("ended_ns", BigInteger),
    Column("n_samples", Integer),
    Column("input_type", Text),
    Column("audit_json", Text),
    Column("sha256", Text),
    UniqueConstraint("visit_id", "number"),
)
payloads = Table(
    "payloads",
    metadata,
    Column("block_id", Text, ForeignKey("blocks.block_id"), primary_key=True),
    Column("samples", LargeBinary, nullable=False),  # Parquet
    Column("frames", LargeBinary, nullable=False),  # Parquet
    Column("events", LargeBinary, nullable=False),  # Parquet
    Column("seal", Text),  # null where a program without seals stored it; see `sealing`
)
chunks = Table(
    "chunks",
    metadata,
    Column("block_id", Text, ForeignKey("blocks.block_id"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("samples", LargeBinary, nullable=False),  # raw rows of SAMPLE_DTYPE
    Column("frames", LargeBinary, nullable=False),  # raw rows of FRAME_DTYPE
    Column("events", Text, nullable=False),  # JSON
)
scores = Table(
    "scores",
    metadata,
    Column("block_id", Text, ForeignKey("blocks.block_id"), primary_key=True),
    Column("measure", Text, primary_key=True),
    Column("value", Double),  # null is missing; then a reason stands beside it
    Column("n", Integer, nullable=False),
    Column("low", Double),
    Column("high", Double),
    Column("reason", Text, nullable=False),
    Column("scoring_version", Integer, nullable=False),
)
trials = Table(
    "trials",
    metadata,
    Column("block_id", Text, ForeignKey("blocks.block_id"), primary_key=True),
    Column("scoring_version", Integer, nullable=False),
    Column("packed", LargeBinary, nullable=False),  # zlib, JSON rows
    Column("sha256", Text, nullable=False),  # of block, version and rows
)
amendments = Table(
    "amendments",
    metadata,
    Column("amendment_id", Text, primary_key=True),
    _reference("visit_id", "visits.visit_id", optional=True),
    _reference("block_id", "blocks.block_id", optional=True),
    Column("field", Text, nullable=False),
    Column("old", Text, nullable=False),
    Column("new", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
    CheckConstraint("(visit_id IS NULL) <> (block_id IS NULL)", name="one_target"),
)
markers = Table(
    "markers",
    metadata,
    Column("marker_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("kind", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
    Column("note", Text, nullable=False),
)
restarts = Table(
    "restarts",
    metadata,
    Column("restart_id", Text, primary_key=True),
    _reference("person", "people.code"),
    # The first visit of the new baseline; null goes back to the baseline after enrolment.
    _reference("visit_id", "visits.visit_id", optional=True),
    Column("author", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
outside_errors = Table(
    "outside_errors",
    metadata,
    Column("error_id", Text, primary_key=True),
    Column("measure", Text, nullable=False),
    Column("sem", Double),  # on the scale of comparison; null takes an earlier one back
    Column("n_people", Integer, nullable=False),
    Column("source", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
prescriptions = Table(
    "prescriptions",
    metadata,
    Column("prescription_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("from_date", Text, nullable=False),
    Column("per_week", Double, nullable=False),  # times a week; 0 is a pause
    Column("note", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
goals = Table(
    "goals",
    metadata,
    Column("goal_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("goal", Text, nullable=False),
    Column("weight", Double, nullable=False),
    Column("author", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
goal_levels = Table(
    "goal_levels",
    metadata,
    Column("level_id", Text, primary_key=True),
    _reference("goal_id", "goals.goal_id"),
    Column("level", Integer, nullable=False),  # -2 to 2; 0 is what was hoped for
    Column("author", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
practice = Table(
    "practice",
    metadata,
    Column("practice_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("kind", Text, nullable=False),  # reported, seen
    Column("exercise", Text, nullable=False),
    Column("hand", Text),
    Column("minutes", Double),  # null when it was not said
    Column("symptoms", Integer),  # 0 none to 3 strong; null when not asked
    Column("local_date", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
    Column("symptoms_before", Integer),  # as `symptoms`; null when not asked
    Column("clear_beats_per_min", Integer),  # 0 none stayed clear; null when not asked
)
home_plans = Table(
    "home_plans",
    metadata,
    Column("entry_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("version_id", Text, nullable=False),  # all entries that were set together
    Column("from_date", Text, nullable=False),
    Column("exercise", Text, nullable=False),  # none: nothing is agreed any more
    Column("hand", Text),
    Column("minutes", Double),  # with each arm
    Column("times_a_day", Integer),
    Column("weekdays", Text, nullable=False),  # 1 Monday to 7 Sunday, with blanks between
    Column("target", Text),  # near, wall
    Column("weight_g", Integer),  # at the wrist
    Column("at_times", Text, nullable=False),  # hours and minutes, with blanks between
    Column("author", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
# What a tablet has handed over, and what a clinic has been handed.
bundles = Table(
    "bundles",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),  # from 1, never again
    Column("file_name", Text, nullable=False),
    Column("file_sha256", Text, nullable=False),
    Column("sha256", Text, nullable=False),  # of what was signed
    Column("person", Text),
    Column("visit_id", Text),  # null where only what lies beside visits was sent
    Column("content_sha256", Text),
    Column("beside_sha256", Text),
    Column("made_utc", Text, nullable=False),
    Column("sent_utc", Text),  # null until it was read back from its folder
    Column("receipt_utc", Text),  # null until the clinic's signed receipt was read
)
tablets = Table(
    "tablets",
    metadata,
    Column("fingerprint", Text, primary_key=True),
    Column("public_key", Text, nullable=False),
    Column("device", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("accepted_utc", Text, nullable=False),
)
received = Table(
    "received",
    metadata,
    Column("fingerprint", Text, primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("sha256", Text, primary_key=True),
    Column("replaces_json", Text, nullable=False),  # numbers that will not come any more
    Column("previous_sha256", Text, nullable=False),
    Column("person", Text),
    Column("visit_id", Text),
    Column("content_sha256", Text),
    Column("received_utc", Text, nullable=False),
)
quarantine = Table(
    "quarantine",
    metadata,
    Column("item_id", Text, primary_key=True),
    Column("reason", Text, nullable=False),  # conflict, device, person, false
    Column("fingerprint", Text, nullable=False),
    Column("number", Integer, nullable=False),
    Column("device", Text, nullable=False),
    Column("public_key", Text, nullable=False),
    Column("person", Text, nullable=False),
    Column("visit_id", Text),
    Column("content_sha256", Text),
    Column("sha256", Text, nullable=False),
    Column("content", LargeBinary, nullable=False),
    Column("arrived_utc", Text, nullable=False),
    Column("decision", Text),  # taken, left out; null while it waits
    Column("author", Text),
    Column("why", Text),
    Column("decided_utc", Text),
)
tombstones = Table(
    "tombstones",
    metadata,
    Column("code", Text, primary_key=True),
    Column("author", Text, nullable=False),
    Column("erased_utc", Text, nullable=False),
)
answers = Table(
    "answers",
    metadata,
    Column("answer_id", Text, primary_key=True),
    _reference("visit_id", "visits.visit_id"),
    Column("number", Integer, nullable=False),  # place in the visit, from 0
    _reference("block_id", "blocks.block_id", optional=True),
    Column("moment", Text, nullable=False),  # before, block, stop, after
    Column("question", Text, nullable=False),
    Column("value", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
    UniqueConstraint("visit_id", "number"),
)
screen_checks = Table(
    "screen_checks",
    metadata,
    Column("check_id", Text, primary_key=True),
    _reference("device", "devices.alias"),
    Column("width_px", Integer, nullable=False),
    Column("height_px", Integer, nullable=False),
    Column("mm_per_px_x", Double, nullable=False),
    Column("mm_per_px_y", Double, nullable=False),
    Column("source", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
timing_checks = Table(
    "timing_checks",
    metadata,
    Column("check_id", Text, primary_key=True),
    _reference("device", "devices.alias"),
    Column("input_type", Text, nullable=False),
    Column("n_reports", Integer, nullable=False),
    Column("report_rate_hz", Double),  # null, as those below, where there was too little
    Column("longest_gap_ms", Double),
    Column("wide_gaps", Double),
    Column("frame_rate_hz", Double),
    Column("slow_frames", Double),
    Column("flip_p99_ms", Double),
    Column("at_utc", Text, nullable=False),
)
loop_checks = Table(
    "loop_checks",
    metadata,
    Column("check_id", Text, primary_key=True),
    _reference("device", "devices.alias"),
    Column("edge", Text, nullable=False),  # touch, lift
    Column("n_read", Integer, nullable=False),
    Column("mean_ms", Double, nullable=False),
    Column("sd_ms", Double, nullable=False),
    Column("low_ms", Double, nullable=False),
    Column("high_ms", Double, nullable=False),
    Column("program_ms", Double),  # null where the program did not time itself
    Column("camera_hz", Double, nullable=False),
    Column("frames", Text, nullable=False),  # as they were read, one number each
    Column("method", Text, nullable=False),  # film
    Column("reader", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
person_plans = Table(
    "person_plans",
    metadata,
    Column("entry_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("plan_name", Text, nullable=False),
    Column("plan_hash", Text, nullable=False),
    Column("plan_json", Text, nullable=False),  # whole, so that it travels by itself
    Column("source", Text, nullable=False),  # a plan's name, or that of the file
    Column("source_sha256", Text),  # of the file; null where there was none
    Column("follows", Text, nullable=False),  # the entries in whose place it stands
    Column("author", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
comforts = Table(
    "comforts",
    metadata,
    Column("entry_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("name", Text, nullable=False),  # one thing that pages can look or sound like
    Column("value", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
# What must not be overlooked, and what was said about it.
alarm_acknowledgements = Table(
    "alarm_acknowledgements",
    metadata,
    Column("acknowledgement_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("alarm", Text, nullable=False),  # key of the alarm, see battery/alarms.py
    Column("note", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
person_states = Table(
    "person_states",
    metadata,
    Column("state_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("state", Text, nullable=False),  # active, paused, discharged
    Column("from_date", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
contraindications = Table(
    "contraindications",
    metadata,
    Column("entry_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("item", Text, nullable=False),
    Column("answer", Text, nullable=False),  # yes, no, unknown
    Column("author", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
taken_back = Table(
    "taken_back",
    metadata,
    Column("taken_id", Text, primary_key=True),
    _reference("person", "people.code"),
    Column("kind", Text, nullable=False),  # event, goal, rating
    Column("target_id", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
)
# The number of each visit's latest change, of its blocks, scores, answers and amendments; kept
# by the database itself, drawn from one row of numbers and never given twice.
revisions = Table(
    "revisions",
    metadata,
    Column("number", BigInteger, primary_key=True),
    Column("visit_id", Text, nullable=False, unique=True),
)
# What a program has read of people; follows from the records, never handed over or exported.
kept_readings = Table(
    "kept_readings",
    metadata,
    Column("person", Text, ForeignKey("people.code"), primary_key=True),
    Column("kind", Text, primary_key=True),  # records, shares, fits
    Column("sign", Text, nullable=False),  # of all it was read from, the program included
    Column("packed", LargeBinary, nullable=False),
    Column("sha256", Text, nullable=False),  # binds it to person, kind and sign
)
