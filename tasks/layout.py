"""Layouts: from a plan's options and a seed to a task's settings.

Everything random about a block is decided here, before it begins, from the recorded seed.
Layouts are drawn for the right hand and mirrored for the left, so both hands meet the same
difficulty. At default sizes everything lies within 92 x 48 mm of the centre, which leaves a
ten-inch tablet a margin of 15 mm, and its upper corners stay free for Stop.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from tasks.plain import later
from tasks.pursuit import PursuitPart, PursuitSettings
from tasks.slide import SlideSettings
from tasks.tapping import TappingSettings
from tasks.trail import TrailForm, TrailSettings
from tasks.trails import LINK_MM, Area, draw_trail, labels_of

DIRECTIONS_DEG = (20.0, 40.0, 60.0, 80.0)  # from straight up, to either side
SETS = 12  # balanced sets of eight; more than anyone does in a block
FOREPERIOD_S = (0.5, 1.5)
SINE_HZ, SINE_MM = 0.25, 50.0
PRIMES = (3, 7, 11, 17, 29)
FIVE_RMS_MM, FIVE_LIMIT_MM = 22.0, 60.0
LEAD_S, TAIL_S = 2.0, 1.0
TRACK_WANDER_MM = 4.0
VIEWING_MM = 500.0
WIDEST_JUMP_DEG = 20.0  # wider jumps of the eyes take the head along
MAX_TRAILS = 50  # of a block
MAX_NODE_MM = 10.0  # a straight link keeps clear of every other node


@dataclass(frozen=True, slots=True)
class TappingOptions:
    """What a plan may choose about tapping; mm and s."""

    duration_s: float = 60.0
    target_r_mm: float = 10.0
    reach_mm: float = 75.0
    home_r_mm: float = 10.0
    home_y_mm: float = -38.0
    answer_limit_s: float = 10.0
    home_pad: bool = True
    min_trials: int = later(0)
    limit_s: float = later(0.0)


@dataclass(frozen=True, slots=True)
class PursuitOptions:
    """What a plan may choose about pursuit; a part of 0 s is left out."""

    predictable_s: float = 20.0
    unpredictable_s: float = 40.0
    chip_r_mm: float = 10.0
    track_half_mm: float = 75.0


@dataclass(frozen=True, slots=True)
class SlideOptions:
    """What a plan may choose about the slide; mm and s."""

    duration_s: float = 60.0
    reach_mm: float = 80.0
    chip_r_mm: float = 10.0
    fixed_r_mm: float = 10.0
    fixed_y_mm: float = 32.0
    track_y_mm: float = -20.0
    least_out_mm: float = 20.0


@dataclass(frozen=True, slots=True)
class TrailOptions:
    """What a plan may choose about trails; mm and s. Width and height hold the centres."""

    kinds: tuple[str, ...] = ("numbers", "alternating", "alternating", "numbers")
    n_nodes: int = 8
    node_r_mm: float = 7.0
    link_mm: float = 48.0
    width_mm: float = 168.0
    height_mm: float = 60.0
    dwell_s: float = 0.15
    limit_s: float = 180.0


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            msg = f"{name} is {value}; it must be above 0"
            raise ValueError(msg)


def tapping(options: TappingOptions, seed: int) -> TappingSettings:
    """Draw a tapping block: eight directions, each once in every set, sides alternating."""
    _positive(
        duration_s=options.duration_s,
        target_r_mm=options.target_r_mm,
        reach_mm=options.reach_mm,
        home_r_mm=options.home_r_mm,
        answer_limit_s=options.answer_limit_s,
    )
    if not math.isfinite(options.home_y_mm):
        msg = f"home_y_mm is {options.home_y_mm}; it must be a number"
        raise ValueError(msg)
    most = 2 * len(DIRECTIONS_DEG) * SETS
    if not 0 <= options.min_trials <= most or not 0 <= options.limit_s < math.inf:
        msg = (
            f"min_trials is {options.min_trials} and limit_s {options.limit_s}; they must lie "
            f"between 0 and {most} and not below 0"
        )
        raise ValueError(msg)
    least_mm = options.home_r_mm + options.target_r_mm
    most_mm = widest_reach_mm()
    if not least_mm < options.reach_mm <= most_mm:
        msg = (
            f"reach_mm is {options.reach_mm}; it must be above {least_mm:g}, where target and "
            f"home meet, and at most {most_mm:.1f}, where the eyes jump {WIDEST_JUMP_DEG:g} "
            f"degrees at {VIEWING_MM:g} mm"
        )
        raise ValueError(msg)
    random_source = random.Random(seed)
    sides = random_source.choice(((-1.0, 1.0), (1.0, -1.0)))
    targets_mm: list[tuple[float, float]] = []
    for _ in range(SETS):
        orders = {side: random_source.sample(DIRECTIONS_DEG, 4) for side in sides}
        for index in range(len(DIRECTIONS_DEG)):
            for side in sides:
                angle = math.radians(orders[side][index])
                targets_mm.append(
                    (
                        side * options.reach_mm * math.sin(angle),
                        options.home_y_mm + options.reach_mm * math.cos(angle),
                    )
                )
    foreperiods_s = tuple(random_source.uniform(*FOREPERIOD_S) for _ in targets_mm)
    return TappingSettings(
        home_x_mm=0.0,
        home_y_mm=options.home_y_mm,
        home_r_mm=options.home_r_mm,
        targets_mm=tuple(targets_mm),
        foreperiods_s=foreperiods_s,
        target_r_mm=options.target_r_mm,
        duration_s=options.duration_s,
        answer_limit_s=options.answer_limit_s,
        home_pad=options.home_pad,
        min_trials=options.min_trials,
        limit_s=options.limit_s,
    )


def widest_reach_mm() -> float:
    """Longest reach whose outermost targets are one jump of the eyes apart, mm."""
    half_mm = VIEWING_MM * math.tan(math.radians(WIDEST_JUMP_DEG / 2))
    return half_mm / math.sin(math.radians(max(DIRECTIONS_DEG)))


def pursuit(options: PursuitOptions, seed: int) -> PursuitSettings:
    """Draw a pursuit block: a sine of random direction, then five sines of random phase."""
    _positive(chip_r_mm=options.chip_r_mm, track_half_mm=options.track_half_mm)
    if options.track_half_mm < FIVE_LIMIT_MM:
        msg = (
            f"track_half_mm is {options.track_half_mm}; "
            f"it must be at least {FIVE_LIMIT_MM:g}, as far as the chip goes"
        )
        raise ValueError(msg)
    random_source = random.Random(seed)
    cycles = options.predictable_s * SINE_HZ
    if not (math.isfinite(cycles) and cycles >= 0 and cycles == round(cycles)):
        msg = (
            f"predictable_s is {options.predictable_s}; "
            f"it must be a multiple of {1 / SINE_HZ:g} s, or 0 for none"
        )
        raise ValueError(msg)
    if options.unpredictable_s != 0 and not 20 <= options.unpredictable_s <= 300:
        msg = f"unpredictable_s is {options.unpredictable_s}; it must be 20 to 300, or 0"
        raise ValueError(msg)
    parts = []
    phase = random_source.uniform(-math.pi, math.pi)
    if options.predictable_s:
        components = ((SINE_MM, SINE_HZ, phase),)
        parts.append(
            PursuitPart("predictable", LEAD_S, options.predictable_s, TAIL_S, components)
        )
    if options.unpredictable_s:
        components_five = _five_sines(random_source, options.unpredictable_s)
        parts.append(
            PursuitPart(
                "unpredictable", LEAD_S, options.unpredictable_s, TAIL_S, components_five
            )
        )
    if not parts:
        msg = "predictable_s and unpredictable_s are both 0; one part must be left"
        raise ValueError(msg)
    return PursuitSettings(tuple(parts), options.chip_r_mm, options.track_half_mm)


def _five_sines(
    random_source: random.Random, duration_s: float
) -> tuple[tuple[float, float, float], ...]:
    """Five sines at prime multiples of 1/T, amplitudes falling with frequency, fixed RMS."""
    weights = [prime**-0.7 for prime in PRIMES]
    scale_mm = FIVE_RMS_MM / math.sqrt(sum(w * w for w in weights) / 2)
    while True:
        components = tuple(
            (scale_mm * weight, prime / duration_s, random_source.uniform(-math.pi, math.pi))
            for weight, prime in zip(weights, PRIMES, strict=True)
        )
        widest_mm = max(
            abs(
                sum(
                    a_mm * math.sin(2 * math.pi * f_hz * step * duration_s / 1000 + phase)
                    for a_mm, f_hz, phase in components
                )
            )
            for step in range(1000)
        )
        if widest_mm <= FIVE_LIMIT_MM:
            return components


def slide(options: SlideOptions, seed: int) -> SlideSettings:
    """Draw a slide block: the first side and the height of the track are random.

    The height wanders by 4 mm, so that no two blocks are quite the same.
    """
    _positive(
        duration_s=options.duration_s,
        reach_mm=options.reach_mm,
        chip_r_mm=options.chip_r_mm,
        fixed_r_mm=options.fixed_r_mm,
        least_out_mm=options.least_out_mm,
    )
    if not options.chip_r_mm < options.least_out_mm < options.reach_mm:
        msg = (
            f"least_out_mm is {options.least_out_mm}; it must lie between "
            f"chip_r_mm {options.chip_r_mm} and reach_mm {options.reach_mm}"
        )
        raise ValueError(msg)
    random_source = random.Random(seed)
    return SlideSettings(
        fixed_x_mm=0.0,
        fixed_y_mm=options.fixed_y_mm,
        fixed_r_mm=options.fixed_r_mm,
        chip_x_mm=0.0,
        chip_y_mm=options.track_y_mm + random_source.uniform(-TRACK_WANDER_MM, TRACK_WANDER_MM),
        chip_r_mm=options.chip_r_mm,
        reach_mm=options.reach_mm,
        first_side=random_source.choice(("left", "right")),
        duration_s=options.duration_s,
        least_out_mm=options.least_out_mm,
    )


def trail(options: TrailOptions, seed: int) -> TrailSettings:
    """Draw the trails of a block, all of the same length within 5 %."""
    _positive(
        node_r_mm=options.node_r_mm,
        link_mm=options.link_mm,
        width_mm=options.width_mm,
        height_mm=options.height_mm,
        dwell_s=options.dwell_s,
        limit_s=options.limit_s,
    )
    if options.node_r_mm > MAX_NODE_MM:
        msg = f"node_r_mm is {options.node_r_mm}; it must be at most {MAX_NODE_MM:g}"
        raise ValueError(msg)
    if not LINK_MM[0] <= options.link_mm <= LINK_MM[1]:
        msg = f"link_mm is {options.link_mm}; it must be {LINK_MM[0]:g} to {LINK_MM[1]:g}"
        raise ValueError(msg)
    if not options.kinds or options.n_nodes < 3:
        msg = f"kinds is {options.kinds}, n_nodes {options.n_nodes}; at least 1 and 3"
        raise ValueError(msg)
    if len(options.kinds) > MAX_TRAILS:
        msg = f"kinds has {len(options.kinds)} trails; it must have at most {MAX_TRAILS}"
        raise ValueError(msg)
    labels = [labels_of(kind, options.n_nodes) for kind in options.kinds]
    random_source = random.Random(seed)
    area = Area(options.width_mm, options.height_mm)
    length_mm = options.link_mm * (options.n_nodes - 1)
    forms = tuple(
        TrailForm(
            kind,
            draw_trail(random_source, options.n_nodes, area, length_mm),
            own,
        )
        for kind, own in zip(options.kinds, labels, strict=True)
    )
    return TrailSettings(forms, options.node_r_mm, options.dwell_s, options.limit_s)
