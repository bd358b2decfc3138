"""What a simulated participant is made of: the values that scoring has to find again."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

REFERENCE_MM = 75.0  # the reach of which a person's movement time speaks
REFERENCE_WIDTH_MM = 20.0


@dataclass(frozen=True, slots=True)
class Truth:
    """A simulated participant. Nothing here describes a real one.

    Parameters
    ----------
    reaction_s, reaction_sd_s, reaction_tail_s : float
        From the flip that showed a cue to the lift: the mean and standard deviation of a
        normal part, and the mean of an exponential part added to it.
    guess_rate : float
        Chance that a go cue is not waited for.
    movement_s : float
        Time of a reach of 75 mm for a target 20 mm wide.
    movement_s_per_bit : float
        Growth of that time with the index of difficulty, ``log2(distance / width + 1)``.
    movement_spread : float
        Standard deviation of the logarithm of a reach's time.
    drag_factor : float
        How much longer a reach takes with the finger on the glass.
    aim_noise : float
        Scatter of an end point along the reach as a share of its length.
    aim_noise_across : float
        Scatter across the reach, as a share of the scatter along it.
    overshoot : float
        Mean end point beyond (or, negative, short of) the target, as a share of the reach.
    tremor_hz, tremor_mm : float
        Frequency and amplitude of the tremor: of a sine on each axis, or along
        `tremor_direction_deg`. Its root mean square is the amplitude over the square root of 2.
    tremor_direction_deg : float, optional
        From the x axis. By default both axes swing alike, each with its own phase.
    tremor_bandwidth_hz : float
        Standard deviation of the spectrum around `tremor_hz`; 0 is a pure sine.
    wander_mm : float
        Root mean square of the slow wandering of the finger, on each axis, at all times.
    intention : float
        By how much the tremor grows, as a share, from 40 mm away to the goal of a reach.
    pursuit_delay_s, pursuit_gain : float
        How the finger follows the chip as it was shown.
    predictable_delay_s, predictable_gain : float, optional
        The same while the movement can be foreseen; by default as everywhere.
    slide_extent_mm, slide_s : float
        How far the chip is taken out, and the time of one way without its halts.
    slide_halts : int
        How often the chip stands still for 0.4 s on each way.
    search_s, search_spread : float
        Median time to find the next node of a trail, and standard deviation of its logarithm.
    error_rate : float
        Chance that a link first goes to a wrong node and stays there.
    slip_rate : float
        Chance that a link first crosses a wrong node without staying.
    lost_contact_per_min, lost_contact_s : float
        How often contact is lost in a minute of dragging, and for how long.
    palm_per_min : float
        How often a second contact appears beside the finger.
    fatigue : float
        Growth of times, scatter and tremor over a minute, as a share.
    neglected_side : {"left", "right"} or None
        The side of the screen on which everything is slower and less exact.
    neglect : float
        By how much, as a share.
    learning, learning_visits : float
        By which share the very first visit is worse, and how many visits it takes until a
        third of that is left. See `at_visit`.
    """

    reaction_s: float = 0.42
    reaction_sd_s: float = 0.05
    reaction_tail_s: float = 0.0
    guess_rate: float = 0.0
    movement_s: float = 0.55
    movement_s_per_bit: float = 0.15
    movement_spread: float = 0.06
    drag_factor: float = 1.6
    aim_noise: float = 0.05
    aim_noise_across: float = 1.0
    overshoot: float = 0.0
    tremor_hz: float = 5.0
    tremor_mm: float = 0.8
    tremor_direction_deg: float | None = None
    tremor_bandwidth_hz: float = 0.0
    wander_mm: float = 0.4
    intention: float = 0.0
    pursuit_delay_s: float = 0.18
    pursuit_gain: float = 0.92
    predictable_delay_s: float | None = None
    predictable_gain: float | None = None
    slide_extent_mm: float = 65.0
    slide_s: float = 1.8
    slide_halts: int = 0
    search_s: float = 0.9
    search_spread: float = 0.35
    error_rate: float = 0.03
    slip_rate: float = 0.0
    lost_contact_per_min: float = 0.0
    lost_contact_s: float = 0.3
    palm_per_min: float = 0.0
    fatigue: float = 0.0
    neglected_side: Literal["left", "right"] | None = None
    neglect: float = 0.0
    learning: float = 0.0
    learning_visits: float = 1.8

    def follows(self, part: str) -> tuple[float, float]:
        """Delay in s and gain with which a part of the pursuit is followed."""
        delay_s, gain = self.pursuit_delay_s, self.pursuit_gain
        if part == "predictable":
            delay_s = delay_s if self.predictable_delay_s is None else self.predictable_delay_s
            gain = gain if self.predictable_gain is None else self.predictable_gain
        return delay_s, gain

    def handicap(self, x_mm: float) -> float:
        """Factor on times and scatter for something at `x_mm` from the centre."""
        side = "left" if x_mm < 0 else "right" if x_mm > 0 else None
        return 1 + self.neglect if side is not None and side == self.neglected_side else 1.0


def better(truth: Truth, share: float) -> Truth:
    """Return a person whose times, errors and tremor are smaller by a share.

    A negative share makes them larger. The gain of the pursuit comes nearer to 1 by the share.
    """
    k = 1 - share
    return replace(
        truth,
        reaction_s=truth.reaction_s * k,
        movement_s=truth.movement_s * k,
        movement_s_per_bit=truth.movement_s_per_bit * k,
        aim_noise=truth.aim_noise * k,
        overshoot=truth.overshoot * k,
        tremor_mm=truth.tremor_mm * k,
        pursuit_delay_s=truth.pursuit_delay_s * k,
        pursuit_gain=1 - (1 - truth.pursuit_gain) * k,
        wander_mm=truth.wander_mm * k,
        search_s=truth.search_s * k,
        error_rate=min(1.0, truth.error_rate * k),
    )


def at_visit(truth: Truth, visit: int) -> Truth:
    """Return the person at a visit, counted from 0: worse while the test is being learned.

    Notes
    -----
    The share by which the person is worse falls exponentially. With the default of 1.8 visits
    a fifteenth of it is left at visit 5 and a twenty-eighth at visit 6.
    """
    return better(truth, -truth.learning * math.exp(-visit / truth.learning_visits))
