"""Invented people whose pages must say what is written beside them.

Everything is made of rows by hand; no record, no store, no random source. Scatter comes from
a fixed list of deviations, so that a case is the same on every machine.
"""

import math
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from functools import cache

import numpy as np

from battery.alarms import DEFAULT_LIMITS, SAID
from battery.report import page_data, render
from battery.report.page_rows import (
    GoalRow,
    HomeExerciseRow,
    MarkerRow,
    Trace,
)
from battery.scoring import PRIMARY
from tests.report_people import FIRST_DAY, Made, identifier

MADE = datetime(2026, 11, 25, 12, 0, tzinfo=timezone(timedelta(hours=1)))


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
