"""The export: every record of the store as tidy tables, de-identified, the same every time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from battery.effective import visits_of
from battery.export import deidentify, tables
from battery.export.deidentify import Days
from battery.export.dictionary import TABLES
from battery.export.files import TableWriter, replacing
from battery.export.package import write_package
from battery.export.selection import EVERYTHING, Selection
from battery.flagging import Flagging
from battery.store import Amended, Amendment, Person, Store, VisitRecord

Progress = Callable[[int, int], None]


def export_tidy(
    store: Store,
    folder: Path | str,
    *,
    selection: Selection = EVERYTHING,
    progress: Progress | None = None,
) -> dict[str, int]:
    """Write people, visits, blocks, trials, samples, events, frames and scores.

    De-identified: relative days, aliases, no free text. Who withdrew consent is not in it. The
    same store gives the same bytes. Blocks are written one after another, so that memory does
    not grow with the store.

    Parameters
    ----------
    store : Store
    folder : path
        New, empty, or an earlier export, which is replaced.
    selection : Selection
        Which people, tasks and days; by default everything.
    progress : callable, optional
        Called with (visits done, visits in all).

    Returns
    -------
    dict
        Rows of each table.

    Raises
    ------
    UsageError
        If what is asked for cannot be, or the folder holds something else.
    StoreError
        If the folder cannot be written. An earlier export then stays as it was.
    """
    with store.at_one_moment():
        run = _Run(store, selection, progress or (lambda _done, _total: None))
        with replacing(Path(folder)) as partial:
            with ExitStack() as stack:
                writers = {
                    name: stack.enter_context(TableWriter(table, partial))
                    for name, table in TABLES.items()
                }
                run.write(writers)
            counts = {name: writer.n_rows for name, writer in writers.items()}
            write_package(partial, counts)
    return counts


@dataclass
class _Used:
    """What the exported visits refer to."""

    devices: set[str] = field(default_factory=set)
    plans: set[str] = field(default_factory=set)
    measures: set[str] = field(default_factory=set)


class _Run:
    def __init__(self, store: Store, selection: Selection, progress: Progress) -> None:
        selection.check(store)
        self._store = store
        self._selection = selection
        self._progress = progress
        self._withdrawn = store.withdrawn()
        self._amendments = store.amendments()
        self._amended = Amended(self._amendments)
        self._flagging = Flagging.read(store)
        self._used = _Used()
        everybody = sorted(store.list_people(), key=lambda p: p.code)
        self._people = selection.of_people(
            [p for p in everybody if p.code not in self._withdrawn]
        )
        self._aliases = deidentify.aliases(
            visit.header for p in everybody for visit in store.visits(p.code)
        )

    def write(self, writers: Mapping[str, TableWriter]) -> None:
        n_visits = sum(len(self._selection.of_visits(self._visits(p))) for p in self._people)
        done = 0
        for person in self._people:
            visits = self._visits(person)
            days = Days.of(person, [visit.header for visit in visits])
            chosen = self._selection.of_visits(visits)
            writers["people"].write([tables.person_row(person, days, len(chosen))])
            targets: set[str] = set()
            for visit in chosen:
                targets |= self._write_visit(writers, visit, days)
                done += 1
                self._progress(done, n_visits)
            writers["markers"].write(
                [
                    tables.marker_row(m, days)
                    for m in self._store.markers(person.code)
                    if self._selection.has_day(days.date_of(m.at_utc))
                ]
            )
            writers["practice"].write(
                [
                    tables.practice_row(p, days)
                    for p in self._store.home_exercises(person.code)
                    if self._selection.has_day(date.fromisoformat(p.local_date))
                ]
            )
            writers["amendments"].write(
                [tables.amendment_row(a, days) for a in self._said_of(targets)]
            )
        self._write_referred(writers)

    def _visits(self, person: Person) -> list[VisitRecord]:
        """Visits that are this person's, amendments included, as the page numbers them.

        A visit that was recorded under a person who withdrew stays out.
        """
        return [
            visit
            for visit in visits_of(self._store, person.code, self._amended)
            if visit.header.person not in self._withdrawn
        ]

    def _write_visit(
        self, writers: Mapping[str, TableWriter], visit: VisitRecord, days: Days
    ) -> set[str]:
        """Write a visit with its blocks; return the identifiers of both."""
        header = visit.header
        alias = self._aliases[header.device.alias]
        writers["visits"].write([tables.visit_row(visit, days, alias, self._amended)])
        self._used.devices.add(header.device.alias)
        self._used.plans.add(header.plan_hash)
        written = {header.visit_id}
        for record in self._store.blocks(header.visit_id):
            if record.ending is None:  # still running
                continue
            if not self._selection.has_task(record.header.task):
                continue
            block = self._store.load_block(record.header.block_id)
            rows = self._store.block_scores(record.header.block_id)
            scores = [tables.score_row(row) for row in rows]
            writers["blocks"].write(
                [tables.block_row(block, record, header, self._flagging, scores)]
            )
            writers["trials"].write(tables.trials_of(block))
            writers["samples"].write(tables.samples_of(block))
            writers["events"].write(tables.events_of(block))
            writers["frames"].write(tables.frames_of(block))
            writers["scores"].write(scores)
            self._used.measures.update(score["measure"] for score in scores)
            written.add(record.header.block_id)
        writers["answers"].write(
            [
                tables.answer_row(answer, header)
                for answer in self._flagging.answers_of(header.visit_id)
                if answer.block_id is None or answer.block_id in written
            ]
        )
        return written

    def _said_of(self, targets: set[str]) -> Iterator[Amendment]:
        """Amendments of these visits and blocks, none that names who withdrew."""
        for amendment in self._amendments:
            named = {amendment.old, amendment.new} if amendment.field == "person" else set()
            if amendment.target_id in targets and not named & self._withdrawn:
                yield amendment

    def _write_referred(self, writers: Mapping[str, TableWriter]) -> None:
        seen = {device.alias: device for device in self._store.devices()}
        writers["devices"].write(
            [
                tables.device_row(seen[alias], name)
                for alias, name in self._aliases.items()
                if alias in self._used.devices
            ]
        )
        for alias, name in self._aliases.items():
            if alias in self._used.devices:
                screens = self._store.screen_checks(alias)
                timings = self._store.timing_checks(alias)
                writers["screen_checks"].write(tables.screen_check_rows(screens, name))
                writers["timing_checks"].write(tables.timing_check_rows(timings, name))
        writers["plans"].write(
            [
                tables.plan_row(plan_hash, content)
                for plan_hash, content in self._store.plans().items()
                if plan_hash in self._used.plans
            ]
        )
        writers["measures"].write(tables.measure_rows(self._used.measures))
