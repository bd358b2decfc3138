"""Invented people whose pages must say what is written beside them.

Everything is made of rows by hand; no record, no store, no random source. Scatter comes from
a fixed list of deviations, so that a case is the same on every machine.
"""

import math
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, timezone
from functools import cache

import numpy as np

from battery.alarms import DEFAULT_LIMITS, SAID, Alarm
from battery.report import page_data, render
from battery.report.combined import by_measure, ratio_name, ratio_readings
from battery.report.page_rows import (
    GoalRow,
    HomeExerciseRow,
    MarkerRow,
    PageRows,
    Pool,
    Reading,
    Trace,
    VisitRow,
)
from battery.report.points import baseline_and_series, hand_order, role, rule_of
from battery.scoring import PRIMARY
from battery.store import Acknowledgement, Person, PersonState, Restart
from norms.series import SeriesKey
from tasks.registry import TASKS

AT = "2026-11-03T08:00:00+00:00"
MADE = datetime(2026, 11, 25, 12, 0, tzinfo=timezone(timedelta(hours=1)))
FIRST_DAY = datetime(2026, 8, 3, 9, 30, tzinfo=timezone(timedelta(hours=2)))
ROSE = "a symptom rose by 3 or more in the visit"
PLAN, DEVICE = "90444903c0ffee00", "T-03"
# Typical values, and how they scatter from visit to visit on the log scale.
TYPICAL = {
    "tapping.radial_error_mm": (9.0, 0.10, 24),
    "tapping.movement_time_s": (0.55, 0.06, 24),
    "tapping.reaction_time_s": (0.42, 0.06, 24),
    "tapping.hit_rate": (0.7, 0.05, 24),
    "slide.jitter_across_mm": (1.1, 0.12, 10),
    "slide.mean_speed_mm_s": (44.0, 0.05, 10),
    "slide.extent_mm": (67.0, 0.02, 10),
    "slide.sparc": (-2.9, 0.03, 20),
    "pursuit.tracking_rmse_mm": (7.3, 0.08, 15),
    "pursuit.delay_s": (0.18, 0.05, 5),
    "pursuit.gain": (0.92, 0.02, 5),
    "trail.time_per_link_s": (2.4, 0.09, 28),
    "trail.n_errors": (1.0, 0.0, 28),
}
# Normal scores of 1..13 out of 13, in an order without trend: mean 0, deviation about 1.
DEVIATIONS = (
    0.19, -0.81, 0.60, 1.08, -1.64, 0.0, -0.40, 1.64, -0.19, 0.81, -1.08, 0.40, -0.60
)  # fmt: skip


def identifier(*parts):
    """An identifier like a record's, the same every time."""
    number = sum(ord(c) * 131**i for i, c in enumerate("/".join(map(str, parts)))) % 16**12
    return f"{number % 16**8:08x}-{number // 7 % 16**4:04x}-4000-8000-{number:012x}"


