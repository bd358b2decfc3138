"""The store: one SQLite file by default, any database SQLAlchemy reaches by address."""

from battery.store.rows import AffectedSide, BlockRecord, Person, ScoreRow, VisitRecord
from battery.store.store import Store, iterate_blocks
from battery.store.writer import BlockWriter

__all__ = [
    "AffectedSide",
    "BlockRecord",
    "BlockWriter",
    "Person",
    "ScoreRow",
    "Store",
    "VisitRecord",
    "iterate_blocks",
]
