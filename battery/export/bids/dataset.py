"""The records as a dataset of the Brain Imaging Data Structure: motion, events, behaviour.

Jeung S et al. (2024), Motion-BIDS: an extension to the brain imaging data structure to organize
motion data for reproducible research, Sci Data 11:716, and the BIDS specification 1.10.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from importlib.metadata import version
from pathlib import Path
from typing import Any

from battery.answers import ASKED_TWICE, latest
from battery.effective import visits_of
from battery.errors import RecordError
from battery.export.bids import bids_texts as texts
from battery.export.bids.bids_files import (
    NONE,
    new_folder,
    write_events,
    write_frames,
    write_json,
    write_motion,
    write_scores,
    write_stim,
    write_trials,
    write_tsv,
)
from battery.export.choosing import deidentify
from battery.export.choosing.codes import Codes, check_key_list, write_key_list
from battery.export.choosing.deidentify import Days
from battery.export.choosing.selection import EVERYTHING, Selection
from battery.export.dictionary.all_tables import SCORES as SCORE_TABLE
from battery.export.on_disk.package import AUTHORS, LICENCE
from battery.export.writing import tables
from battery.files import inside
from battery.flagging import Flagging
from battery.recording import Block
from battery.scoring import SCORING_VERSION
from battery.store import BlockRecord, Person, Store, VisitRecord

MONDAY = datetime(1900, 1, 1)  # noqa: DTZ001  # made up; a series of 24 years ends before 1925
SCORES = Path("derivatives", "scores")
HANDS = {"left": "handL", "right": "handR"}
Progress = Callable[[int, int], None]


def export_bids(
    store: Store,
    folder: Path | str,
    *,
    selection: Selection = EVERYTHING,
    key_list: Path | None = None,
    progress: Progress | None = None,
) -> dict[str, int]:
    """Write a BIDS dataset of motion, events and behaviour, de-identified.

    The same store gives the same bytes. Who withdrew consent is not in it. Blocks without two
    reports have no motion file.

    Parameters
    ----------
    folder : path
        New or empty.
    selection : Selection
        Which people, tasks and days; by default everything.
    key_list : path, optional
        Draw new codes and identifiers; the file will say whose they are.
    progress : callable, optional
        Called with (visits done, visits in all).

    Returns
    -------
    dict
        Number of participants, sessions and motion files, and of blocks that could not be read
        if there are any.

    Raises
    ------
    UsageError
        If what is asked for cannot be, or the folder holds something.
    StoreError
        If the folder cannot be written; nothing of the dataset is left then.
    """
    step = progress or (lambda _done, _total: None)
    if key_list is not None:
        check_key_list(key_list, folder=Path(folder))
    with store.at_one_moment(), new_folder(Path(folder)) as partial:
        dataset = _Dataset(store, partial, selection, step, new_codes=key_list is not None)
        counts = dataset.write()
        if key_list is not None:
            write_key_list(key_list, dataset.codes, folder=Path(folder))
        return counts


class _Dataset:
    def __init__(
        self,
        store: Store,
        root: Path,
        selection: Selection,
        progress: Progress,
        *,
        new_codes: bool = False,
    ) -> None:
        selection.check(store)
        self._selection = selection
        self._store = store
        self._root = root
        self._progress = progress
        self._flagging = Flagging.read(store)
        self._withdrawn = store.people.withdrawn()
        self.failed: dict[str, str] = {}
        self._with_trials: set[str] = set()  # labels of tasks
        self._systems: set[tuple[str, str, str]] = set()  # task, its label, tracking system
        self._counts = {"participants": 0, "sessions": 0, "motion files": 0}
        self._people = selection.of_people(store)
        chosen = [person.code for person in self._people]
        self.codes = Codes.of_store(chosen)
        if new_codes:
            self.codes = Codes.drawn_for(store, chosen)
            self._people.sort(key=self._code)  # nor does the order lead back
        self._aliases = deidentify.aliases(visit.header for visit in store.visits.all())

    def write(self) -> dict[str, int]:
        visits = {p.code: self._visits(p) for p in self._people}
        n_visits = sum(len(self._selection.of_visits(each)) for each in visits.values())
        self._write_top()
        done = 0
        for person in self._people:
            days = Days.of(person, [v.header for v in visits[person.code]])
            sessions = []
            chosen = self._selection.of_visits(visits[person.code])
            for number, visit in enumerate(visits[person.code], start=1):
                if visit not in chosen:  # the numbers of the others stay
                    continue
                sessions.append(self._session(person, visit, number, days))
                done += 1
                self._progress(done, n_visits)
            if sessions:
                write_tsv(
                    inside(self._root, self._sub(person), f"{self._sub(person)}_sessions.tsv"),
                    ("session_id", "acq_time", *texts.session_columns()),
                    sessions,
                )
        self._write_common()
        for block_id, why in self.failed.items():
            self._store.left_out(f"block {block_id}", why)
        if self.failed:
            self._counts["blocks that cannot be read, left out"] = len(self.failed)
        return self._counts

    def _code(self, person: Person) -> str:
        return self.codes.person(person.code)

    def _sub(self, person: Person) -> str:
        """Return the label that names of a person's files begin with."""
        return f"sub-{self._code(person)}"

    def _visits(self, person: Person) -> list[VisitRecord]:
        return [
            v
            for v in visits_of(self._store, person.code, self._flagging.amended)
            if v.header.person not in self._withdrawn
        ]

    def _write_top(self) -> None:
        write_json(self._root / "dataset_description.json", self._description("raw"))
        (self._root / "README.md").write_text(texts.README, encoding="utf-8", newline="\n")
        write_tsv(
            self._root / "participants.tsv",
            ("participant_id", "handedness", "affected_side", "first_hand"),
            [
                {
                    "participant_id": self._sub(p),
                    "handedness": p.dominant_hand,
                    "affected_side": p.affected_side,
                    "first_hand": p.first_hand,
                }
                for p in self._people
            ],
        )
        write_json(self._root / "participants.json", texts.PARTICIPANTS_JSON)
        write_json(self._root / "sessions.json", texts.sessions_json())
        write_json(self._root / "scans.json", texts.SCANS_JSON)
        self._counts["participants"] = len(self._people)
        scores = self._root / SCORES
        write_json(scores / "dataset_description.json", self._description("derivative"))
        write_json(scores / "desc-scores_beh.json", texts.column_json(SCORE_TABLE.columns))

    def _description(self, kind: str) -> dict[str, Any]:
        """Describe the dataset, or the scores that go with it."""
        licence = str(self._store.setup.setting(LICENCE, ""))
        software = version("coordination-battery")
        name = "Hand-eye coordination on a screen"
        return {
            "Name": name if kind == "raw" else f"{name}: scores",
            "BIDSVersion": texts.BIDS_VERSION,
            "DatasetType": kind,
            "Authors": [str(name) for name in self._store.setup.setting(AUTHORS, [])],
            **({"License": licence} if licence else {}),
            "GeneratedBy": [
                {
                    "Name": "coordination-battery",
                    "Version": software,
                    "Description": f"scoring version {SCORING_VERSION}",
                }
            ],
            "Selection": self._selection.told,
        }

    def _write_common(self) -> None:
        """Write once what all files of a task and a tracking system have in common."""
        for task, label, system in sorted(self._systems):
            tracked = f"task-{label}_tracksys-{system}"
            write_json(
                self._root / f"{tracked}_motion.json", texts.motion_json(task, label, system)
            )
            write_json(self._root / f"task-{label}_events.json", texts.events_json(task, label))
            if label in self._with_trials:
                write_json(self._root / f"task-{label}_beh.json", texts.beh_json(task, label))
            self._write_channels(tracked)

    def _write_channels(self, tracked: str) -> None:
        rows = [
            dict(
                zip(
                    texts.CHANNEL_COLUMNS,
                    (*start, "screen" if "POS" in start else NONE, about),
                    strict=True,
                )
            )
            for *start, about in texts.CHANNELS
        ]
        write_tsv(self._root / f"{tracked}_channels.tsv", texts.CHANNEL_COLUMNS, rows)
        write_json(self._root / f"{tracked}_channels.json", texts.CHANNELS_JSON)

    def _session(
        self, person: Person, visit: VisitRecord, number: int, days: Days
    ) -> dict[str, Any]:
        header = visit.header
        name = f"ses-{number:02d}"
        stem = f"{self._sub(person)}_{name}"
        folder = inside(self._root, self._sub(person), name)
        folder.mkdir(parents=True)
        runs: dict[str, int] = {}
        scans = []
        for record in self._store.records.of_visit(header.visit_id):
            if record.ending is None:  # still running
                continue
            if not self._selection.has_task(record.header.task):
                continue
            try:
                block = self._store.records.load(record.header.block_id)
            except RecordError as error:
                self.failed[record.header.block_id] = str(error)
                continue
            entities = self._entities(block, runs)
            scan = self._write_block(folder, stem, entities, visit, record, block)
            if scan is not None:
                scans.append(scan)
        if scans:
            columns = ("filename", "ending", "excluded", "flags", "block_id")
            write_tsv(folder / f"{stem}_scans.tsv", columns, scans)
        self._counts["sessions"] += 1
        said = self._flagging.answers_of(header.visit_id)
        return {
            "session_id": name,
            "acq_time": _shifted(visit, days),
            "plan_hash": header.plan_hash,
            "device": self._aliases[header.device.alias],
            "scale_source": header.device.screen.scale_source,
            "medication": latest(said, "before", "medication"),
            "weight": latest(said, "before", "weight"),
        } | {
            f"{name}_{moment}": latest(said, moment, name)
            for name in ASKED_TWICE
            for moment in ("before", "after")
        }

    def _entities(self, block: Block, runs: dict[str, int]) -> tuple[str, str, str]:
        """Label of the task, hand and number: by the hand that holds now, practice apart."""
        header = block.header
        hand = HANDS[self._flagging.amended.hand(header.block_id, header.hand)]
        task = texts.label(header.task, header.phase)
        key = f"{task} {hand}"
        runs[key] = runs.get(key, 0) + 1
        return task, hand, f"{runs[key]:02d}"

    def _write_block(
        self,
        folder: Path,
        stem: str,
        entities: tuple[str, str, str],
        visit: VisitRecord,
        record: BlockRecord,
        block: Block,
    ) -> dict[str, Any] | None:
        task, hand, run = entities
        said = f"task-{task}_acq-{hand}_run-{run}"
        below = folder.relative_to(self._root)
        block_id = block.header.block_id
        rows = self._store.scores.trials([block_id]).get(block_id)
        trials = tables.trials_of(block, block_id, rows)
        if trials:
            self._with_trials.add(task)
            write_trials(folder / "beh" / f"{stem}_{said}_beh", trials)
        stored = self._store.scores.of_block(block.header.block_id)
        scores = [tables.score_row(row, self.codes) for row in stored]
        if scores:
            beh = self._root / SCORES / below / "beh"
            write_scores(beh / f"{stem}_{said}_desc-scores_beh.tsv", scores)
        source = self._root / "sourcedata" / below
        write_frames(source / f"{stem}_{said}_frames.tsv.gz", block)
        if len(block.samples) < 2:
            return None
        # Hand and number stand in the label of the system, since some readers want no entity
        # after it and the standard wants none before.
        entity = f"{stem}_task-{task}_tracksys-{hand}{run}"
        self._systems.add((block.header.task, task, f"{hand}{run}"))
        motion = folder / "motion" / f"{entity}_motion"
        write_motion(motion, visit, block)
        write_events(motion.with_name(f"{entity}_events"), block)
        write_stim(motion.with_name(f"{entity}_stim"), block, task)
        self._counts["motion files"] += 1
        held = self._flagging.amended
        excluded = held.excluded(block.header.block_id) or held.excluded(visit.header.visit_id)
        return {
            "filename": f"motion/{motion.name}.tsv",
            "ending": record.ending,
            "excluded": "yes" if excluded else "no",
            "flags": " ".join(
                tables.flags_of_block(record, visit.header, self._flagging, scores)
            )
            or None,
            "block_id": self.codes.identifier(block.header.block_id),
        }


def _shifted(visit: VisitRecord, days: Days) -> str:
    """Return a day before 1925 with the true weekday and the start of its three hours."""
    header = visit.header
    day = days.day(header.started_utc, header.utc_offset_min) or 0
    weekday = days.zero.weekday() if days.zero else 0
    hour = int(deidentify.hour_bin(header)[:2])
    return (MONDAY + timedelta(days=weekday + day, hours=hour)).isoformat()
