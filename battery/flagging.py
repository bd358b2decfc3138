"""All flags of a stored block: its record, the answers around it, its device's last check.

The page and the export ask here, so that both say the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Self

from battery.answers import Answer, answer_flags
from battery.recording import TimingAudit, VisitHeader
from battery.scoring.flags import check_flags, flags_of
from battery.store import Amended, Store, TimingCheck


@dataclass(frozen=True, slots=True)
class Flagging:
    """What flags are raised from.

    Parameters
    ----------
    answers : mapping of visit to answers
        In order.
    checks : mapping of device to timing checks
        In order of time.
    """

    amended: Amended
    answers: Mapping[str, Sequence[Answer]]
    checks: Mapping[str, Sequence[TimingCheck]]

    @classmethod
    def read(cls, store: Store) -> Self:
        """Read what there is, of everybody."""
        answers: dict[str, list[Answer]] = {}
        for answer in store.answers():
            answers.setdefault(answer.visit_id, []).append(answer)
        checks: dict[str, list[TimingCheck]] = {}
        for check in store.timing_checks():
            checks.setdefault(check.device, []).append(check)
        return cls(Amended(store.amendments()), answers, checks)

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
    ) -> list[str]:
        """List the flags of a block, each once, those of the record first.

        Parameters
        ----------
        hand : str
            As recorded, amended or not.
        n_primary : int or None
            How many trials, windows or links the primary score stands on; None when unscored.
        """
        raised = flags_of(
            ending=ending,
            input_type=input_type,
            scale_source=visit.device.screen.scale_source,
            audit=audit,
            task=task,
            n_primary=n_primary,
        )
        raised += answer_flags(
            self.answers_of(visit.visit_id),
            block_id=block_id,
            hand_asked=hand,
            hand_amended=self.amended.says(block_id, "hand"),
            helped_amended=self.amended.held(visit.visit_id, "helped", "") == "no",
        )
        check = last_check(self.checks.get(visit.device.alias, ()), visit.started_utc)
        if check is not None:
            raised += flags_of_check(check)
        return list(dict.fromkeys(raised))


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
