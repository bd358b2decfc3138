"""What holds now: the record with what was said about it later. The latest word counts."""

from __future__ import annotations

from collections.abc import Iterable

from battery.store.rows.recorded import VisitRecord
from battery.store.rows.said_later import Amendment


class Amended:
    """The words that hold in place of recorded ones.

    Parameters
    ----------
    amendments : iterable of Amendment
        In order of time, as `Annotations.amendments` gives them.
    """

    def __init__(self, amendments: Iterable[Amendment]) -> None:
        self._new = {(a.target_id, a.field): a.new for a in amendments}

    def held(self, target_id: str, field: str, recorded: str) -> str:
        """Return what holds for a field of a visit or block."""
        return self._new.get((target_id, field), recorded)

    def says(self, target_id: str, field: str) -> bool:
        """Whether something was said about a field of a visit or block."""
        return (target_id, field) in self._new

    def hand(self, block_id: str, recorded: str) -> str:
        """Return the hand a block was done with."""
        return self.held(block_id, "hand", recorded)

    def person(self, visit_id: str, recorded: str) -> str:
        """Return the code of the person whose visit it is."""
        return self.held(visit_id, "person", recorded)

    def by_person(self, visits: Iterable[VisitRecord]) -> dict[str, list[VisitRecord]]:
        """Sort visits by the person whose they are now; their places are the page's numbers.

        Parameters
        ----------
        visits : iterable of VisitRecord
            Each person's in order of their numbers, as `Visits.all` gives them. A clock set
            back does not change that order. Only where visits of another person joined, the
            time decides, for the numbers of two people do not go together.
        """
        found: dict[str, list[VisitRecord]] = {}
        joined = set()
        for visit in visits:
            header = visit.header
            code = self.person(header.visit_id, header.person)
            if code != header.person:
                joined.add(code)
            found.setdefault(code, []).append(visit)
        for code in joined:
            found[code].sort(key=lambda v: (v.header.started_utc, v.header.visit_id))
        return found

    def excluded(self, target_id: str) -> bool:
        """Whether a visit or block is left out."""
        return self.held(target_id, "excluded", "no") == "yes"

    def moved_to(self, person: str) -> list[str]:
        """List the visits that are said to be this person's, in order of their identifier."""
        return sorted(
            target
            for (target, field), new in self._new.items()
            if field == "person" and new == person
        )
