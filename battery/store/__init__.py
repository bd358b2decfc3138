"""The store: one SQLite file by default, the same tables on PostgreSQL by address."""

from battery.store.amended import Amended
from battery.store.packed import PackedBlock
from battery.store.rows.device_checks import LoopCheck, ScreenCheck, TimingCheck
from battery.store.rows.person_care import (
    ComfortEntry,
    Contraindication,
    Exercise,
    Goal,
    GoalLevel,
    HomeExercise,
    HomeExerciseHand,
    HomeExerciseKind,
    HomePlanEntry,
    PersonPlan,
    PersonState,
    Prescription,
    State,
)
from battery.store.rows.recorded import (
    AffectedSide,
    BlockBrief,
    BlockRecord,
    Consent,
    Decision,
    Person,
    Scope,
    ScoreRow,
    VisitRecord,
)
from battery.store.rows.said_later import (
    Acknowledgement,
    Amendment,
    Marker,
    MarkerKind,
    OutsideError,
    Restart,
    Takeable,
    TakenBack,
)
from battery.store.store import Store
from battery.store.writer import BlockWriter

__all__ = [
    "Acknowledgement",
    "AffectedSide",
    "Amended",
    "Amendment",
    "BlockBrief",
    "BlockRecord",
    "BlockWriter",
    "ComfortEntry",
    "Consent",
    "Contraindication",
    "Decision",
    "Exercise",
    "Goal",
    "GoalLevel",
    "HomeExercise",
    "HomeExerciseHand",
    "HomeExerciseKind",
    "HomePlanEntry",
    "LoopCheck",
    "Marker",
    "MarkerKind",
    "OutsideError",
    "PackedBlock",
    "Person",
    "PersonPlan",
    "PersonState",
    "Prescription",
    "Restart",
    "Scope",
    "ScoreRow",
    "ScreenCheck",
    "State",
    "Store",
    "Takeable",
    "TakenBack",
    "TimingCheck",
    "VisitRecord",
]
