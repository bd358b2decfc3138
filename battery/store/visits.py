"""Visits, in the order of a person's, and what was answered at them."""

from __future__ import annotations

import json
import uuid
from collections.abc import Sequence
from dataclasses import asdict

from sqlalchemy import Connection, func, insert, select, update

from battery.answers import QUESTIONS, Answer, Moment
from battery.errors import RecordError, UsageError
from battery.recording import VisitHeader, visit_header_to_dict
from battery.store import fitting, rebuild, schema
from battery.store.amended import Amended
from battery.store.base import UNREADABLE, Connected, ascii_only
from battery.store.rows.recorded import VisitRecord

_VISIT = [schema.visits.c[name] for name in ("visit_id", "person", "header_json", "ending")]


class Visits(Connected):
    """Visits and the answers given at them. Answers are added, never changed."""

    def begin(self, header: VisitHeader) -> None:
        """Store a new visit, open."""
        with self._writing() as connection:
            place = _place(connection, header)
            connection.execute(
                insert(schema.visits).values(
                    visit_id=header.visit_id,
                    person=header.person,
                    sequence=place,
                    plan_hash=header.plan_hash,
                    device=header.device.alias,
                    started_utc=header.started_utc,
                    header_json=json.dumps(visit_header_to_dict(header)),
                )
            )

    def end(self, visit_id: str, ending: str | None) -> None:
        """Mark a visit as ended, or with None as open again."""
        with self._writing() as connection:
            connection.execute(
                update(schema.visits)
                .where(schema.visits.c.visit_id == visit_id)
                .values(ending=ending)
            )

    def all(
        self, person: str | None = None, *, visit_ids: Sequence[str] | None = None
    ) -> list[VisitRecord]:
        """List visits in order, of one person, of some or of all."""
        query = select(*_VISIT).order_by(schema.visits.c.person, schema.visits.c.sequence)
        if person is not None:
            query = query.where(schema.visits.c.person == person)
        rows = self._rows(query, schema.visits.c.visit_id, visit_ids)
        return self._built(rows, rebuild.visit_record, "visit", "visit_id")

    def are_there(self) -> bool:
        """Whether there is any visit."""
        with self._reading() as connection:
            found = connection.execute(select(schema.visits.c.visit_id).limit(1)).first()
        return found is not None

    def of_holder(self, code: str, amended: Amended) -> list[VisitRecord]:
        """List the visits that are this person's now, in the order of the page."""
        recorded = self.all(code)
        known = {v.header.visit_id for v in recorded}
        joined = []
        for visit_id in amended.moved_to(code):
            if visit_id not in known:
                try:
                    joined.append(self.get(visit_id))
                except RecordError as error:
                    self.left_out(f"visit {visit_id}", str(error))
        return amended.by_person([*recorded, *joined]).get(code, [])

    def revisions(self) -> list[tuple[str, str, int | None]]:
        """List of all visits in order which it is, whose, and the number of its latest change.

        The number is another one after every change of the visit, its blocks, scores, answers
        or amendments, by whatever program; columns are as they lie in the store, unchecked. A
        visit whose identifier is no text that one can ask for is noted and left out.
        """
        visits, revisions = schema.visits, schema.revisions
        query = (
            select(visits.c.visit_id, visits.c.person, revisions.c.number)
            .join(revisions, revisions.c.visit_id == visits.c.visit_id, isouter=True)
            .order_by(visits.c.person, visits.c.sequence)
        )
        with self._reading() as connection:
            rows = connection.execute(query).all()
        found = []
        for visit_id, person, number in rows:
            if isinstance(visit_id, str) and visit_id.isascii():
                found.append((visit_id, person, number))
            else:
                name = ascii_only(str(visit_id))[:60]
                self.left_out(
                    f"visit {name}", "its identifier cannot be read, and was left out"
                )
        return found

    def get(self, visit_id: str) -> VisitRecord:
        """Return one visit.

        Raises
        ------
        RecordError
            If it is not there, or cannot be read.
        """
        query = select(*_VISIT).where(schema.visits.c.visit_id == visit_id)
        with self._reading() as connection:
            row = connection.execute(query).mappings().first()
        if row is None:
            msg = f"no visit {visit_id!r} in this store"
            raise RecordError(msg)
        try:
            return rebuild.visit_record(row)
        except UNREADABLE as error:
            msg = f"visit {visit_id} cannot be read: {error}; others are not affected"
            raise RecordError(msg) from error

    def used_layouts(self, person: str) -> set[str]:
        """Return the hashes of all layouts this person has met."""
        query = (
            select(schema.blocks.c.layout_hash)
            .join(schema.visits, schema.visits.c.visit_id == schema.blocks.c.visit_id)
            .where(schema.visits.c.person == person)
        )
        with self._reading() as connection:
            return set(connection.execute(query).scalars())

    def put_answer(
        self,
        visit_id: str,
        moment: Moment,
        question: str,
        value: str,
        *,
        at_utc: str,
        block_id: str | None = None,
    ) -> Answer:
        """Keep an answer; an earlier one to the same question stays beside it.

        Raises
        ------
        UsageError
            If there is no such question, or it cannot be answered so.
        """
        known = QUESTIONS.get(question)
        if known is None or not known.allows(value):
            allowed = ", ".join(known.words) or "0 to 10" if known else ", ".join(QUESTIONS)
            msg = f"{question!r} must be answered with one of {allowed}, not {value!r}"
            raise UsageError(msg)
        table = schema.answers
        following = select(func.count()).select_from(table).where(table.c.visit_id == visit_id)
        with self._writing() as connection:
            answer = Answer(
                str(uuid.uuid4()),
                visit_id,
                connection.execute(following).scalar_one(),
                block_id,
                moment,
                question,
                value,
                at_utc,
            )
            connection.execute(insert(schema.answers).values(**asdict(answer)))
        return answer

    def answers(
        self, visit_id: str | None = None, *, visit_ids: Sequence[str] | None = None
    ) -> list[Answer]:
        """List answers in the order they were given, of one visit, of some or of all."""
        table = schema.answers
        query = select(table).order_by(table.c.visit_id, table.c.number)
        if visit_id is not None:
            query = query.where(table.c.visit_id == visit_id)
        rows = self._rows(query, table.c.visit_id, visit_ids)
        return self._built(rows, fitting.answer, "answer", "answer_id")


def _place(connection: Connection, header: VisitHeader) -> int:
    """Return a visit's place among the person's; its own number unless a merge gave it away.

    A number that was recorded twice is refused by the database.
    """
    table = schema.visits
    taken = connection.execute(
        select(table.c.header_json).where(
            table.c.person == header.person, table.c.sequence == header.sequence
        )
    ).scalar()
    if taken is None or json.loads(taken)["sequence"] == header.sequence:
        return header.sequence
    last = select(func.max(table.c.sequence)).where(table.c.person == header.person)
    return int(connection.execute(last).scalar_one()) + 1