@dataclass
class Made:
    """One invented person under construction.

    `change(measure, hand, visit)` multiplies the typical value; 1 leaves it as it is.
    """

    code: str = "K7QF"
    affected: str = "left"
    n_visits: int = 14
    change: object = staticmethod(lambda measure, hand, visit: 1.0)
    days: tuple = ()
    device: object = staticmethod(lambda visit: DEVICE)
    aside: object = staticmethod(lambda task, hand, visit: ("", ()))
    doubtful: object = staticmethod(lambda visit: False)
    tasks: tuple = tuple(TASKS)
    hands: tuple = ("left", "right")
    markers: tuple = ()
    home_exercise: tuple = ()
    symptoms: object = staticmethod(lambda visit: ({}, {}))
    goals: tuple = ()
    remarks: dict = field(default_factory=dict)
    missing: object = staticmethod(lambda task, hand, visit: False)
    n_baseline: int = 4
    phase: int = 0
    scatter: float = 1.0
    alarms: tuple = ()  # (kind, visit or None, words, who has seen it or "")
    restart: tuple = ()  # (visit, author, reason)
    state: tuple = ()  # (word, from_date, author, reason)
    weight: object = staticmethod(lambda visit: "")

    def when(self, visit):
        day = self.days[visit - 1] if self.days else 7 * (visit - 1)
        return FIRST_DAY + timedelta(days=day)

    def person(self):
        first = {"left": "right", "right": "left"}.get(self.affected, "right")
        return Person(
            self.code, "right", self.affected, first, "2026-08-01T08:00:00+00:00",
            n_baseline=self.n_baseline,
        )  # fmt: skip

    def visits(self):
        return tuple(
            VisitRow(
                number=visit,
                visit_id=identifier(self.code, "visit", visit),
                when=self.when(visit),
                plan="standard",
                plan_hash=PLAN,
                device=self.device(visit),
                screen="217 × 136 mm, measured with a card",
                protocol_version=1,
                remarks=self.remarks.get(visit, ()),
                symptoms=self.symptoms(visit)[0],
                rises=self.symptoms(visit)[1],
                medication="1_to_2_h" if self.symptoms(visit)[0] else "",
                red_flags=bool(self.symptoms(visit)[1].get("sickness")),
            )
            for visit in range(1, self.n_visits + 1)
        )

    def readings(self):
        found = []
        for visit in range(1, self.n_visits + 1):
            for task in self.tasks:
                for hand in self.hands:
                    if not self.missing(task, hand, visit):
                        found += self._block(task, hand, visit)
        return tuple(found)

    def _block(self, task, hand, visit):
        aside, flags = self.aside(task, hand, visit)
        doubtful = self.doubtful(visit)
        if doubtful:
            aside, flags = ROSE, ("stopped_symptom",)
        key = SeriesKey(
            task=task, hand=hand, plan=PLAN, device=self.device(visit), scale="0.11300 mm",
            input_type="touch", protocol="1", scoring="1", weight=self.weight(visit),
        )  # fmt: skip
        readings = []
        for number, (measure, (typical, sd, n)) in enumerate(TYPICAL.items()):
            if measure.split(".")[0] != task:
                continue
            turn = visit + 3 * number + 5 * (hand == "left") + self.phase
            wobble = math.exp(self.scatter * sd * DEVIATIONS[turn % len(DEVIATIONS)])
            value = typical * wobble * self.change(measure, hand, visit)
            if measure == "trail.n_errors":
                value = float(turn % 3 == 0)
            readings.append(
                Reading(
                    measure,
                    hand,
                    visit,
                    identifier(self.code, task, hand, visit),
                    value,
                    key,
                    n=n,
                    low=value * 0.9,
                    high=value * 1.1,
                    flags=flags,
                    aside=aside,
                    doubtful=doubtful,
                    day=self.when(visit).timestamp() / 86_400,
                )
            )
        return readings

    def rows(self, others=()):
        """The page's rows, with the scatter of this person and the others."""
        person = self.person()
        return PageRows(
            person=person,
            visits=self.visits(),
            readings=self.readings(),
            markers=self.markers,
            home_exercise=self.home_exercise,
            goals=self.goals,
            pools=pools(self, (self, *others)),
            alarms=self.told_alarms(),
            restart_visit=self.restart[0] if self.restart else None,
            restart=Restart(
                identifier(self.code, "restart"), self.code, "", *self.restart[1:], AT
            )
            if self.restart
            else None,
            state=PersonState(
                identifier(self.code, "state"), self.code, self.state[0], self.state[1],
                self.state[3], self.state[2], AT,
            )
            if self.state
            else None,
        )  # fmt: skip

    def told_alarms(self):
        """The alarms, the newest first."""
        found = []
        for number, (kind, visit, words, seen) in enumerate(self.alarms):
            key = f"{kind}:{self.code}:{number}"
            when = self.when(visit) if visit else FIRST_DAY + timedelta(days=3 * number)
            ack = Acknowledgement(key, self.code, key, "", seen, AT) if seen else None
            found.append(Alarm(key, self.code, kind, when, words, visit, ack))
        return tuple(sorted(found, key=lambda a: a.when, reverse=True))


