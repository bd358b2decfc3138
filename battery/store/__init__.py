"""The store: one SQLite file by default, the same tables on PostgreSQL by address."""

from battery.store.amended import Amended
from battery.store.rows import (
    AffectedSide,
    Amendment,
    BlockBrief,
    BlockRecord,
    Consent,
    Exercise,
    Goal,
    GoalLevel,
    Marker,
    MarkerKind,
    OutsideError,
    Person,
    Practice,
    PracticeHand,
    PracticeKind,
    Prescription,
    Restart,
    ScoreRow,
    VisitRecord,
)
from battery.store.store import Store
from battery.store.writer import BlockWriter

__all__ = [
    "AffectedSide",
    "Amended",
    "Amendment",
    "BlockBrief",
    "BlockRecord",
    "BlockWriter",
    "Consent",
    "Exercise",
    "Goal",
    "GoalLevel",
    "Marker",
    "MarkerKind",
    "OutsideError",
    "Person",
    "Practice",
    "PracticeHand",
    "PracticeKind",
    "Prescription",
    "Restart",
    "ScoreRow",
    "Store",
    "VisitRecord",
]
