"""Alarms: what stands first on list, page and note until somebody acknowledges it by name.

An alarm is never stored: it follows from an answer, an event, a decision or an entry of the
diary, which are handed over as they are. What is stored is who has seen it. Its key names its
source and what was said there, so that a worse answer is a new alarm.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, timezone
from typing import Literal, Self, TypeVar

from battery.answers import STOP_RISE, Answer, ended_unwell, levels, rises
from battery.cautions import CONTRAINDICATIONS
from battery.errors import UsageError
from battery.store import (
    Acknowledgement,
    Amended,
    Consent,
    Contraindication,
    HomeExercise,
    Marker,
    Store,
    VisitRecord,
)

Kind = Literal[
    "emergency_sign",
    "unwell_end",
    "strong_rise",
    "high_level",
    "not_settled",
    "practice",
    "fall",
    "consent",
    "contraindication",
]
Row = TypeVar("Row", Marker, Consent, HomeExercise, Contraindication)
LIMITS_SETTING = "alarm_limits"
# A clinic's starting values, judgement and no published limits: 7 and more of 10 is what people
# commonly call severe; tiredness and a troublesome arm are high in many who do this test.
DEFAULT_LIMITS: Mapping[str, int] = {
    "dizziness": 7,
    "vision": 7,
    "pain": 7,
    "fatigue": 8,
    "arm": 9,
    "sickness": 7,
    "effort": 10,
}
STRONG_PRACTICE = 3  # "very much", the strongest of four
SAID: Mapping[str, str] = {
    "dizziness": "dizziness",
    "vision": "double or blurred vision",
    "pain": "pain",
    "fatigue": "tiredness",
    "arm": "trouble with arm or hand",
    "sickness": "feeling sick or faint",
    "effort": "effort",
}


@dataclass(frozen=True, slots=True)
class Alarm:
    """Something that must not be overlooked.

    Parameters
    ----------
    key : str
        Names its source and what was said there; the same on tablet and clinic.
    when : datetime
        With the offset of the place.
    visit : int or None
        Number of the visit as on the page; None for what lies between visits.
    words : str
        What was said, without the date.
    acknowledged : Acknowledgement or None
        Who has seen it; the latest word.
    """

    key: str
    person: str
    kind: Kind
    when: datetime
    words: str
    visit: int | None = None
    acknowledged: Acknowledgement | None = None

    @property
    def open(self) -> bool:
        """Whether nobody has acknowledged it."""
        return self.acknowledged is None


@dataclass(frozen=True, slots=True)
class Watch:
    """What alarms follow from, beside visits and their answers; of everybody, by person."""

    markers: Mapping[str, Sequence[Marker]] = field(default_factory=dict)
    consents: Mapping[str, Sequence[Consent]] = field(default_factory=dict)
    home_exercise: Mapping[str, Sequence[HomeExercise]] = field(default_factory=dict)
    contraindications: Mapping[str, Sequence[Contraindication]] = field(default_factory=dict)
    acknowledged: Mapping[str, Acknowledgement] = field(default_factory=dict)
    limits: Mapping[str, int] = field(default_factory=lambda: DEFAULT_LIMITS)

    @classmethod
    def read(cls, store: Store, person: str | None = None) -> Self:
        """Read what there is of one person or of all; what was taken back is left out."""
        gone = {row.target_id for row in store.annotations.taken_back(person)}
        return cls(
            markers=_by_person(
                m for m in store.annotations.markers(person) if m.marker_id not in gone
            ),
            consents=_by_person(store.people.consents(person)),
            home_exercise=_by_person(store.care.home_exercises(person)),
            contraindications=_by_person(store.care.contraindications(person)),
            acknowledged={row.alarm: row for row in store.annotations.acknowledgements()},
            limits=limits_of(store),
        )

    def alarms(
        self,
        person: str,
        visits: Sequence[VisitRecord],
        answers: Mapping[str, Sequence[Answer]],
    ) -> tuple[Alarm, ...]:
        """List a person's alarms, acknowledged or not, the newest first.

        Parameters
        ----------
        visits : sequence of VisitRecord
            That are the person's now, in the order of the page, also those left out.
        answers : mapping of visit to answers
        """
        of_visits = alarms_of_visits(person, visits, answers, self.limits)
        return self.together(
            person, of_visits, visits[-1].header.utc_offset_min if visits else 0
        )

    def together(
        self, person: str, of_visits: Iterable[Alarm], offset_min: int
    ) -> tuple[Alarm, ...]:
        """Return all alarms of a person, the newest first, of whose visits they are known.

        Parameters
        ----------
        of_visits : iterable of Alarm
            From `alarms_of_visits`, with these limits.
        offset_min : int
            Of the place of the latest visit, for what lies between visits.
        """
        found = [*of_visits, *self._between(person, _zone(offset_min))]
        found.sort(key=lambda alarm: alarm.when, reverse=True)
        return tuple(replace(a, acknowledged=self.acknowledged.get(a.key)) for a in found)

    def _between(self, person: str, zone: timezone) -> Iterator[Alarm]:
        for marker in self.markers.get(person, ()):
            if marker.kind == "fall":
                words = f"fall: {marker.note}" if marker.note else "a fall"
                when = _local(marker.at_utc, zone)
                yield Alarm(f"fall:{marker.marker_id}", person, "fall", when, words)
        for entry in self.home_exercise.get(person, ()):
            said = (("after", entry.symptoms, ""), ("before", entry.symptoms_before, ":before"))
            for moment, level, mark in said:
                if (level or 0) >= STRONG_PRACTICE:
                    yield Alarm(
                        f"practice:{entry.practice_id}:{level}{mark}",
                        person,
                        "practice",
                        _local(entry.at_utc, zone),
                        f"strong symptoms {moment} home exercise",
                    )
        decisions = self.consents.get(person, ())
        if decisions and decisions[-1].decision == "withdrawn":
            yield Alarm(
                f"consent:{decisions[-1].consent_id}",
                person,
                "consent",
                _local(decisions[-1].at_utc, zone),
                "consent to research use is withdrawn",
            )
        for item in {c.item: c for c in self.contraindications.get(person, ())}.values():
            if item.answer != "no":
                what = CONTRAINDICATIONS.get(item.item, item.item)
                known = "not known whether " if item.answer == "unknown" else ""
                yield Alarm(
                    f"contraindication:{item.entry_id}",
                    person,
                    "contraindication",
                    _local(item.at_utc, zone),
                    f"ask a clinician first: {known}{what}",
                )


def alarms_of_visits(
    person: str,
    visits: Sequence[VisitRecord],
    answers: Mapping[str, Sequence[Answer]],
    limits: Mapping[str, int],
) -> list[Alarm]:
    """List what follows from a person's visits, in order of visits, nothing acknowledged.

    Parameters
    ----------
    limits : mapping of question to level
        From `limits_of`.
    """
    return [
        alarm
        for number, visit in enumerate(visits, start=1)
        if (said := answers.get(visit.header.visit_id))
        for alarm in _of_visit(person, number, visit, said, limits)
    ]


def _of_visit(
    person: str,
    number: int,
    visit: VisitRecord,
    said: Sequence[Answer],
    limits: Mapping[str, int],
) -> Iterator[Alarm]:
    header = visit.header
    held = {(a.moment, a.question): a.value for a in said}

    def alarm(kind: Kind, detail: str, words: str) -> Alarm:
        key = ":".join(part for part in (kind, header.visit_id, detail) if part)
        zone = _zone(header.utc_offset_min)
        when = datetime.fromisoformat(header.started_utc).astimezone(zone)
        return Alarm(key, person, kind, when, words, visit=number)

    if any((a.question, a.value) == ("red_flags", "yes") for a in said):
        then = ", then no" if held.get(("before", "red_flags")) == "no" else ""
        yield alarm("emergency_sign", "", f"a new emergency sign was answered yes{then}")
    if ended_unwell(said, visit.ending):
        yield alarm("unwell_end", "", "ended unwell")
    rose = {name: rise for name, rise in rises(said).items() if rise >= STOP_RISE}
    for name, rise in rose.items():
        yield alarm("strong_rise", f"{name}:{rise}", f"{SAID[name]} rose by {rise}")
    for name, level in levels(said).items():
        if level >= limits.get(name, DEFAULT_LIMITS[name]):
            yield alarm("high_level", f"{name}:{level}", f"{SAID[name]} {level} of 10")
    if held.get(("before", "settled")) == "no":
        yield alarm("not_settled", "", "what rose the time before had not settled")


def alarms_of(store: Store, code: str) -> tuple[Alarm, ...]:
    """Read the alarms of one person, the newest first."""
    amended = Amended(store.annotations.amendments())
    visits = store.visits.of_holder(code, amended)
    answers: dict[str, list[Answer]] = {}
    for answer in store.visits.answers(visit_ids=[v.header.visit_id for v in visits]):
        answers.setdefault(answer.visit_id, []).append(answer)
    return Watch.read(store, code).alarms(code, visits, answers)


def limits_of(store: Store) -> dict[str, int]:
    """Return the level at which each question alarms, as the clinic has set it."""
    return {**DEFAULT_LIMITS, **store.setup.setting(LIMITS_SETTING, {})}


def set_limit(store: Store, question: str, level: int) -> dict[str, int]:
    """Keep the level at which a question alarms, and return all of them.

    Raises
    ------
    UsageError
        If the question has no scale, or the level is not 1 to 10.
    """
    if question not in DEFAULT_LIMITS:
        msg = f"no limit on {question!r}; say one of {', '.join(DEFAULT_LIMITS)}"
        raise UsageError(msg)
    if not 1 <= level <= 10:
        msg = f"a limit must be 1 to 10, not {level}. Nothing was stored"
        raise UsageError(msg, field=question)
    limits = {**limits_of(store), question: level}
    store.setup.put_setting(LIMITS_SETTING, limits)
    return limits


def _by_person(rows: Iterable[Row]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row.person, []).append(row)
    return found


def _zone(offset_min: int) -> timezone:
    return timezone(timedelta(minutes=offset_min))


def _local(at_utc: str, zone: timezone) -> datetime:
    return datetime.fromisoformat(at_utc).astimezone(zone)
