"""What is scored of which the truth is known, and how far it may be off."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from battery.simulate import Truth

REACH_MM = 75.0
N_TRAILS, N_LINKS = 4, 28  # of the standard plan
ROOT_2 = math.sqrt(2)


@dataclass(frozen=True, slots=True)
class Quantity:
    """Something scored whose truth is known.

    Parameters
    ----------
    measure : str
    title : str
    expected : callable
        The truth of a person, nan where this measure does not speak of it.
    limit : float
        How far a block may be off: in the measure's unit, or as a share when `relative`.
        nan where nothing is promised.
    relative : bool
    note : str
        What to know when reading the table.
    """

    measure: str
    title: str
    expected: Callable[[Truth], float]
    limit: float = math.nan
    relative: bool = False
    note: str = ""

    @property
    def of_tremor(self) -> bool:
        """Whether it can be found only where the tremor stands out of the floor."""
        return "tremor" in self.measure or "jitter" in self.measure

    def error(self, value: float, true: float) -> float:
        """Error of a value, as a share of the truth when `relative`."""
        return (value - true) / true if self.relative else value - true

    def shown(self, error: float, *, signed: bool = False) -> str:
        """Write an error, a spread or a limit: in per cent, ms, or the unit of the measure."""
        sign = "+" if signed else ""
        if self.relative:
            return f"{100 * error:{sign}.1f} %"
        if self.measure.endswith("_s"):
            return f"{1000 * error:{sign}.1f} ms"
        return f"{error:{sign}.3f}"


def across_rms_mm(truth: Truth) -> float:
    """Root mean square of the tremor across a level path."""
    angle = truth.tremor_direction_deg
    share = 1.0 if angle is None else math.sin(math.radians(angle))
    return truth.tremor_mm * abs(share) / ROOT_2 or math.nan


def _across_in_slide_mm(truth: Truth) -> float:
    return math.nan if truth.intention else across_rms_mm(truth)


def _scatter_mm(truth: Truth) -> float:
    """Scatter of end points: of the aim, and of the tremor at an unforeseen phase.

    Overshoot scatters as well where reaches go in several directions; left out here.
    """
    if truth.overshoot:
        return math.nan
    aim_mm = truth.aim_noise * REACH_MM * math.hypot(1, truth.aim_noise_across)
    axes = 2 if truth.tremor_direction_deg is None else 1
    tremor_mm = truth.tremor_mm * (1 + truth.intention) * math.sqrt(axes / 2)
    return math.hypot(aim_mm, tremor_mm, ROOT_2 * truth.wander_mm)


def _throughput_bit_s(truth: Truth) -> float:
    """ISO 9241-411: 4.133 standard deviations along the reach are the effective width."""
    if truth.tremor_direction_deg is not None:
        return math.nan
    along_mm = math.hypot(
        truth.aim_noise * REACH_MM,
        truth.tremor_mm * (1 + truth.intention) / ROOT_2,
        truth.wander_mm,
    )
    distance_mm = REACH_MM * (1 + truth.overshoot)
    return math.log2(distance_mm / (4.133 * along_mm) + 1) / truth.movement_s


def _reaction_s(truth: Truth) -> float:
    return math.nan if truth.reaction_tail_s else truth.reaction_s


def _lost_share(truth: Truth) -> float:
    if not truth.lost_contact_per_min:
        return 0.0
    held_s = 60 / truth.lost_contact_per_min
    return truth.lost_contact_s / (held_s + truth.lost_contact_s)


def _search_s(truth: Truth) -> float:
    """Mean of a lognormal time, once a link."""
    return N_LINKS * truth.search_s * math.exp(truth.search_spread**2 / 2)


def _n_errors(truth: Truth) -> float:
    """Links that can go wrong: all but the last of a trail."""
    return (N_LINKS - N_TRAILS) * truth.error_rate


def _frequency_hz(truth: Truth) -> float:
    return truth.tremor_hz if truth.tremor_mm else math.nan


def _even(expected: Callable[[Truth], float]) -> Callable[[Truth], float]:
    """Leave out people who differ from side to side: the whole is then a mixture."""
    return lambda truth: math.nan if truth.neglect else expected(truth)


def _movement_s(side_mm: float) -> Callable[[Truth], float]:
    return lambda truth: truth.movement_s * truth.handicap(side_mm)


QUANTITIES: tuple[Quantity, ...] = (
    Quantity("pursuit.delay_s", "Delay", lambda t: t.pursuit_delay_s, 0.010),
    Quantity("pursuit.gain", "Gain", lambda t: t.pursuit_gain, 0.03),
    Quantity(
        "pursuit.delay_predictable_s", "Delay, predictable part",
        lambda t: t.follows("predictable")[0], 0.010,
    ),
    Quantity(
        "pursuit.gain_predictable", "Gain, predictable part",
        lambda t: t.follows("predictable")[1], 0.03,
    ),
    Quantity("pursuit.tremor_hz", "Tremor frequency, pursuit", _frequency_hz, 0.2),
    Quantity("slide.tremor_hz", "Tremor frequency, slide", _frequency_hz, 0.2),
    Quantity(
        "pursuit.jitter_across_mm", "Tremor across, pursuit", across_rms_mm, 0.10, True,
        "True is the amplitude across the path over the square root of 2. A finger that "
        "wanders slowly, or comes back after a loss of contact, adds to it.",
    ),
    Quantity(
        "slide.jitter_across_mm", "Tremor across, slide", _across_in_slide_mm, 0.10, True,
        "Not for a tremor that grows near the goal: how much of it falls into the slide is "
        "no fixed number.",
    ),
    Quantity(
        "tapping.reaction_time_s", "Reaction time", _even(_reaction_s), note=
        "A panel tells of a lift at its next scan, half an interval late in the mean: 8 ms at "
        "60 Hz, 4 ms at 120 Hz. A median of some 20 reactions wanders by a quarter of their "
        "standard deviation.",
    ),
    Quantity("tapping.movement_time_s", "Movement time", _even(lambda t: t.movement_s)),
    Quantity(
        "tapping.movement_time_left_s", "Movement time, left of the screen", _movement_s(-1),
        note="Some ten reaches each side.",
    ),
    Quantity(
        "tapping.movement_time_right_s", "Movement time, right of the screen", _movement_s(1)
    ),
    Quantity(
        "tapping.variable_error_mm", "Scatter of end points", _even(_scatter_mm), relative=True,
        note="About 20 end points give a scatter to within 11 % (one standard error); their "
        "own mean takes the place of the true one, which makes it 2 to 3 % too small.",
    ),
    Quantity(
        "tapping.overshoot_percent", "Overshoot", lambda t: 100 * t.overshoot, note=
        "In per cent of the reach. Its standard error is that of a mean of some 20 end points: "
        "a fifth of their scatter, 1 to 2 per cent.",
    ),
    Quantity(
        "tapping.throughput_bit_s", "Throughput", _even(_throughput_bit_s), relative=True, note=
        "From the scatter along the reach that the aim, the tremor and the wandering give.",
    ),
    Quantity(
        "slide.stops", "Stops", lambda t: float(t.slide_halts), note=
        "Halts of 0.4 s. A large tremor along the track hides them.",
    ),
    Quantity(
        "slide.extent_mm", "Extent", lambda t: t.slide_extent_mm, relative=True,
        note="The farthest place of a finger that shakes lies beyond what it aims at.",
    ),
    Quantity("pursuit.contact_loss", "Time off the glass", _lost_share),
    Quantity(
        "trail.search_time_s", "Search", _even(_search_s), relative=True, note=
        "What the person takes to find each of the 28 nodes. Scored search begins with the "
        "capture, while the finger may still be on its last way, and holds every pause and "
        "every way back from a wrong node. A tremor so slow and large that it moves the finger "
        "faster than a pause allows counts as travel.",
    ),
    Quantity(
        "trail.n_errors", "Errors", _n_errors, note=
        "A number of rare events: its spread is about its square root.",
    ),
)  # fmt: skip
