"""The scores of blocks. Raw stays as it was."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import delete, insert, select

from battery.scoring.score import Score
from battery.store import rebuild, schema
from battery.store.base import Connected
from battery.store.rows import ScoreRow


class Scores(Connected):
    """Scores, each beside the block it was computed of."""

    def put(self, block_id: str, scores: Sequence[Score]) -> None:
        """Store a block's scores in place of those it had."""
        rows = [rebuild.score_values(block_id, score) for score in scores]
        with self._writing() as connection:
            connection.execute(
                delete(schema.scores).where(schema.scores.c.block_id == block_id)
            )
            if rows:
                connection.execute(insert(schema.scores), rows)

    def all(
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

    def of_block(self, block_id: str) -> list[ScoreRow]:
        """List a block's stored scores in order of measure."""
        query = (
            select(schema.scores)
            .where(schema.scores.c.block_id == block_id)
            .order_by(schema.scores.c.measure)
        )
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, rebuild.score_row, "scores of block", "block_id")

    def of_visit(self, visit_id: str) -> dict[str, list[ScoreRow]]:
        """List the stored scores of a visit's blocks, each in order of measure."""
        query = (
            select(schema.scores)
            .join(schema.blocks, schema.blocks.c.block_id == schema.scores.c.block_id)
            .where(schema.blocks.c.visit_id == visit_id)
            .order_by(schema.scores.c.block_id, schema.scores.c.measure)
        )
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        found: dict[str, list[ScoreRow]] = {}
        for score in self._built(rows, rebuild.score_row, "scores of block", "block_id"):
            found.setdefault(score.block_id, []).append(score)
        return found
