"""The export: every record of the store as tidy tables, de-identified, the same every time."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from battery.effective import visits_of
from battery.export.choosing import deidentify
from battery.export.choosing.codes import Codes, check_key_list, write_key_list
from battery.export.choosing.deidentify import Days
from battery.export.choosing.selection import EVERYTHING, Selection
from battery.export.dictionary.all_tables import TABLES
from battery.export.on_disk.csv_copy import write_csv
from battery.export.on_disk.package import About, write_package
from battery.export.on_disk.signing import Sign
from battery.export.on_disk.table_files import SINGLE, TableWriter, names_of, replacing
from battery.export.writing import tables
from battery.export.writing.around import Around, Bands
from battery.export.writing.kept import Kept
from battery.export.writing.parts import (
    BlockJob,
    PartDone,
    PartJob,
    PartWriting,
    closes,
    writing,
)
from battery.export.writing.settings_text import SettingsText
from battery.flagging import Flagging
from battery.recording import Device, VisitHeader
from battery.store import Amendment, BlockRecord, Person, ScoreRow, Store, VisitRecord
from battery.workers import seldom_collected

Progress = Callable[[int, int], None]
RAW = frozenset({"samples", "frames"})
VISITS_AT_ONCE = 16  # whose blocks and scores are asked for in one question


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written.

    Attributes
    ----------
    n_rows : dict
        Rows of each table.
    failed : dict of block to reason
        Blocks that could not be read, and are not in it.
    n_without_consent : int
        People left out for having given no consent to research use.
    digest : str
        Of everything in the export, as its descriptor states it.
    """

    n_rows: dict[str, int]
    failed: dict[str, str]
    n_without_consent: int
    digest: str


@dataclass(frozen=True, slots=True)
class Form:
    """How an export is written.

    Parameters
    ----------
    csv : bool
        As compressed CSV beside Parquet too, samples and frames excepted.
    raw_csv : bool
        Samples and frames too.
    key_list : Path, optional
        Draw new codes and identifiers; the file will say whose they are.
    n_processes : int, optional
        Default: one a core, fewer for few blocks. The bytes do not depend on it.
    """

    csv: bool = False
    raw_csv: bool = False
    key_list: Path | None = None
    n_processes: int | None = None


def export_tidy(
    store: Store,
    folder: Path | str,
    *,
    selection: Selection = EVERYTHING,
    form: Form | None = None,
    bands: Bands = (),
    sign: Sign | None = None,
    now: datetime | None = None,
    progress: Progress | None = None,
) -> Exported:
    """Write people, visits, blocks, trials, samples, events, frames, scores and what is around.

    De-identified: relative days, aliases, no free text. Only who gave consent to research use
    is in it. The same store gives the same bytes, but for when it was made. Written in parts of
    about a thousand blocks, so that memory does not grow with the store; a part that is there
    already with the same bytes is left as it is.

    Parameters
    ----------
    store : Store
    folder : path
        New, empty, or an earlier export, which is replaced.
    selection : Selection
        Which people, tasks and days; by default everything.
    form : Form, optional
    bands : iterable of (str, dict)
        By code: what the page says, as rows of `bands` without the person.
    sign : callable, optional
        Signs with the clinic's key.
    now : datetime, optional
        When it is made; default: the wall clock.
    progress : callable, optional
        Called with (visits done, visits in all).

    Raises
    ------
    UsageError
        If what is asked for cannot be, or the folder holds something else.
    StoreError
        If the folder cannot be written. An earlier export then stays as it was.
    """
    how = form or Form()
    target = Path(folder)
    if how.key_list is not None:
        check_key_list(how.key_list, folder=target)
    with store.at_one_moment(), seldom_collected():
        kept = Kept(store, target)
        run = _Run(store, selection, how, kept, progress or (lambda _done, _total: None))
        with replacing(target) as partial:
            n_parts, n_rows = run.write(partial, bands)
            write_csv(partial, _as_csv(how), n_parts)
            about = About.of(
                store,
                selection,
                new_codes=run.codes.are_new,
                made=now or datetime.now(UTC),
                n_damaged=len(run.failed),
            )
            digest = write_package(partial, n_rows, n_parts, about, sign)
            if how.key_list is not None:
                write_key_list(how.key_list, run.codes, folder=target)
        if how.key_list is None:  # codes that were drawn never come again
            kept.note()
        return Exported(n_rows, run.failed, selection.n_without_consent(store), digest)


def _as_csv(form: Form) -> list[str]:
    if not (form.csv or form.raw_csv):
        return []
    return [name for name in TABLES if form.raw_csv or name not in RAW]


