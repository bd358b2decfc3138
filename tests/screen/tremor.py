"""Contacts of a shaking finger that means one place: bounces, wander, a palm.

Numbers: tremor of 4 to 12 Hz (essential and enhanced physiological tremor; table after
Bhatia 2018 in PMC12219005), wander of 3 to 10 mm. Older adults land 3.36 mm from the middle of
what they aim at on average (Sultana & Moffatt 2019); for an even scatter in both axes that is
1.2533 standard deviations. The rest is the project's own guess.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from battery.stage.screen.pointer import Report

NS_PER_S = 1_000_000_000
AIM_SD_MM = 3.36 / 1.2533
STEP_S = 1 / 120  # between reports of a touch panel
PALM = 2


@dataclass(frozen=True)
class Shaking:
    """One attempt to press a place."""

    tremor_hz: float
    wander_mm: float
    n_contacts: int
    duty: float
    palm: bool
    seed: float

    @classmethod
    def drawn(cls, source: random.Random) -> Shaking:
        return cls(
            tremor_hz=source.uniform(4.0, 12.0),
            wander_mm=source.uniform(3.0, 10.0),
            n_contacts=source.randint(1, 6),
            duty=source.uniform(0.3, 0.7),
            palm=source.random() < 0.3,
            seed=source.random(),
        )

    @property
    def is_aimed(self) -> bool:
        """Whether it is the press of somebody who looks: one contact, no palm."""
        return self.n_contacts == 1 and not self.palm

    def reports(
        self, aim_mm: tuple[float, float], from_ns: int, palm_side: int = 1
    ) -> list[Report]:
        """Everything the panel reports, in order of time.

        Parameters
        ----------
        palm_side : {-1, 1}
            The palm lies on this side of the finger, and nearer to the person.
        """
        source = random.Random(self.seed)
        x_mm, y_mm = (value + source.gauss(0.0, AIM_SD_MM) for value in aim_mm)
        turn, phase = source.uniform(0, math.tau), source.uniform(0, math.tau)
        drift = source.uniform(0, math.tau)

        def at(t_s: float) -> tuple[float, float]:
            """Half of the wander is tremor, half a slow drift."""
            shake = self.wander_mm / 2 * math.sin(math.tau * self.tremor_hz * t_s + phase)
            away = self.wander_mm / 2 * min(t_s, 1.0)
            return (
                x_mm + shake * math.cos(turn) + away * math.cos(drift),
                y_mm + shake * math.sin(turn) + away * math.sin(drift),
            )

        made: list[Report] = []

        def report(t_s: float, kind: str, place: tuple[float, float], pointer: int) -> None:
            made.append(Report(from_ns + round(t_s * NS_PER_S), 0, kind, *place, pointer))

        pointer = 1
        for n in range(self.n_contacts):
            down_s = n / self.tremor_hz
            up_s = down_s + self.duty / self.tremor_hz
            report(down_s, "down", at(down_s), pointer)
            t_s = down_s + STEP_S
            while t_s < up_s:
                report(t_s, "move", at(t_s), pointer)
                t_s += STEP_S
            report(up_s, "up", at(up_s), pointer)
        if self.palm:
            place = (
                x_mm + palm_side * source.uniform(35.0, 90.0),
                y_mm - source.uniform(0, 50),
            )
            begun_s = source.uniform(-0.15, 0.1)
            report(begun_s, "down", place, PALM)
            report(begun_s + source.uniform(0.3, 1.5), "up", place, PALM)
        return sorted(made, key=lambda r: r.t_ns)
