"""An invented person as rows by hand: what was measured, asked and said, visit by visit.

No record, no store, no random source. Scatter comes from a fixed list of deviations, so that
a person is the same on every machine.
"""

import math
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone

from battery.alarms import Alarm
from battery.report.combined import by_measure, ratio_name, ratio_readings
from battery.report.page_rows import (
    PageRows,
    Pool,
    Reading,
    VisitRow,
)
from battery.report.points import baseline_and_series, hand_order, role, rule_of
from battery.scoring import PRIMARY
from battery.store import Acknowledgement, Person, PersonState, Restart
from norms.series import SeriesKey
from tasks.registry import TASKS

AT = "2026-11-03T08:00:00+00:00"
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
