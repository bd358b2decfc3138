"""The tables around a person: consent, new baselines, planned exercise, goals, bands."""

from __future__ import annotations

from typing import get_args

from battery.alarms import Kind
from battery.cautions import CONTRAINDICATIONS as ASKED
from battery.export.dictionary.columns import DAY, UUID, Column, Key, Table, number
from battery.store import Decision, HomeExerciseHand, Scope, State, Takeable
from battery.store.rows.person_care import PlannedExercise, Present, TargetPlace
from norms.verdict import Word

SCALE = "on the scale of comparison, which is the log scale where the measure says so"
_OF_PERSON = Key("person", "people", "person")
_PERSON = Column("person", "string", "The person.")

CONSENTS = Table(
    "consents",
    "Consents",
    "What each person decided about the use of the record, in order; the latest decision of a "
    "scope holds.",
    (
        _PERSON,
        Column("number", "integer", "Number of the decision, from 1.", minimum=1),
        Column("day", "integer", DAY, "d", "no visit yet"),
        Column(
            "scope",
            "string",
            "Record and page for care, or research use.",
            words=get_args(Scope),
        ),
        Column(
            "form_version",
            "string",
            "Version of the form; 'other' where it is more than a short label.",
            pattern=r"[0-9A-Za-z.]{1,12}",
        ),
        Column("decision", "string", "What was decided.", words=get_args(Decision)),
    ),
    ("person", "number"),
    (_OF_PERSON,),
)
REBASELINES = Table(
    "rebaselines",
    "Re-baselines",
    "A new baseline begun on purpose; the latest holds. Authors and reasons are left out.",
    (
        Column("rebaseline_id", "string", "The entry.", pattern=UUID),
        _PERSON,
        Column("day", "integer", f"When it was said. {DAY}", "d", "no visit yet"),
        Column(
            "visit_id",
            "string",
            "First visit of the new baseline.",
            missing="back to the first baseline, or the visit is not in this export",
        ),
    ),
    ("rebaseline_id",),
    (_OF_PERSON, Key("visit_id", "visits", "visit_id")),
)
OUTSIDE_ERRORS = Table(
    "outside_errors",
    "Outside errors",
    "Standard errors of measurement that were entered from a reliability study, in order; the "
    "latest of a measure holds. Sources and authors are left out.",
    (
        Column("error_id", "string", "The entry.", pattern=UUID),
        Column("number", "integer", "Number of the entry, from 1.", minimum=1),
        Column("measure", "string", "The measure."),
        number("sem", f"The error, {SCALE}.", "", "an earlier one was taken back", minimum=0),
        Column("n_people", "integer", "People in the study.", "", "unknown", minimum=1),
    ),
    ("error_id",),
    (Key("measure", "measures", "measure"),),
)
PLANNED = Table(
    "planned_practice",
    "Planned home exercise",
    "How often home exercise between visits was planned before home plans said it. Notes are "
    "left out.",
    (
        Column("planned_id", "string", "The entry.", pattern=UUID),
        _PERSON,
        Column("from_day", "integer", DAY, "d", "no visit yet"),
        number("per_week", "Times a week; 0 is a pause.", "/wk", minimum=0),
    ),
    ("planned_id",),
    (_OF_PERSON,),
)
GOALS = Table(
    "goals",
    "Goals",
    "Goals that were set with a person. The words are left out.",
    (
        Column("goal_id", "string", "The goal.", pattern=UUID),
        _PERSON,
        Column("day", "integer", f"When it was set. {DAY}", "d", "no visit yet"),
        number("weight", "How much it counts among the person's goals.", "1", minimum=0),
    ),
    ("goal_id",),
    (_OF_PERSON,),
)
GOAL_LEVELS = Table(
    "goal_levels",
    "Goal levels",
    "How far goals were reached.",
    (
        Column("level_id", "string", "The entry.", pattern=UUID),
        Column("goal_id", "string", "The goal."),
        Column("day", "integer", f"When it was rated. {DAY}", "d", "no visit yet"),
        Column(
            "level",
            "integer",
            "-2 much less than hoped for, 0 as hoped for, 2 much more.",
            minimum=-2,
            maximum=2,
        ),
    ),
    ("level_id",),
    (Key("goal_id", "goals", "goal_id"),),
)
BANDS = Table(
    "bands",
    "Bands and verdicts",
    "What the person's page says of each measure and hand when the export is made, from all "
    "visits of the store: baseline, band, and verdict of the latest visit.",
    (
        _PERSON,
        Column(
            "measure",
            "string",
            "A measure, 'all.composite' for all tasks together, or 'ratio.' and a measure for "
            "the more affected hand over the other.",
        ),
        Column(
            "hand",
            "string",
            "The hand; of a ratio the upper one.",
            words=("left", "right"),
        ),
        Column("log_scale", "boolean", "Whether it is compared on the log scale."),
        Column("n_baseline", "integer", "Visits of the baseline it stands on.", minimum=0),
        number("centre", "Centre of the band, in the measure's unit.", "", "no band"),
        number("low", "Lower end of the band, in the measure's unit.", "", "no band"),
        number("high", "Upper end of the band, in the measure's unit.", "", "no band"),
        Column(
            "error_from",
            "string",
            "Where its error comes from: an outside study, everybody's scatter in the store, "
            "or the person's own alone.",
            missing="no band",
            words=("outside", "pooled", "own"),
        ),
        number("latest", "Value of the latest visit that counts.", "", "none counts"),
        Column("verdict", "string", "The verdict.", words=get_args(Word)),
        Column(
            "better",
            "boolean",
            "Whether the side told is the better one.",
            missing="no side is told, or neither is better",
        ),
        Column("reason", "string", "Why it is withheld.", missing="it is not withheld"),
    ),
    ("person", "measure", "hand"),
    (_OF_PERSON,),
)
_NOT_YET = "no visit yet"
_NONE = "nothing is agreed"
ALARMS = Table(
    "alarms",
    "Alarms",
    "What stood first on list and page until somebody acknowledged it, at the limits that the "
    "clinic has set when the export is made; it follows from answers, markers, home "
    "exercise, consents and contraindications. Authors and notes are left out.",
    (
        _PERSON,
        Column("number", "integer", "Number of the person's alarms, from 1.", minimum=1),
        Column("kind", "string", "What it is about.", words=get_args(Kind)),
        Column("day", "integer", f"When it was said. {DAY}", "d", _NOT_YET),
        Column("visit_id", "string", "The visit it was said at.", missing="between visits"),
        Column("acknowledged_day", "integer", DAY, "d", "not acknowledged"),
    ),
    ("person", "number"),
    (_OF_PERSON, Key("visit_id", "visits", "visit_id")),
)
PERSON_STATES = Table(
    "person_states",
    "States of people",
    "Whether a person is due for visits; the latest word holds. Reasons are left out.",
    (
        Column("state_id", "string", "The entry.", pattern=UUID),
        _PERSON,
        Column("from_day", "integer", f"Since when. {DAY}", "d", _NOT_YET),
        Column("state", "string", "The state.", words=get_args(State)),
    ),
    ("state_id",),
    (_OF_PERSON,),
)
CONTRAINDICATIONS = Table(
    "contraindications",
    "Contraindications",
    "What was asked before the first visit; the latest answer on each item holds.",
    (
        Column("entry_id", "string", "The entry.", pattern=UUID),
        _PERSON,
        Column("day", "integer", f"When it was asked. {DAY}", "d", _NOT_YET),
        Column("item", "string", "What was asked.", words=tuple(ASKED)),
        Column("answer", "string", "Whether it is there.", words=get_args(Present)),
    ),
    ("entry_id",),
    (_OF_PERSON,),
)
TAKEN_BACK = Table(
    "taken_back",
    "Taken back",
    "Markers, goals and ratings that were said by mistake; they stay in their tables.",
    (
        Column("taken_id", "string", "The entry.", pattern=UUID),
        _PERSON,
        Column("day", "integer", f"When it was taken back. {DAY}", "d", _NOT_YET),
        Column("kind", "string", "What it was.", words=get_args(Takeable)),
        Column("target_id", "string", "The marker, goal or rating.", pattern=UUID),
    ),
    ("taken_id",),
    (_OF_PERSON,),
)
PERSON_PLANS = Table(
    "person_plans",
    "Plans of people",
    "Which plan each person was to follow, in order; of those that nothing stands in place of "
    "the one holds. Sources and authors are left out.",
    (
        Column("entry_id", "string", "The entry.", pattern=UUID),
        _PERSON,
        Column("day", "integer", f"When it was set. {DAY}", "d", _NOT_YET),
        Column("plan_hash", "string", "The plan."),
        Column(
            "in_place_of",
            "string",
            "The entries in whose place it stands.",
            missing="it is the first, or was set without knowing of another",
        ),
    ),
    ("entry_id",),
    (_OF_PERSON, Key("plan_hash", "plans", "plan_hash")),
)
HOME_PLANS = Table(
    "home_plans",
    "Home plans",
    "What was agreed of each exercise at home; entries that were set together have one "
    "version, and the latest version holds from its day on. Authors are left out.",
    (
        Column("entry_id", "string", "The entry.", pattern=UUID),
        _PERSON,
        Column("version", "integer", "Number of the version, from 1.", minimum=1),
        Column("from_day", "integer", DAY, "d", _NOT_YET),
        Column(
            "exercise",
            "string",
            "The exercise; 'none' if nothing is agreed any more.",
            words=get_args(PlannedExercise),
        ),
        Column(
            "hand", "string", "With which.", missing=_NONE, words=get_args(HomeExerciseHand)
        ),
        number("minutes", "With each arm, each time.", "min", _NONE, minimum=0),
        Column("times_a_day", "integer", "How often on such a day.", "/d", _NONE, minimum=1),
        Column("weekdays", "string", "1 Monday to 7 Sunday.", missing=_NONE),
        Column("target", "string", "Where it is.", missing=_NONE, words=get_args(TargetPlace)),
        Column("weight_g", "integer", "Weight at the wrist.", "g", _NONE, minimum=0),
        Column("n_reminders", "integer", "Agreed times of reminders.", minimum=0),
    ),
    ("entry_id",),
    (_OF_PERSON,),
)
AROUND = (
    CONSENTS,
    REBASELINES,
    OUTSIDE_ERRORS,
    PLANNED,
    GOALS,
    GOAL_LEVELS,
    BANDS,
    ALARMS,
    PERSON_STATES,
    CONTRAINDICATIONS,
    TAKEN_BACK,
    PERSON_PLANS,
    HOME_PLANS,
)
