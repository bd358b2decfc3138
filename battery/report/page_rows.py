"""What a page is made from: plain rows, so that a page can be made without a store."""

from __future__ import annotations

import math
from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from hashlib import blake2b
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from battery.alarms import Alarm
from battery.recording import Hand
from battery.store import (
    Contraindication,
    HomeExercise,
    HomePlanEntry,
    LoopCheck,
    Person,
    PersonState,
    Restart,
)
from norms.band import OutsideSem, Prior, pool
from norms.pooled import n_alike, week_signs
from norms.series import SeriesKey

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class VisitRow:
    """A visit of the person.

    Parameters
    ----------
    number : int
        The person's visits in order, from 1.
    when : datetime
        Its start, with the offset of the place.
    ending : str
        "open" while it runs.
    remarks : tuple of str
        What was said later: amendments, why it is left out, why a block was stopped.
    symptoms : mapping of str to int
        The most of each symptom in the visit, 0 to 10; empty if nobody asked.
    rises : mapping of str to int
        How far each rose over the start of the visit; only those that did.
    medication : str
        When medicine was last taken, a word of the question; empty if nobody asked.
    red_flags : bool
        Whether the person said that a sign of an emergency was new.
    """

    number: int
    visit_id: str
    when: datetime
    plan: str
    plan_hash: str
    device: str
    screen: str
    protocol_version: int
    ending: str = "finished"
    origin: str = "stage"
    remarks: tuple[str, ...] = ()
    symptoms: Mapping[str, int] = field(default_factory=dict)
    rises: Mapping[str, int] = field(default_factory=dict)
    medication: str = ""
    red_flags: bool = False


class Reading(NamedTuple):  # made by the ten thousand
    """One measure of one test block.

    Parameters
    ----------
    hand : {"left", "right"}
        The hand that holds now, amended or not.
    visit : int
        Number of the visit.
    n : int
        Trials, passes, links or windows it stands on.
    low, high : float
        95 % interval, or the spread where the measure says so; nan where there is none.
    reason : str
        Why the value is missing, or what to keep in mind.
    key : SeriesKey
        What has to be alike for visits to be compared.
    flags : tuple of str
        Names of the flags its block raised.
    aside : str
        Why it does not count, in words; empty if it does.
    error : float
        Its measurement error over that of a whole visit: above 1 for a composite of fewer
        tasks.
    doubtful : bool
        Whether it does not count only because it may be too good or too bad: a worsening is
        told with it all the same.
    day : float
        When the visit was, in days since 1970.
    """

    measure: str
    hand: Hand
    visit: int
    block_id: str
    value: float
    key: SeriesKey
    n: int = 0
    low: float = math.nan
    high: float = math.nan
    reason: str = ""
    flags: tuple[str, ...] = ()
    aside: str = ""
    error: float = 1.0
    doubtful: bool = False
    day: float = math.nan

    @property
    def counts(self) -> bool:
        """Whether it may stand in a baseline or a trend."""
        return not self.aside and not math.isnan(self.value)


@dataclass(frozen=True, slots=True)
class MarkerRow:
    """A dated event around the person."""

    when: datetime
    kind: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class HomeExerciseRow:
    """Home exercise of one week: planned, told by the person, seen by a device.

    Times a week; None where nobody said or saw anything.
    """

    week_from: date
    planned: float | None = None
    told: float | None = None
    seen: float | None = None


@dataclass(frozen=True, slots=True)
class GoalRow:
    """A goal of the person and how far it was reached: days with levels from -2 to 2."""

    goal: str
    weight: float
    levels: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Trace:
    """What the hand did in one block, to be drawn; millimetres and seconds.

    Parameters
    ----------
    paths_mm : tuple of ndarray, shape (n, 2)
        Tapping: one array of end points about their target. Slide: paths about the track.
        Trail: the first trail.
    target_r_mm : float
        Of the target or node.
    nodes_mm : ndarray, shape (n, 2)
        Trail: where the nodes lay.
    t_s, finger_mm, chip_mm : ndarray, shape (n,)
        Pursuit: places along the track over time.
    spectrum_hz, spectrum_mm : ndarray, shape (n,)
        Amplitude across the path by frequency, mm per square root of a hertz.
    """

    visit: int
    block_id: str
    paths_mm: tuple[Floats, ...] = ()
    target_r_mm: float = 0.0
    nodes_mm: Floats = field(default_factory=lambda: np.empty((0, 2)))
    t_s: Floats = field(default_factory=lambda: np.empty(0))
    finger_mm: Floats = field(default_factory=lambda: np.empty(0))
    chip_mm: Floats = field(default_factory=lambda: np.empty(0))
    spectrum_hz: Floats = field(default_factory=lambda: np.empty(0))
    spectrum_mm: Floats = field(default_factory=lambda: np.empty(0))


class Fit(NamedTuple):
    """What was fitted.

    Parameters
    ----------
    sign : bytes
        Of all it was fitted to; empty where it is not told whose visits and of when.
    by_week : tuple of bytes
        The signs of the visits that entered with each week (`week_signs`).
    """

    prior: Prior | None
    sign: bytes = b""
    by_week: tuple[bytes, ...] = ()

    def known(self, by_week: Sequence[bytes]) -> Sequence[Prior]:
        """Return what it says of the weeks before anything differs from visits of now."""
        return self.prior.by_week[: n_alike(by_week, self.by_week)] if self.prior else ()


