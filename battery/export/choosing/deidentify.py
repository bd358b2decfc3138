"""What of a record may leave: relative days, parts of the day, aliases, kinds. Nothing else.

Names are never stored. Dates, serial numbers and free text stay in the store.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from battery.plan import PLANS
from battery.recording import VisitHeader
from battery.store import Person

HOURS_PER_BIN = 3
SYSTEMS = {
    "linux": "linux",
    "windows": "windows",
    "darwin": "macos",
    "macos": "macos",
    "simulated": "simulated",
}


@dataclass(frozen=True, slots=True)
class Days:
    """A person's calendar: days from day 0, in local dates.

    Parameters
    ----------
    zero : date or None
        Local date of day 0; None while there is no visit.
    kind : {"first_baseline", "first_visit", "none"}
        What day 0 is.
    utc_offset_min : int
        Offset of the visit on day 0, for moments that have none of their own.
    """

    zero: date | None
    kind: str
    utc_offset_min: int = 0

    @classmethod
    def of(cls, person: Person, headers: Sequence[VisitHeader]) -> Days:
        """Make the calendar of a person from all visits in order."""
        if not headers:
            return cls(None, "none")
        has_baseline = len(headers) > person.n_familiarisation
        first = headers[person.n_familiarisation if has_baseline else 0]
        kind = "first_baseline" if has_baseline else "first_visit"
        return cls(local(first.started_utc, first.utc_offset_min).date(), kind,
                   first.utc_offset_min)  # fmt: skip

    def date_of(self, utc: str) -> date:
        """Return the local date of a moment."""
        return local(utc, self.utc_offset_min).date()

    def day(self, utc: str, utc_offset_min: int | None = None) -> int | None:
        """Return the day of a moment; None while there is no day 0."""
        offset_min = self.utc_offset_min if utc_offset_min is None else utc_offset_min
        return self.day_of(local(utc, offset_min).date())

    def day_of(self, local_date: date) -> int | None:
        """Return the day of a local date; None while there is no day 0."""
        return None if self.zero is None else (local_date - self.zero).days


def local(utc: str, utc_offset_min: int) -> datetime:
    """Return the moment on the clock of the place."""
    return datetime.fromisoformat(utc) + timedelta(minutes=utc_offset_min)


def hour_bin(header: VisitHeader) -> str:
    """Return the part of the local day in which a visit began, such as ``09-12``."""
    hour = local(header.started_utc, header.utc_offset_min).hour
    start = hour - hour % HOURS_PER_BIN
    return f"{start:02d}-{start + HOURS_PER_BIN:02d}"


def aliases(headers: Iterable[VisitHeader]) -> dict[str, str]:
    """Name devices D01, D02, ... in order of their first use.

    The order of all visits of a store decides, so that later visits change no alias.
    """
    first: dict[str, tuple[str, str]] = {}
    for header in headers:
        alias, moment = header.device.alias, (header.started_utc, header.visit_id)
        first[alias] = min(moment, first.get(alias, moment))
    ordered = sorted(first, key=lambda alias: first[alias])
    return {alias: f"D{number:02d}" for number, alias in enumerate(ordered, start=1)}


def system_family(system: str) -> str:
    """Return the family of an operating system from its first word."""
    first = system.split()[0].lower() if system.split() else ""
    return SYSTEMS.get(first, "other")


def plan_name(name: str) -> str:
    """Return the name of a plan of this program; of any other only that it is one's own."""
    return name if name in PLANS else "own"
