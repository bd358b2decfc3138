"""What is said about the records later: scores, amendments, markers. Raw stays as it was."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import asdict
from functools import partial
from typing import Any, Literal, get_args

from sqlalchemy import delete, insert, or_, select

from battery import forms
from battery.errors import UsageError
from battery.recording import HANDS
from battery.scoring.score import Score
from battery.store import fitting, rebuild, schema
from battery.store.amended import Amended
from battery.store.base import Connected
from battery.store.fitting import AMENDABLE, YES_NO
from battery.store.rows import Amendment, Marker, MarkerKind, ScoreRow


class Beside(Connected):
    """Scores, amendments and markers."""

    def put_scores(self, block_id: str, scores: Sequence[Score]) -> None:
        """Store a block's scores in place of those it had."""
        rows = [rebuild.score_values(block_id, score) for score in scores]
        with self._writing() as connection:
            connection.execute(
                delete(schema.scores).where(schema.scores.c.block_id == block_id)
            )
            if rows:
                connection.execute(insert(schema.scores), rows)

    def scores(
        self, person: str | None = None, *, measures: Sequence[str] | None = None
    ) -> list[ScoreRow]:
        """List stored scores, of one person or of all, in order of visit, block and measure.

        Parameters
        ----------
        measures : sequence of str, optional
            Only these.
        """
        query = (
            select(schema.scores)
            .join(schema.blocks, schema.blocks.c.block_id == schema.scores.c.block_id)
            .join(schema.visits, schema.visits.c.visit_id == schema.blocks.c.visit_id)
            .order_by(
                schema.visits.c.person,
                schema.visits.c.sequence,
                schema.blocks.c.number,
                schema.scores.c.measure,
            )
        )
        if person is not None:
            query = query.where(schema.visits.c.person == person)
        if measures is not None:
            query = query.where(schema.scores.c.measure.in_(measures))
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, rebuild.score_row, "scores of block", "block_id")

    def block_scores(self, block_id: str) -> list[ScoreRow]:
        """List a block's stored scores in order of measure."""
        query = (
            select(schema.scores)
            .where(schema.scores.c.block_id == block_id)
            .order_by(schema.scores.c.measure)
        )
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, rebuild.score_row, "scores of block", "block_id")

    def visit_scores(self, visit_id: str) -> dict[str, list[ScoreRow]]:
        """List the stored scores of a visit's blocks, each in order of measure."""
        query = (
            select(schema.scores)
            .join(schema.blocks, schema.blocks.c.block_id == schema.scores.c.block_id)
            .where(schema.blocks.c.visit_id == visit_id)
            .order_by(schema.scores.c.block_id, schema.scores.c.measure)
        )
        found: dict[str, list[ScoreRow]] = {}
        with self._reading() as connection:
            for row in connection.execute(query).mappings():
                found.setdefault(row["block_id"], []).append(rebuild.score_row(row))
        return found

    def amend(
        self,
        target: Literal["visit", "block"],
        target_id: str,
        field: str,
        new: str,
        *,
        author: str,
        reason: str,
        at_utc: str,
    ) -> Amendment:
        """Say what holds from now on in place of a field of a visit or block.

        The record and earlier amendments stay; `old` is what held until now.

        Raises
        ------
        UsageError
            If there is no such visit, block or field, the value cannot be, or author or
            reason is empty.
        """
        self._check(target, field, new, author, reason)
        old = self._held(target, target_id, field)
        amendment = Amendment(
            str(uuid.uuid4()), target, target_id, field, old, new, author, reason, at_utc
        )
        row = {
            f"{target}_id": target_id,
            **{k: v for k, v in asdict(amendment).items() if k not in ("target", "target_id")},
        }
        with self._writing() as connection:
            connection.execute(insert(schema.amendments).values(**row))
        return amendment

    def amendments(self, person: str | None = None) -> list[Amendment]:
        """List amendments in order of time, of one person's record or of all.

        The person is the one whose record it was when it was made.
        """
        table = schema.amendments
        query = select(table).order_by(table.c.at_utc, table.c.amendment_id)
        if person is not None:
            visits = select(schema.visits.c.visit_id).where(schema.visits.c.person == person)
            blocks = select(schema.blocks.c.block_id).where(
                schema.blocks.c.visit_id.in_(visits)
            )
            query = query.where(or_(table.c.visit_id.in_(visits), table.c.block_id.in_(blocks)))
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, _amendment, "amendment", "amendment_id")

    def add_marker(
        self, person: str, kind: MarkerKind, *, at_utc: str, note: str = ""
    ) -> Marker:
        """Keep a dated event around a person.

        Raises
        ------
        UsageError
            If it is no kind of event.
        """
        if kind not in get_args(MarkerKind):
            msg = f"{kind!r} is no kind of event; kinds are {', '.join(get_args(MarkerKind))}"
            raise UsageError(msg)
        marker = Marker(str(uuid.uuid4()), person, kind, at_utc, note)
        with self._writing() as connection:
            connection.execute(insert(schema.markers).values(**asdict(marker)))
        return marker

    def markers(self, person: str | None = None) -> list[Marker]:
        """List events in order of time, of one person or of all."""
        query = select(schema.markers).order_by(
            schema.markers.c.at_utc, schema.markers.c.marker_id
        )
        if person is not None:
            query = query.where(schema.markers.c.person == person)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitting.fitted, Marker), "event", "marker_id")

    def _check(self, target: str, field: str, new: str, author: str, reason: str) -> None:
        if field not in AMENDABLE[target]:
            can = ", ".join(AMENDABLE[target])
            msg = f"{field!r} of a {target} cannot be amended; {can} can"
            raise UsageError(msg)
        words = {"hand": HANDS, "helped": YES_NO, "excluded": YES_NO}.get(field)
        if words is not None and new not in words:
            msg = f"{field} {new!r}: say {' or '.join(words)}"
            raise UsageError(msg)
        if field == "person":
            query = select(schema.people.c.code).where(schema.people.c.code == new)
            with self._reading() as connection:
                if connection.execute(query).first() is None:
                    msg = f"no person {new!r} in this store; nothing was amended"
                    raise UsageError(msg)
        if not author.strip() or not reason.strip():
            msg = f"an amendment needs an author and a reason; {author=} {reason=}"
            raise UsageError(msg)

    def _held(self, target: str, target_id: str, field: str) -> str:
        """Return what holds now: the latest amendment, else the record."""
        table = schema.visits if target == "visit" else schema.blocks
        record = select(table).where(table.c[f"{target}_id"] == target_id)
        with self._reading() as connection:
            row = connection.execute(record).mappings().first()
        if row is None:
            msg = f"no {target} {target_id!r} in this store; nothing was amended"
            raise UsageError(msg)
        unamended = {"helped": "", "excluded": "no", "note": ""}
        recorded = unamended[field] if field in unamended else str(row[field])
        return Amended(self.amendments()).held(target_id, field, recorded)


def _amendment(row: Any) -> Amendment:
    fitting.hold_amendment(row)
    forms.moment(row["at_utc"])
    target: Literal["visit", "block"] = "visit" if row["visit_id"] else "block"
    rest = {key: row[key] for key in ("field", "old", "new", "author", "reason", "at_utc")}
    return Amendment(
        amendment_id=row["amendment_id"],
        target=target,
        target_id=row[f"{target}_id"],
        **rest,
    )
