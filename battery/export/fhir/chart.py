"""What a bundle is made from: plain values of one person, read from the store."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Self

from battery.alarms import Alarm, Watch
from battery.answers import Answer
from battery.effective import visits_of
from battery.recording import BlockHeader, Hand
from battery.store import Amended, Amendment, Person, Store, VisitRecord


@dataclass(frozen=True, slots=True)
class Value:
    """A main measure of one block, or of all tasks of a visit, as the page has it.

    Parameters
    ----------
    hand : {"left", "right"}
        That holds now, amended or not.
    block_id : str
        Empty for all tasks together.
    value, low, high : float
        In the measure's unit, with its 95 % interval; nan where there is none. All tasks
        together: percent of the baseline.
    reason : str
        Why it is missing, or what to keep in mind.
    flags : tuple of str
        Names of what its block raised.
    aside : str
        Why it is not compared; empty if it is.
    scoring : str
        Scoring version; empty where nothing was scored.
    """

    measure: str
    hand: Hand
    visit_id: str
    block_id: str
    value: float
    n: int
    low: float
    high: float
    reason: str = ""
    flags: tuple[str, ...] = ()
    aside: str = ""
    scoring: str = ""


@dataclass(frozen=True, slots=True)
class Page:
    """The page itself, to be attached.

    Parameters
    ----------
    content_type : {"text/html", "application/pdf"}
    made : str
        When, ISO 8601 with its offset.
    """

    content_type: str
    data: bytes
    made: str


@dataclass(frozen=True, slots=True)
class Said:
    """What the page says of a person; the page is made elsewhere.

    Parameters
    ----------
    sentences : sequence of str
        The most important first.
    """

    values: Sequence[Value] = ()
    sentences: Sequence[str] = ()
    page: Page | None = None


@dataclass(frozen=True, slots=True)
class Chart:
    """One person's chart.

    Parameters
    ----------
    visits : sequence of VisitRecord
        The person's now, in the order of the page; none that still runs.
    blocks : mapping of str to BlockHeader
        Of these visits.
    answers : mapping of visit to answers
        In order.
    amendments : sequence of Amendment
        Of these visits and blocks, in order of time.
    without_consent : str
        Why it is sent without consent to research use; empty where that was given.
    """

    person: Person
    visits: Sequence[VisitRecord]
    blocks: Mapping[str, BlockHeader] = field(default_factory=dict)
    answers: Mapping[str, Sequence[Answer]] = field(default_factory=dict)
    amendments: Sequence[Amendment] = ()
    alarms: Sequence[Alarm] = ()
    said: Said = field(default_factory=Said)
    without_consent: str = ""


@dataclass(frozen=True, slots=True)
class Around:
    """What is read of everybody at once, so that a chart reads one person only.

    Parameters
    ----------
    amendments : mapping of visit or block to amendments
        In order of time.
    """

    amended: Amended
    amendments: Mapping[str, Sequence[Amendment]]
    withdrawn: frozenset[str]
    watch: Watch

    @classmethod
    def read(cls, store: Store) -> Self:
        """Read it from the store as it is."""
        everything = store.annotations.amendments()
        by_target: dict[str, list[Amendment]] = {}
        for amendment in everything:
            by_target.setdefault(amendment.target_id, []).append(amendment)
        return cls(Amended(everything), by_target, store.people.withdrawn(), Watch.read(store))


def read_chart(
    store: Store,
    person: Person,
    said: Said,
    *,
    around: Around | None = None,
    without_consent: str = "",
) -> Chart:
    """Read a person's chart, and nobody else's.

    A visit that was recorded under somebody who withdrew stays out, and what was said of it.

    Parameters
    ----------
    around : Around, optional
        If it was read already from the store as it is.
    """
    known = around or Around.read(store)
    theirs = visits_of(store, person.code, known.amended)
    visits = [
        visit
        for visit in theirs
        if visit.ending is not None and visit.header.person not in known.withdrawn
    ]
    ids = {visit.header.visit_id for visit in visits}
    blocks = {
        record.header.block_id: record.header
        for i in sorted(ids)
        for record in store.records.of_visit(i)
    }
    answers = {v.header.visit_id: store.visits.answers(v.header.visit_id) for v in theirs}
    amendments = [a for target in ids | set(blocks) for a in known.amendments.get(target, ())]
    return Chart(
        person=person,
        visits=visits,
        blocks=blocks,
        answers={visit_id: answers[visit_id] for visit_id in ids},
        amendments=sorted(amendments, key=lambda a: (a.at_utc, a.amendment_id)),
        alarms=known.watch.alarms(person.code, theirs, answers),
        said=said,
        without_consent=without_consent,
    )
