"""Which part of a store is exported: people, tasks, days."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from battery.errors import UsageError
from battery.export import deidentify
from battery.recording import VisitHeader
from battery.store import Person, Store, VisitRecord
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
    """

    people: Collection[str] = ()
    tasks: Collection[str] = ()
    since: date | None = None
    until: date | None = None

    def check(self, store: Store) -> None:
        """Refuse what cannot be.

        Raises
        ------
        UsageError
            If a person is not there or withdrew, a task is unknown, or no day is between.
        """
        withdrawn = store.withdrawn()
        for code in self.people:
            store.person(code)
            if code in withdrawn:
                msg = f"{code} withdrew consent; nothing was exported"
                raise UsageError(msg)
        unknown = sorted(set(self.tasks) - set(TASKS))
        if unknown:
            msg = f"no task {unknown[0]!r}; tasks are {', '.join(TASKS)}. Nothing was exported"
            raise UsageError(msg)
        if self.since and self.until and self.since > self.until:
            msg = f"no day is since {self.since} and until {self.until}; nothing was exported"
            raise UsageError(msg)

    def of_people(self, people: Collection[Person]) -> list[Person]:
        """Return the people asked for, in their order."""
        return [p for p in people if not self.people or p.code in self.people]

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


EVERYTHING = Selection()


def _local_date(header: VisitHeader) -> date:
    return deidentify.local(header.started_utc, header.utc_offset_min).date()
