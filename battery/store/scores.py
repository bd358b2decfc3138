"""The scores of blocks. Raw stays as it was."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from operator import attrgetter
from typing import Any

from sqlalchemy import delete, insert, select

from battery.scoring.score import Score
from battery.store import rebuild, schema
from battery.store.base import AT_ONCE, Connected
from battery.store.rows.recorded import ScoreRow
from battery.store.trial_rows import TrialRow, trial_values, unpacked_trials


class Scores(Connected):
    """Scores, each beside the block it was computed of."""

    def put(
        self, block_id: str, scores: Sequence[Score], trials: Sequence[TrialRow] | None = None
    ) -> None:
        """Store a block's scores, and the rows of its trials, in place of those it had.

        Parameters
        ----------
        trials : sequence of dict, optional
            Of this scoring version, with values that JSON can hold; without them an export
            computes them.
        """
        rows = [rebuild.score_values(block_id, score) for score in scores]
        with self._writing() as connection:
            for table in (schema.scores, schema.trials):
                connection.execute(delete(table).where(table.c.block_id == block_id))
            if rows:
                connection.execute(insert(schema.scores), rows)
            if trials is not None:
                connection.execute(insert(schema.trials), trial_values(block_id, trials))

    def trials(self, block_ids: Sequence[str] | None = None) -> dict[str, list[TrialRow]]:
        """Return the rows of trials of some blocks or of all, of this scoring version.

        Rows that are not what was stored are noted and left out.
        """
        rows = self._rows(select(schema.trials), schema.trials.c.block_id, block_ids)
        built = self._built(rows, unpacked_trials, "trials of block", "block_id")
        return {block_id: trials for block_id, trials in built if trials is not None}

    def trial_marks(self, block_ids: Sequence[str]) -> dict[str, tuple[Any, Any]]:
        """Return scoring version and hash of the rows of trials of some blocks, unread."""
        table = schema.trials
        columns = select(table.c.block_id, table.c.scoring_version, table.c.sha256)
        rows = self._tuples(columns, table.c.block_id, block_ids)
        return {block_id: (version, held) for block_id, version, held in rows}

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
            select(*_SCORE)
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
        return self._built(self._tuples(query), rebuild.score_row, "scores of block", 0)

    def by_block(
        self, block_ids: Sequence[str] | None = None, *, measures: Sequence[str] | None = None
    ) -> dict[str, list[ScoreRow]]:
        """List the stored scores of some blocks or of all, each in order of measure.

        Parameters
        ----------
        block_ids : sequence of str, optional
            Of these only.
        measures : sequence of str, optional
            Only these.
        """
        query = select(*_SCORE)
        if measures is not None:
            query = query.where(schema.scores.c.measure.in_(measures))
        return self._sorted(self._tuples(query, schema.scores.c.block_id, block_ids))

    def _sorted(self, rows: Sequence[Sequence[Any]]) -> dict[str, list[ScoreRow]]:
        found: dict[str, list[ScoreRow]] = {}
        for score in self._built(rows, rebuild.score_row, "scores of block", 0):
            found.setdefault(score.block_id, []).append(score)
        for own in found.values():
            own.sort(key=_measure)
        return found

    def by_task(
        self, block_ids: Mapping[str, Sequence[str]], measures: Mapping[str, Sequence[str]]
    ) -> dict[str, list[ScoreRow]]:
        """List some measures of blocks sorted by their task, each in order of measure.

        Each score is looked up by its own key, which is half the price of going by visits.

        Parameters
        ----------
        block_ids : mapping of task to sequence of str
        measures : mapping of task to sequence of str
        """
        found: dict[str, list[ScoreRow]] = {}
        for task, ids in block_ids.items():
            if task in measures:
                found |= self.by_block(ids, measures=measures[task])
        return found

    def values(self, block_ids: Sequence[str]) -> dict[str, dict[str, Any]]:
        """Return the values of some blocks by measure, as they lie in the store, unchecked.

        None where a value is missing; a text where a row cannot be read. For what looks at very
        many of them at once.
        """
        table = schema.scores
        query = select(*(table.c[name] for name in _FOR_VALUES))
        found: dict[str, dict[str, Any]] = {}
        with self._reading() as connection:
            for start in range(0, len(block_ids), AT_ONCE):
                part = block_ids[start : start + AT_ONCE]
                rows = connection.execute(query.where(table.c.block_id.in_(part))).all()
                for block_id, measure, value, n, version in rows:
                    whole = type(n) is int and type(version) is int
                    if block_id not in found:
                        found[block_id] = {}
                    found[block_id][measure] = value if whole else "cannot be read"
        return found

    def of_block(self, block_id: str) -> list[ScoreRow]:
        """List a block's stored scores in order of measure."""
        query = (
            select(*_SCORE)
            .where(schema.scores.c.block_id == block_id)
            .order_by(schema.scores.c.measure)
        )
        return self._built(self._tuples(query), rebuild.score_row, "scores of block", 0)

    def of_visit(self, visit_id: str) -> dict[str, list[ScoreRow]]:
        """List the stored scores of a visit's blocks, each in order of measure."""
        query = (
            select(*_SCORE)
            .join(schema.blocks, schema.blocks.c.block_id == schema.scores.c.block_id)
            .where(schema.blocks.c.visit_id == visit_id)
            .order_by(schema.scores.c.block_id, schema.scores.c.measure)
        )
        rows = self._tuples(query)
        found: dict[str, list[ScoreRow]] = {}
        for score in self._built(rows, rebuild.score_row, "scores of block", 0):
            found.setdefault(score.block_id, []).append(score)
        return found


_measure = attrgetter("measure")
_SCORE = [schema.scores.c[name] for name in rebuild.SCORE_COLUMNS]
_FOR_VALUES = ("block_id", "measure", "value", "n", "scoring_version")