def pools(person, everybody):
    """Scatter of everybody by measure and role, as the store's reader collects it."""
    collected = {}
    for made in everybody:
        someone, readings = made.person(), by_measure(made.readings())
        first, second = hand_order(someone)
        entries = [(name, role(hand, someone), own) for (name, hand), own in readings.items()]
        for task in TASKS:
            name = PRIMARY[task].name
            upper, lower = readings.get((name, first), ()), readings.get((name, second), ())
            if upper and lower:
                entries.append(
                    (ratio_name(name), role(first, someone), ratio_readings(upper, lower, name))
                )
        for name, their_role, own in entries:
            groups, series, weeks = collected.setdefault((name, their_role), ([], [], []))
            baseline, whole, numbers = baseline_and_series(own, rule_of(someone))
            if baseline:
                groups.append(baseline)
                series.append(whole)
                weeks.append(numbers)
    return {
        (name, hand): Pool(tuple(groups), tuple(series), len(everybody), tuple(weeks))
        for (name, their_role), (groups, series, weeks) in collected.items()
        for hand in ("left", "right")
        if role(hand, person.person()) == their_role
    }


def others(n=6):
    """Other people of the same clinic, in whom nothing changes."""
    return tuple(Made(code=f"X{i}XX", phase=i, affected="left") for i in range(1, n + 1))


def after_baseline(share, hands=("left",), measures=None):
    """A change that grows from the seventh visit on and is whole at the fourteenth."""

    def change(measure, hand, visit):
        if hand not in hands or (measures is not None and measure not in measures):
            return 1.0
        if measures is None and not any(m.name == measure for m in PRIMARY.values()):
            return 1.0
        return math.exp(math.log(share) * min(max(visit - 6, 0) / 6, 1.0))

    return change


def learning_only(measure, hand, visit):
    """Gains of the first visits that go on a little after the baseline."""
    del hand
    if not any(m.name == measure for m in PRIMARY.values()):
        return 1.0
    return 1 + 0.75 * math.exp(-(visit - 1) / 3.5)


def faster_less_exact(measure, hand, visit):
    if hand != "left":
        return 1.0
    grown = min(max(visit - 6, 0) / 5, 1.0)
    return {
        "tapping.movement_time_s": math.exp(-0.45 * grown),
        "tapping.radial_error_mm": math.exp(0.6 * grown),
    }.get(measure, 1.0)


def all_flagged(task, hand, visit):
    del task, hand, visit
    return "the screen was never measured", ("scale_unverified",)


def some_flagged(task, hand, visit):
    del hand
    if visit == 9 and task == "tapping":
        return "too few trials were kept", ("few_trials",)
    if visit == 11:
        return "the block was broken off", ("interrupted",)
    return "", ("slow_frames",) if visit == 14 else ()


def weeks_of_home_exercise(n, *, told_from=3, seen_from=6):
    """Planned 14 and then 21 times a week; told and seen begin later and fall short."""
    monday = FIRST_DAY.date()
    return tuple(
        HomeExerciseRow(
            monday + timedelta(weeks=week),
            planned=14.0 if week < 7 else 21.0,
            told=float(9 + (5 * week) % 11) if week >= told_from else None,
            seen=float((7 * week) % 9) if week >= seen_from else None,
        )
        for week in range(n)
    )


def some_symptoms(visit):
    """Answers from the third visit on; dizziness rises twice, once so far as to stop."""
    if visit < 3:
        return {}, {}
    rise = {9: 2, 11: 4}.get(visit, 0)
    said = {"dizziness": (2 * visit) % 4 + rise, "fatigue": (3 * visit) % 5, "pain": 0}
    return said, {"dizziness": rise} if rise else {}


GOALS = (
    GoalRow(
        "carry a full cup across the kitchen", 2.0, (("2026-09-01", -1), ("2026-11-01", 1))
    ),
    GoalRow("sign my name so that the bank takes it", 1.0, (("2026-11-01", 0),)),
)


