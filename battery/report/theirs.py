"""What the records of one person say, as list and pools stand on it."""

from __future__ import annotations

from dataclasses import dataclass

from battery.alarms import Alarm
from battery.report.page_rows import Reading, VisitRow
from battery.report.pooling import Readings
from battery.report.readings import Placed
from battery.store import Person


@dataclass(frozen=True, slots=True)
class Theirs:
    """What the records of one person say.

    Parameters
    ----------
    visits : tuple of VisitRow
        That are the person's now, in order, without what was said around them.
    listed : tuple of Reading
        Of the main measures, in order of visits.
    readings : mapping
        The same by measure and hand, composites included, as before a new baseline.
    plan : str
        Of the latest visit, by its hash.
    offset_min : int
        Of the place of the latest visit.
    alarms : tuple of Alarm
        That follow from the visits, whether or not somebody has seen them.
    placed : tuple of Placed
        The blocks that stand for the visits, for whoever looks at their other measures.
    """

    person: Person
    visits: tuple[VisitRow, ...]
    listed: tuple[Reading, ...]
    readings: Readings
    plan: str
    offset_min: int
    alarms: tuple[Alarm, ...]
    placed: tuple[Placed, ...]

    @property
    def numbers(self) -> dict[str, int]:
        """The visits' numbers by their identifiers."""
        return {visit.visit_id: visit.number for visit in self.visits}
