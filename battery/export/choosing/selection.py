"""Which part of a store is exported: people, tasks, days; consent decides first."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Any

from battery.errors import UsageError, of_field
from battery.export.choosing import deidentify
from battery.recording import VisitHeader
from battery.store import Person, Store, VisitRecord
from battery.store.settings import WITHOUT_CONSENT
from tasks.registry import TASKS


@dataclass(frozen=True, slots=True)
class Selection:
    """What is asked for; nothing named means everything.

    Parameters
    ----------
    people : collection of str
        Codes.
    tasks : collection of str
        Blocks of other tasks are left out; their visits stay.
    since, until : date, optional
        First and last local date of visits, practice and markers. Days still count from the
        same day 0.
    without_consent : str
        Why people are exported who did not give consent to research use; empty leaves them
        out. Who withdrew is left out in any case. It stands in the export.
    """

    people: Collection[str] = ()
    tasks: Collection[str] = ()
    since: date | None = None
    until: date | None = None
    without_consent: str = ""

    def check(self, store: Store) -> None:
        """Refuse what cannot be.

        Raises
        ------
        UsageError
            If a person is not there, withdrew or gave no consent to research use, a task is
            unknown, or no day is between.
        """
        withdrawn, gave = store.people.withdrawn(), store.people.gave_consent("research")
        for code in self.people:
            with of_field("people"):
                store.people.get(code)
            if code in withdrawn:
                msg = f"{code} withdrew consent; nothing was exported"
                raise UsageError(msg, field="people")
            if code not in gave and not self.without_consent:
                msg = (
                    f"{code} gave no consent to research use; nothing was exported. Keep it "
                    f"with 'battery consent {code} --given --form-version N', or say "
                    "--without-consent with a reason, which will stand in the export"
                )
                raise UsageError(msg, field="without_consent")
        unknown = sorted(set(self.tasks) - set(TASKS))
        if unknown:
            msg = f"no task {unknown[0]!r}; tasks are {', '.join(TASKS)}. Nothing was exported"
            raise UsageError(msg, field="tasks")
        if self.since and self.until and self.since > self.until:
            msg = f"no day is since {self.since} and until {self.until}; nothing was exported"
            raise UsageError(msg, field="until")

    def of_people(self, store: Store) -> list[Person]:
        """Return the people asked for who may be exported, in order of their code."""
        withdrawn, gave = store.people.withdrawn(), store.people.gave_consent("research")
        return [
            person
            for person in sorted(store.people.all(), key=lambda p: p.code)
            if person.code not in withdrawn
            and (person.code in gave or self.without_consent)
            and (not self.people or person.code in self.people)
        ]

    def n_without_consent(self, store: Store) -> int:
        """Count who is left out for having given no consent to research use."""
        if self.people or self.without_consent:
            return 0
        known = store.people.gave_consent("research") | store.people.withdrawn()
        return sum(person.code not in known for person in store.people.all())

    def of_visits(self, visits: Collection[VisitRecord]) -> list[VisitRecord]:
        """Return the visits asked for, in their order."""
        return [visit for visit in visits if self.has_day(_local_date(visit.header))]

    def has_day(self, day: date) -> bool:
        """Whether a local date is asked for."""
        return (self.since is None or day >= self.since) and (
            self.until is None or day <= self.until
        )

    def has_task(self, task: str) -> bool:
        """Whether a task is asked for."""
        return not self.tasks or task in self.tasks

    @property
    def told(self) -> dict[str, Any]:
        """What an export says of it; no date, for that would lead back to the days."""
        told: dict[str, Any] = {
            "people": "named" if self.people else "all",
            "tasks": sorted(self.tasks) if self.tasks else "all",
            "days": "limited" if self.since or self.until else "all",
            "consent": "given to research use, and not withdrawn",
        }
        if self.without_consent:
            told["consent"] = "not withdrawn; not everybody gave it to research use"
            told["reason"] = self.without_consent
        return told


EVERYTHING = Selection()


def keep_override(store: Store, selection: Selection, *, by: str, at_utc: str) -> list[str]:
    """Keep in the store who exported whom without consent to research use, when and why.

    Parameters
    ----------
    store : Store
    selection : Selection
    by : str
        Initials, a role, or an account.
    at_utc : str

    Returns
    -------
    list of str
        Codes of the people it concerns; nothing is kept where there are none.
    """
    gave = store.people.gave_consent("research")
    codes = [p.code for p in selection.of_people(store) if p.code not in gave]
    if codes and selection.without_consent:
        entry = [at_utc, by, selection.without_consent, " ".join(codes)]
        store.setup.add_to_setting(WITHOUT_CONSENT, entry)
    return codes


def _local_date(header: VisitHeader) -> date:
    return deidentify.local(header.started_utc, header.utc_offset_min).date()