CASES = {
    "improving": Made(change=after_baseline(0.6)),
    "unchanged": Made(),
    "learning": Made(change=learning_only, n_visits=10),
    "both_worse": Made(change=after_baseline(1.7, hands=("left", "right"))),
    "faster_less_exact": Made(change=faster_less_exact),
    "device_swap": Made(device=lambda visit: "T-03" if visit < 7 else "T-07", n_visits=10),
    "missed_weeks": Made(
        n_visits=10, days=tuple(7 * (v - 1) + (35 if v >= 8 else 0) for v in range(1, 11))
    ),
    "missed_at_the_end": Made(
        n_visits=9, days=tuple(7 * (v - 1) + (35 if v >= 9 else 0) for v in range(1, 10))
    ),
    "two_visits": Made(n_visits=2),
    "one_visit": Made(n_visits=1),
    "all_flagged": Made(aside=all_flagged),
    "some_flagged": Made(aside=some_flagged),
    "wrong_hand_amended": Made(
        missing=lambda task, hand, visit: (task, hand, visit) == ("tapping", "left", 10),
        remarks={
            10: (
                "tapping block 1a2b3c4d: hand right (was left), by therapist on 2026-10-06: "
                "the person said so",
            )
        },
    ),
    "one_hand_one_task": Made(hands=("right",), tasks=("tapping",), affected="unknown"),
    "both_affected": Made(affected="both", change=after_baseline(0.7, hands=("right",))),
    "year": Made(
        n_visits=52,
        change=after_baseline(0.65),
        markers=(
            MarkerRow(FIRST_DAY + timedelta(days=100), "medication", "dose raised"),
            MarkerRow(FIRST_DAY + timedelta(days=205), "fall", "at home, no injury"),
        ),
    ),
    "home exercise": Made(
        change=after_baseline(0.6), home_exercise=weeks_of_home_exercise(14), goals=GOALS
    ),
    "crowded": Made(
        symptoms=some_symptoms,
        home_exercise=weeks_of_home_exercise(14),
        goals=GOALS,
        change=after_baseline(1.7, hands=("left", "right")),
        device=lambda visit: "T-03" if visit != 8 else "T-07",
        aside=some_flagged,
        remarks={
            5: ("slide, left hand, stopped: felt dizzy",),
            11: ("trail, right hand, interrupted: the screen went dark",),
        },
        markers=(
            MarkerRow(FIRST_DAY + timedelta(days=12), "medication", "evening dose halved"),
            MarkerRow(FIRST_DAY + timedelta(days=13), "fall", "in the kitchen, no injury"),
            MarkerRow(FIRST_DAY + timedelta(days=40), "relapse", "three days in hospital"),
            MarkerRow(FIRST_DAY + timedelta(days=62), "injection", "right forearm"),
            MarkerRow(FIRST_DAY + timedelta(days=80), "therapy", "four small doses a day"),
        ),
    ),
}
SIGN = "a new emergency sign was answered yes"
CASES |= {
    # Somebody says yes to a sign; the visit ends before any block.
    "sign_before_any_block": Made(
        n_visits=1, missing=lambda task, hand, visit: True,
        alarms=(("emergency_sign", 1, SIGN, ""),),
    ),
    "sign_at_the_latest_visit": Made(
        change=after_baseline(0.6),
        missing=lambda task, hand, visit: visit == 14,
        alarms=(("emergency_sign", 14, SIGN, ""),),
    ),
    "many_alarms": Made(
        alarms=(
            ("strong_rise", 12, "dizziness rose by 4", ""),
            ("high_level", 12, "pain 8 of 10", ""),
            ("unwell_end", 13, "ended unwell", ""),
            ("fall", None, "fall: in the kitchen, no injury", ""),
            ("consent", None, "consent to research use is withdrawn", ""),
            ("emergency_sign", 9, SIGN, "AB"),
            ("high_level", 8, "tiredness 9 of 10", ""),
            ("practice", None, "strong symptoms after home exercise", ""),
        ),
    ),
    "alarm_acknowledged": Made(
        change=after_baseline(1.5, hands=("left", "right")),
        alarms=(("strong_rise", 14, "tiredness rose by 3", "AB"),),
    ),
    "new_baseline": Made(
        n_visits=18,
        change=lambda measure, hand, visit: 1.6 if visit >= 9 else 1.0,
        markers=(MarkerRow(FIRST_DAY + timedelta(days=52), "relapse", "two weeks away"),),
        restart=(9, "AB", "relapse"),
    ),
    "paused": Made(n_visits=9, state=("paused", "2026-10-05", "AB", "in hospital")),
    "discharged": Made(
        change=after_baseline(0.6), goals=GOALS,
        state=("discharged", "2026-11-03", "AB", "goals reached"),
    ),
    # A symptom rose at every visit at which the hand was worse.
    "doubtful_worse": Made(
        change=lambda measure, hand, visit: 1.6 if hand == "left" and visit > 8 else 1.0,
        doubtful=lambda visit: visit > 8,
        alarms=tuple(
            ("strong_rise", visit, "tiredness rose by 3", "AB" if visit < 14 else "")
            for visit in range(9, 15)
        ),
    ),
    # Better until a symptom rose; in those visits worse than ever.
    "good_news_withdrawn": Made(
        change=lambda measure, hand, visit: 1.0
        if hand == "right" or visit < 7
        else 0.6
        if visit < 12
        else 2.2,
        doubtful=lambda visit: visit > 11,
    ),
    # Every question at its limit in one visit: the longest line that a visit gives.
    "long_alarm": Made(
        alarms=(
            *(
                ("high_level", 14, f"{SAID[name]} {limit} of 10", "")
                for name, limit in DEFAULT_LIMITS.items()
            ),
            ("fall", None, "fall: on the stairs, taken to hospital, back after a night", ""),
        ),
    ),
    "weight_on_and_off": Made(weight=lambda visit: "on" if visit in (9, 10, 11) else ""),
}  # fmt: skip
CASES["golden"] = Made(
    change=after_baseline(0.55),
    tasks=("tapping", "trail"),
    n_visits=10,
    days=tuple(7 * (v - 1) + (21 if v >= 9 else 0) for v in range(1, 11)),
    aside=some_flagged,
    markers=(MarkerRow(FIRST_DAY + timedelta(days=40), "medication", "evening dose halved"),),
)
ALONE = frozenset({"nobody_to_pool"})
CASES["went_away"] = Made(
    change=lambda _, hand, visit: 1.5 if hand == "left" and 7 <= visit <= 14 else 1.0,
    n_visits=17,
)
CASES["nobody_to_pool"] = Made(change=after_baseline(0.6))
CASES["no_visit"] = Made(n_visits=0)


