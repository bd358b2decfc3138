"""The tables. The same on SQLite and PostgreSQL; structured values are kept as JSON text.

Raw records (`blocks`, `payloads`) are written once. Scores and amendments lie beside them.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

migrations = Table(
    "migrations",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("name", String(80), nullable=False),
    Column("applied_utc", String(40), nullable=False),
)
people = Table(
    "people",
    metadata,
    Column("code", String(12), primary_key=True),
    Column("dominant_hand", String(8), nullable=False),
    Column("affected_side", String(8), nullable=False),
    Column("first_hand", String(8), nullable=False),
    Column("enrolled_utc", String(40), nullable=False),
)
devices = Table(
    "devices",
    metadata,
    Column("alias", String(16), primary_key=True),
    Column("json", Text, nullable=False),
)
plans = Table(
    "plans",
    metadata,
    Column("plan_hash", String(32), primary_key=True),
    Column("json", Text, nullable=False),
)
visits = Table(
    "visits",
    metadata,
    Column("visit_id", String(36), primary_key=True),
    Column("person", String(12), ForeignKey("people.code"), nullable=False, index=True),
    Column("sequence", Integer, nullable=False),
    Column("plan_hash", String(32), ForeignKey("plans.plan_hash"), nullable=False),
    Column("device", String(16), ForeignKey("devices.alias"), nullable=False),
    Column("started_utc", String(40), nullable=False),
    Column("ending", String(16)),
    Column("json", Text, nullable=False),
    UniqueConstraint("person", "sequence"),
)
blocks = Table(
    "blocks",
    metadata,
    Column("block_id", String(36), primary_key=True),
    Column("visit_id", String(36), ForeignKey("visits.visit_id"), nullable=False, index=True),
    Column("number", Integer, nullable=False),
    Column("task", String(16), nullable=False),
    Column("hand", String(8), nullable=False),
    Column("phase", String(16), nullable=False),
    Column("layout_hash", String(32), nullable=False),
    Column("ending", String(16)),  # null while the block runs
    Column("reason", Text, nullable=False, default=""),
    Column("ended_ns", BigInteger),
    Column("n_samples", Integer),
    Column("input_type", String(8)),
    Column("sha256", String(64)),
    Column("audit_json", Text),
    Column("header_json", Text, nullable=False),
    UniqueConstraint("visit_id", "number"),
)
payloads = Table(
    "payloads",
    metadata,
    Column("block_id", String(36), ForeignKey("blocks.block_id"), primary_key=True),
    Column("samples", LargeBinary, nullable=False),  # Parquet
    Column("frames", LargeBinary, nullable=False),  # Parquet
    Column("events", LargeBinary, nullable=False),  # Parquet
)
chunks = Table(
    "chunks",
    metadata,
    Column("block_id", String(36), ForeignKey("blocks.block_id"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("samples", LargeBinary, nullable=False),  # raw rows of SAMPLE_DTYPE
    Column("frames", LargeBinary, nullable=False),  # raw rows of FRAME_DTYPE
    Column("events", Text, nullable=False),  # JSON
)
scores = Table(
    "scores",
    metadata,
    Column("block_id", String(36), ForeignKey("blocks.block_id"), primary_key=True),
    Column("measure", String(60), primary_key=True),
    Column("value", Float),  # null is missing; then a reason stands beside it
    Column("n", Integer, nullable=False),
    Column("low", Float),
    Column("high", Float),
    Column("reason", Text, nullable=False),
    Column("scoring_version", Integer, nullable=False),
)
