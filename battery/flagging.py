"""All flags of a stored block: its record, the answers around it, its device's last check.

The page and the export ask here, so that both say the same.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from statistics import median
from typing import Self

from battery.answers import Answer, hand_flags, latest, visit_flags
from battery.recording import PROTOCOL_VERSION, Device, TimingAudit, VisitHeader
from battery.scoring.flags import Value, check_flags, flags_of
from battery.store import Amended, BlockBrief, Store, TimingCheck, VisitRecord

WINDOW_H = 2.0
USUAL_VISITS = 6  # getting used to it and baseline: they say what is usual
MIN_ANSWERS = 3
LEARNING_VISITS = 6
FEW_LAYOUTS = {"slide"}  # there are two, so that they come again
POINTERS = {"mouse", "touch"}


@dataclass(frozen=True, slots=True)
class Usual:
    """What a person's first visits had in common.

    Parameters
    ----------
    hour : float
        Median hour of the day, local.
    medication : str or None
        The most frequent answer about medicine; None with fewer than three answers, or when
        two are as frequent.
    """

    hour: float
    medication: str | None


def history(
    visits: Sequence[VisitHeader], blocks: Mapping[str, Sequence[BlockBrief]]
) -> dict[str, list[str]]:
    """List what is told by the visits before, by identifier of visit or block.

    Parameters
    ----------
    visits : sequence of VisitHeader
        Of one person, in order.
    blocks : mapping of visit to its blocks
    """
    raised: dict[str, list[str]] = {}
    seen: set[tuple[str, str]] = set()
    device: Device | None = None
    pointers: set[str] = set()
    for number, visit in enumerate(visits, start=1):
        told = raised.setdefault(visit.visit_id, [])
        if number <= LEARNING_VISITS:
            told.append("learning")
        if visit.protocol_version != PROTOCOL_VERSION:
            told.append("version_changed")
        if device is not None and not _alike(device, visit.device):
            told.append("device_changed")
        device = visit.device
        mine = [b for b in blocks.get(visit.visit_id, ()) if b.phase == "test" and b.ending]
        for block in mine:
            layout = (block.task, block.layout_hash)
            own = raised.setdefault(block.block_id, [])
            if layout in seen and block.task not in FEW_LAYOUTS:
                own.append("layout_repeat")
            if pointers and block.input_type in POINTERS - pointers:
                own.append("device_changed")
            seen.add(layout)
        pointers = {b.input_type for b in mine} & POINTERS or pointers
    return raised


def _alike(before: Device, now: Device) -> bool:
    return (before.alias, before.screen.mm_per_px_x, before.screen.mm_per_px_y) == (
        now.alias,
        now.screen.mm_per_px_x,
        now.screen.mm_per_px_y,
    )


@dataclass(frozen=True, slots=True)
class Flagging:
    """What flags are raised from.

    Parameters
    ----------
    answers : mapping of visit to answers
        In order.
    checks : mapping of device to timing checks
        In order of time.
    usual : mapping of person to Usual
        As recorded or amended.
    before : mapping of visit or block to flags
        From `history`.
    """

    amended: Amended
    answers: Mapping[str, Sequence[Answer]]
    checks: Mapping[str, Sequence[TimingCheck]]
    usual: Mapping[str, Usual] = field(default_factory=dict)
    before: Mapping[str, Sequence[str]] = field(default_factory=dict)
    _of_visits: dict[str, tuple[list[str], ...]] = field(default_factory=dict, repr=False)
    _hands: dict[str, frozenset[str | None]] = field(default_factory=dict, repr=False)

    @classmethod
    def read(cls, store: Store) -> Self:
        """Read what there is, of everybody."""
        amended = Amended(store.annotations.amendments())
        blocks: dict[str, list[BlockBrief]] = {}
        for block in store.records.in_brief(phase="test"):
            blocks.setdefault(block.visit_id, []).append(block)
        return cls.of(store, amended, amended.by_person(store.visits.all()), blocks)

    @classmethod
    def of(
        cls,
        store: Store,
        amended: Amended,
        visits: Mapping[str, Sequence[VisitRecord]],
        blocks: Mapping[str, Sequence[BlockBrief]],
        *,
        visit_ids: Sequence[str] | None = None,
    ) -> Self:
        """Read what there is around visits and blocks that were read already.

        Parameters
        ----------
        visits : mapping of person to visits
            In order.
        blocks : mapping of visit to its test blocks
        visit_ids : sequence of str, optional
            These visits' answers only.
        """
        answers: dict[str, list[Answer]] = {}
        for answer in store.visits.answers(visit_ids=visit_ids):
            answers.setdefault(answer.visit_id, []).append(answer)
        checks: dict[str, list[TimingCheck]] = {}
        for check in store.setup.timing_checks():
            checks.setdefault(check.device, []).append(check)
        headers = {code: [v.header for v in theirs] for code, theirs in visits.items()}
        before: dict[str, list[str]] = {}
        for theirs in headers.values():
            before |= history(theirs, blocks)
        usual = {code: _usual(theirs, answers) for code, theirs in headers.items() if theirs}
        return cls(amended, answers, checks, usual, before)

    def answers_of(self, visit_id: str) -> Sequence[Answer]:
        """Return the answers of a visit, in order."""
        return self.answers.get(visit_id, ())

    def flags(
        self,
        visit: VisitHeader,
        *,
        block_id: str,
        task: str,
        hand: str,
        ending: str | None,
        input_type: str,
        audit: TimingAudit,
        n_primary: int | None,
        scores: Mapping[str, Value] | None = None,
    ) -> list[str]:
        """List the flags of a block, each once, those of the record first.

        Parameters
        ----------
        hand : str
            As recorded, amended or not.
        n_primary : int or None
            How many trials, windows or links the primary score stands on; None when unscored.
        scores : mapping of measure to Value, optional
            The block's stored scores.
        """
        raised = flags_of(
            ending=ending,
            input_type=input_type,
            scale_source=visit.device.screen.scale_source,
            audit=audit,
            task=task,
            n_primary=n_primary,
            scores=scores,
        )
        of_visit = self._of_visits.get(visit.visit_id)
        if of_visit is None:
            of_visit = self._of_visits[visit.visit_id] = self._of_visit(visit)
        said, unusual, checked = of_visit
        raised += [*self.before.get(visit.visit_id, ()), *self.before.get(block_id, ())]
        if block_id in self._hands_told(visit.visit_id):
            raised += hand_flags(
                self.answers_of(visit.visit_id),
                block_id=block_id,
                hand_asked=hand,
                hand_amended=self.amended.says(block_id, "hand"),
            )
        raised += [*said, *unusual, *checked]
        return list(dict.fromkeys(raised))

    def _hands_told(self, visit_id: str) -> frozenset[str | None]:
        """Return the blocks of a visit of which the person said which hand it was."""
        told = self._hands.get(visit_id)
        if told is None:
            told = frozenset(
                a.block_id for a in self.answers_of(visit_id) if a.question == "hand_used"
            )
            self._hands[visit_id] = told
        return told

    def _of_visit(self, visit: VisitHeader) -> tuple[list[str], ...]:
        """List what all blocks of a visit share: by answers, by what is usual, by a check."""
        said = visit_flags(
            self.answers_of(visit.visit_id),
            helped_amended=self.amended.held(visit.visit_id, "helped", "") == "no",
        )
        person = self.amended.person(visit.visit_id, visit.person)
        usual = self.usual.get(person)
        check = last_check(self.checks.get(visit.device.alias, ()), visit.started_utc)
        return (
            said,
            [] if usual is None else self._unusual(visit, usual),
            [] if check is None else flags_of_check(check),
        )

    def _unusual(self, visit: VisitHeader, usual: Usual) -> list[str]:
        raised = []
        apart_h = abs(_hour(visit) - usual.hour)
        if min(apart_h, 24 - apart_h) > WINDOW_H:
            raised.append("off_window")
        said = latest(self.answers_of(visit.visit_id), "before", "medication")
        if said is not None and usual.medication is not None and said != usual.medication:
            raised.append("off_phase")
        return raised


def _usual(visits: Sequence[VisitHeader], answers: Mapping[str, Sequence[Answer]]) -> Usual:
    first = visits[:USUAL_VISITS]
    said = [latest(answers.get(v.visit_id, ()), "before", "medication") for v in first]
    counted = Counter(word for word in said if word is not None).most_common(2)
    clear = len(counted) == 1 or (len(counted) == 2 and counted[0][1] > counted[1][1])
    enough = sum(n for _, n in counted) >= MIN_ANSWERS
    medication = counted[0][0] if counted and clear and enough else None
    return Usual(median(_hour(v) for v in first), medication)


def _hour(visit: VisitHeader) -> float:
    local = datetime.fromisoformat(visit.started_utc) + timedelta(minutes=visit.utc_offset_min)
    return local.hour + local.minute / 60


def last_check(checks: Iterable[TimingCheck], at_utc: str) -> TimingCheck | None:
    """Return the last check before a moment; None where there was none."""
    found = None
    for check in checks:
        if check.at_utc <= at_utc:
            found = check
    return found


def flags_of_check(check: TimingCheck) -> list[str]:
    """List the flags a check raises for blocks done after it on the device."""
    return check_flags(
        report_rate_hz=check.report_rate_hz,
        wide_gaps=check.wide_gaps,
        slow_frames=check.slow_frames,
    )