def rows_of(name):
    """The rows of a case: with a clinic of seven, or alone."""
    return CASES[name].rows(() if name in ALONE else others())


@cache
def page_of(name):
    """The judged page of a case, with something to draw."""
    page = page_data(rows_of(name), made=MADE)
    return replace(page, traces=traces(page))


@cache
def html_of(name, paper="A4"):
    """The written page of a case."""
    return render(page_of(name), paper=paper)


def traces(page):
    """Something to draw for every task and hand, baseline and latest."""
    found = {}
    for task in page.tasks:
        for hand in page.hands:
            line = page.line(PRIMARY[task].name, hand)
            if line is None or line.latest is None:
                continue
            later = line.latest.visit
            found[task, hand] = (
                _trace(task, 1 + later // 3, 1.0) if later > 1 else None,
                _trace(task, later, 0.6),
            )
    return found


def _trace(task, visit, size):
    block = identifier("trace", task, visit)
    t_s = np.arange(0, 12, 1 / 30)
    wobble = size * np.sin(2 * np.pi * 5 * t_s)
    f_hz = np.arange(0, 15.1, 0.25)
    spectrum = size * np.exp(-((f_hz - 5) ** 2))
    if task == "tapping":
        turn = np.arange(24)
        radius = size * (4 + 14 * ((turn * 7) % 24) / 24)
        ends = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
        return Trace(visit, block, paths_mm=(ends,), target_r_mm=10.0)
    if task == "slide":
        path = np.column_stack([80 * np.sin(2 * np.pi * t_s / 6), wobble])
        return Trace(visit, block, paths_mm=(path,), spectrum_hz=f_hz, spectrum_mm=spectrum)
    if task == "pursuit":
        chip = 75 * np.sin(2 * np.pi * t_s / 4)
        finger = 70 * np.sin(2 * np.pi * (t_s - 0.2) / 4) + wobble
        finger[60:70] = np.nan
        return Trace(
            visit, block, t_s=t_s, finger_mm=finger, chip_mm=chip, spectrum_hz=f_hz,
            spectrum_mm=spectrum,
        )  # fmt: skip
    nodes = np.array([(-70, 20), (-40, -30), (0, 25), (35, -20), (70, 30)], dtype=float)
    share = np.linspace(0, 4, 120)
    path = np.column_stack([np.interp(share, np.arange(5), nodes[:, i]) for i in (0, 1)])
    return Trace(visit, block, paths_mm=(path,), target_r_mm=7.0, nodes_mm=nodes)