@dataclass
class _Used:
    """What the exported visits refer to."""

    devices: dict[str, Device] = field(default_factory=dict)
    plans: set[str] = field(default_factory=set)
    measures: set[str] = field(default_factory=set)
    settings: dict[str, tables.Row] = field(default_factory=dict)
    visits: set[str] = field(default_factory=set)
    amended: dict[str, str] = field(default_factory=dict)  # visit or block to person


class _Run:
    def __init__(
        self, store: Store, selection: Selection, form: Form, kept: Kept, progress: Progress
    ) -> None:
        self._kept = kept
        selection.check(store)
        self._store = store
        self._selection = selection
        self._form = form
        self._progress = progress
        self._withdrawn = store.people.withdrawn()
        self._amendments: dict[str, list[Amendment]] = {}
        for amendment in store.annotations.amendments():
            self._amendments.setdefault(amendment.target_id, []).append(amendment)
        self._flagging = Flagging.read(store)
        self._used = _Used()
        self._people = selection.of_people(store)
        everybody = store.people.all()
        chosen = [person.code for person in self._people]
        if form.key_list is None:
            self.codes = Codes.of_store(chosen)
        else:
            self.codes = Codes.drawn_for(store, chosen)
            self._people.sort(key=lambda person: self.codes.person(person.code))
        self._aliases = deidentify.aliases(
            visit.header for p in everybody for visit in store.visits.all(p.code)
        )
        self.failed: dict[str, str] = {}
        self._waiting: list[tuple[tuple[BlockJob, ...], list[tables.Row]]] = []
        self._answers: dict[int, list[tables.Row]] = {}
        self._in_parts = {name: 0 for name, table in TABLES.items() if table.in_parts}

    def write(self, partial: Path, bands: Bands) -> tuple[int, dict[str, int]]:
        """Write all tables; return the number of parts and the rows of each table."""
        n_blocks = self._store.records.n_finished()
        with ExitStack() as stack:
            self._writers = {
                name: stack.enter_context(
                    TableWriter(TABLES[name], partial / names_of(name, 0)[0])
                )
                for name in sorted(SINGLE)
            }
            with writing(
                self._store, n_blocks, self._took, kept=self._kept.part,
                n_processes=self._form.n_processes,
            ) as parts:  # fmt: skip
                n_parts, days = self._write_visits(partial, parts)
            self._write_around(days, bands)
            self._write_referred()
        counts = {name: writer.n_rows for name, writer in self._writers.items()}
        return n_parts, {name: (counts | self._in_parts)[name] for name in TABLES}

    def _write_visits(self, partial: Path, parts: PartWriting) -> tuple[int, dict[str, Days]]:
        visits = {p.code: self._visits(p) for p in self._people}
        n_visits = sum(len(self._selection.of_visits(each)) for each in visits.values())
        calendar: dict[str, Days] = {}
        done = number = n_blocks = 0
        for person in self._people:
            theirs = visits[person.code]
            days = Days.of(person, [visit.header for visit in theirs])
            calendar[person.code] = days
            chosen = self._selection.of_visits(theirs)
            self._put("people", [tables.person_row(person, days, len(chosen), self.codes)])
            for visit, blocks in self._with_blocks(chosen):
                n_blocks += self._visit(person.code, visit, blocks, days)
                if closes(visit.header.visit_id, n_blocks):
                    number += 1
                    parts.submit(self._part(number, partial))
                    n_blocks = 0
                done += 1
                self._progress(done, n_visits)
        if self._waiting or number == 0:
            number += 1
            parts.submit(self._part(number, partial))
        parts.finish()
        return number, calendar

    def _part(self, number: int, partial: Path) -> PartJob:
        waiting, self._waiting = self._waiting, []
        self._answers[number] = [row for _, rows in waiting for row in rows]
        return PartJob(number, partial, tuple(blocks for blocks, _ in waiting))

    def _took(self, job: PartJob, done: PartDone) -> None:
        """Keep what became of a part, and write what hangs on its blocks."""
        self.failed |= done.failed
        if done.failed:
            self._kept.forget(job.number)
        for name, n_rows in done.n_rows.items():
            self._in_parts[name] += n_rows
        lost = {self.codes.identifier(block_id) for block_id in done.failed}
        answers = self._answers.pop(job.number)
        self._put("answers", [row for row in answers if row["block_id"] not in lost])
        for block_id in done.failed:
            self._used.amended.pop(block_id, None)

    def _visits(self, person: Person) -> list[VisitRecord]:
        """Visits that are this person's, amendments included, as the page numbers them.

        A visit that was recorded under a person who withdrew stays out.
        """
        return [
            visit
            for visit in visits_of(self._store, person.code, self._flagging.amended)
            if visit.header.person not in self._withdrawn
        ]

    def _with_blocks(
        self, visits: Sequence[VisitRecord]
    ) -> Iterator[tuple[VisitRecord, tuple[BlockJob, ...]]]:
        for start in range(0, len(visits), VISITS_AT_ONCE):
            some = visits[start : start + VISITS_AT_ONCE]
            records = self._store.records.of_visits([v.header.visit_id for v in some])
            ids = [record.header.block_id for own in records.values() for record in own]
            scores = self._store.scores.by_block(ids)
            for visit in some:
                own = records[visit.header.visit_id]
                yield visit, self._blocks(visit.header, own, scores)

    def _visit(
        self, code: str, visit: VisitRecord, blocks: tuple[BlockJob, ...], days: Days
    ) -> int:
        """Write a visit's row and set its blocks aside for their part; return how many."""
        header, used = visit.header, self._used
        alias = self._aliases[header.device.alias]
        amended = self._flagging.amended
        self._put("visits", [tables.visit_row(visit, days, alias, amended, self.codes)])
        used.devices[header.device.alias] = header.device  # of the latest visit
        used.plans.add(header.plan_hash)
        used.visits.add(header.visit_id)
        ids = {job.block_id for job in blocks}
        used.amended |= {t: code for t in {header.visit_id} | ids if t in self._amendments}
        answers = [
            tables.answer_row(answer, header, self.codes)
            for answer in self._flagging.answers_of(header.visit_id)
            if answer.block_id is None or answer.block_id in ids
        ]
        self._waiting.append((blocks, answers))
        return len(blocks)

    def _blocks(
        self,
        visit: VisitHeader,
        records: Sequence[BlockRecord],
        stored: Mapping[str, list[ScoreRow]],
    ) -> tuple[BlockJob, ...]:
        jobs = []
        for record in records:
            told = record.header
            if record.ending is None or not self._selection.has_task(told.task):
                continue  # still running, or not asked for
            scores = [tables.score_row(r, self.codes) for r in stored.get(told.block_id, [])]
            text = SettingsText.of(told.task, told.settings)
            settings = tables.settings_row(told.task, text.fixed)
            row = tables.block_row(
                record, visit, self._flagging, scores, self.codes, settings, text.drawn
            )
            jobs.append(BlockJob(told.block_id, row, scores, record, text.whole))
            self._used.settings.setdefault(settings["settings_id"], settings)
            self._used.measures.update(score["measure"] for score in scores)
        return tuple(jobs)

    def _write_around(self, calendar: Mapping[str, Days], bands: Bands) -> None:
        around = Around(self._store, self._selection, self.codes, self._used.visits)
        said: dict[str, list[Amendment]] = {}
        for target, code in self._used.amended.items():
            said.setdefault(code, []).extend(self._amendments[target])
        for code, days in calendar.items():
            for table, rows in around.of_person(code, days):
                self._put(table, rows)
                if table == "person_plans":
                    self._used.plans |= {row["plan_hash"] for row in rows}
            mine = sorted(said.get(code, []), key=lambda a: (a.at_utc, a.amendment_id))
            rows = [tables.amendment_row(a, days, self.codes) for a in mine]
            self._put("amendments", rows)
        self._put("goal_levels", around.goal_levels(calendar))
        self._put("bands", around.bands(bands))
        errors = around.outside_errors()
        self._used.measures.update(row["measure"] for row in errors)
        self._put("outside_errors", errors)

    def _write_referred(self) -> None:
        used = self._used.devices
        seen = used | {device.alias: device for device in self._store.setup.devices()}
        for alias, name in self._aliases.items():
            if alias in used:
                screens = self._store.setup.screen_checks(alias)
                timings = self._store.setup.timing_checks(alias)
                loops = self._store.setup.loop_checks(alias)
                self._put("devices", [tables.device_row(seen[alias], name)])
                self._put("screen_checks", tables.screen_check_rows(screens, name))
                self._put("timing_checks", tables.timing_check_rows(timings, name))
                self._put("loop_checks", tables.loop_check_rows(loops, name))
        set_ = {row.plan_hash: json.loads(row.plan_json) for row in self._store.care.plans()}
        self._put(
            "plans",
            [
                tables.plan_row(plan_hash, content)
                for plan_hash, content in sorted((set_ | self._store.setup.plans()).items())
                if plan_hash in self._used.plans
            ],
        )
        self._put("settings", [row for _, row in sorted(self._used.settings.items())])
        self._put("measures", tables.measure_rows(self._used.measures))

    def _put(self, table: str, rows: list[tables.Row]) -> None:
        self._writers[table].write(rows)
