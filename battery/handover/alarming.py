"""Alarms inside bundles that wait for a person's choice: they are in no table yet."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TypeVar

from battery.alarms import Alarm, Watch, limits_of
from battery.answers import Answer
from battery.errors import BatteryError
from battery.handover.opening import opened
from battery.store import Consent, Contraindication, HomeExercise, Marker, Store, VisitRecord
from battery.store.arrival import Arrival, Rows
from battery.store.base import UNREADABLE

Row = TypeVar("Row", Answer, Consent, Contraindication, HomeExercise, Marker)


@dataclass(frozen=True, slots=True)
class WaitingAlarms:
    """What waits and must not be overlooked.

    Parameters
    ----------
    item : str
        The first letters of the item, as the list of what waits has them.
    person : str
        As the bundle says.
    alarms : tuple of Alarm
        Not acknowledged here; without the number of a visit, which it has none of yet.
    readable : bool
        False where nobody can say whether there is an alarm in it.
    """

    item: str
    person: str
    alarms: tuple[Alarm, ...]
    readable: bool = True


def waiting_alarms(store: Store) -> list[WaitingAlarms]:
    """Look into everything that waits for a choice; only what must be said is returned."""
    found = []
    for item in store.transfer.quarantine():
        name = item.item_id[:8]
        try:
            arrival = opened(store, item)
            alarms = _alarms(store, arrival)
        except (BatteryError, *UNREADABLE):
            found.append(WaitingAlarms(name, item.person, (), readable=False))
        else:
            if alarms:
                found.append(WaitingAlarms(name, arrival.person.code, alarms))
    return found


def waiting_lines(found: list[WaitingAlarms]) -> list[str]:
    """Say them, one line an alarm; two versions of one visit say the same once."""
    lines = []
    for waiting in found:
        if not waiting.readable:
            whose = f" of {waiting.person}" if waiting.person else ""
            lines.append(
                f"{waiting.item}{whose} cannot be read; whether it holds an alarm is not known"
            )
        lines += [
            f"{waiting.person}, {alarm.when:%Y-%m-%d}: {alarm.words}, in a bundle that waits"
            for alarm in waiting.alarms
        ]
    return list(dict.fromkeys(lines))


def _alarms(store: Store, arrival: Arrival) -> tuple[Alarm, ...]:
    code, own, beside = arrival.person.code, arrival.beside.visit, arrival.beside.person
    gone = {row["target_id"] for row in beside.get("taken_back", ())}
    markers = [m for m in _rows(Marker, beside, "markers") if m.marker_id not in gone]
    watch = Watch(
        markers={code: markers},
        consents={code: _rows(Consent, beside, "consents")},
        home_exercise={code: _rows(HomeExercise, beside, "practice")},
        contraindications={code: _rows(Contraindication, beside, "contraindications")},
        acknowledged={row.alarm: row for row in store.annotations.acknowledgements()},
        limits=limits_of(store),
    )
    visits: list[VisitRecord] = []
    answers: dict[str, list[Answer]] = {}
    if arrival.visit is not None:
        header = arrival.visit.header
        visits = [VisitRecord(header, arrival.visit.ending)]
        said = sorted(_rows(Answer, own, "answers"), key=lambda answer: answer.number)
        answers = {header.visit_id: said}
    told = watch.alarms(code, visits, answers)
    return tuple(replace(alarm, visit=None) for alarm in told if alarm.open)


def _rows(kind: type[Row], beside: Rows, table: str) -> list[Row]:
    """Make rows of a table that lies beside into what they are, in order of time."""
    in_order = sorted(beside.get(table, ()), key=lambda row: str(row["at_utc"]))
    names = [field.name for field in fields(kind)]  # later columns are passed by
    return [kind(**{name: row[name] for name in names if name in row}) for row in in_order]