@dataclass(frozen=True, slots=True)
class Pool:
    """What everybody in the store scatters.

    Parameters
    ----------
    groups : tuple of sequence of float
        Complete baselines, one a person and hand.
    series : tuple of sequence of float
        For each of them the baseline and all that followed it.
    n_people : int
        People behind them: one may stand there with both hands.
    weeks : tuple of sequence of int
        For each of the series the weeks of its visits, as a person is judged by what was known
        then; empty where that is not told.
    owners : tuple of str
        For each of the series whose it is; empty where that is not told.
    earlier : mapping
        By scale: what was fitted before some people had other visits. The past stays as it was
        known, so only the weeks from the first difference on are fitted again.
    """

    groups: tuple[Sequence[float], ...] = ()
    series: tuple[Sequence[float], ...] = ()
    n_people: int = 0
    weeks: tuple[Sequence[int], ...] = ()
    owners: tuple[str, ...] = ()
    earlier: Mapping[bool, Fit] = field(default_factory=dict, compare=False, repr=False)
    _fitted: dict[bool, Fit] = field(default_factory=dict, compare=False, repr=False)

    @property
    def fits(self) -> Mapping[bool, Fit]:
        """What was fitted of it; before that, what was fitted of the earlier one."""
        return {**self.earlier, **self._fitted}

    def prior(self, *, log_scale: bool) -> Prior | None:
        """Return what it says of anybody's scatter; fitted once, as many people share it.

        Parameters
        ----------
        log_scale : bool
            Whether values are compared on logarithms; who has one without is left out then.
        """
        if log_scale not in self._fitted:
            self._fitted[log_scale] = self._fit(log_scale=log_scale)
        return self._fitted[log_scale].prior

    def _fit(self, *, log_scale: bool) -> Fit:
        sign = self._sign()
        before = self.earlier.get(log_scale)
        if before and sign and before.sign == sign:
            return before
        if not self.series:
            return Fit(None, sign)
        series = [np.asarray(whole, dtype=float) for whole in self.series]
        starts = np.cumsum([0, *map(len, series[:-1])])
        least = np.minimum.reduceat(np.concatenate(series), starts)
        kept = np.flatnonzero(least > (0.0 if log_scale else -math.inf))
        told = [series[i] for i in kept]
        weeks = [self.weeks[i] for i in kept] if self.weeks else []
        owners = [self.owners[i] for i in kept] if self.owners else []
        lengths = [len(self.groups[i]) for i in kept]
        by_week = week_signs(told, weeks, lengths, owners) if weeks and owners else ()
        prior = pool(
            [self.groups[i] for i in kept],
            log_scale=log_scale,
            series=told,
            weeks=weeks,
            owners=owners,
            n_people=min(self.n_people, len(kept)) if self.n_people else None,
            known=before.known(by_week) if before else (),
        )
        return Fit(prior, sign, by_week)

    def _sign(self) -> bytes:
        """Return a sign of all that is fitted to; empty where it is not told whose and when."""
        if len(self.owners) != len(self.series) or len(self.weeks) != len(self.series):
            return b""
        sizes = [
            (len(own), len(group)) for own, group in zip(self.series, self.groups, strict=True)
        ]
        told = repr((self.n_people, self.owners, sizes))
        sign = blake2b(told.encode("utf-8", "backslashreplace"), digest_size=16)
        for kind, whole in (("d", self.series), ("q", self.weeks)):
            sign.update(
                b"".join(own if isinstance(own, array) else array(kind, own) for own in whole)
            )
        return sign.digest()


@dataclass(frozen=True, slots=True)
class PageRows:
    """Everything a page is made from.

    Parameters
    ----------
    pools : mapping
        By measure and hand: scatter of everybody with that plan and role of the hand, this
        person included. Composite and ratio have names of their own (`series.COMPOSITE`,
        `series.ratio_name`).
    restart_visit : int or None
        First visit of a new baseline begun on purpose.
    outside : mapping
        Measurement error from a reliability study, by measure.
    restart : Restart or None
        Who began the new baseline, and why.
    alarms : tuple of Alarm
        Acknowledged or not, the newest first.
    state : PersonState or None
        The latest word on whether the person is due; None is active.
    asked : tuple of Contraindication
        The latest answer on each; empty if nobody asked.
    loops : tuple of LoopCheck
        What was last filmed of the delay of the latest visit's device; empty if nothing was.
    home_plan : tuple of HomePlanEntry
        What was agreed for home at the latest visit.
    head_turns : tuple of HomeExercise
        Entries of head turns of which something was said, in order.
    """

    person: Person
    visits: tuple[VisitRow, ...]
    readings: tuple[Reading, ...]
    markers: tuple[MarkerRow, ...] = ()
    home_exercise: tuple[HomeExerciseRow, ...] = ()
    goals: tuple[GoalRow, ...] = ()
    pools: Mapping[tuple[str, Hand], Pool] = field(default_factory=dict)
    restart_visit: int | None = None
    outside: Mapping[str, OutsideSem] = field(default_factory=dict)
    restart: Restart | None = None
    alarms: tuple[Alarm, ...] = ()
    state: PersonState | None = None
    asked: tuple[Contraindication, ...] = ()
    loops: tuple[LoopCheck, ...] = ()
    home_plan: tuple[HomePlanEntry, ...] = ()
    head_turns: tuple[HomeExercise, ...] = ()

    @property
    def open_alarms(self) -> tuple[Alarm, ...]:
        """Alarms that nobody has acknowledged."""
        return tuple(alarm for alarm in self.alarms if alarm.open)
