"""Pursuit: where the chip is, and what falls due when; worked out by hand."""

import itertools
import math

import numpy as np
import pytest

from tasks.contract import NS_PER_S, Contact, Event, Tick
from tasks.layout import PursuitOptions
from tasks.pursuit import PURSUIT, PursuitPart, PursuitSettings, boundaries_s, chip_mm
from tasks.registry import make_settings
from tests.doers import play

SINE = PursuitPart("predictable", 2.0, 8.0, 1.0, ((50.0, 0.25, 0.0),))
OTHER = PursuitPart("unpredictable", 2.0, 20.0, 1.0, ((20.0, 0.15, 0.0), (10.0, 0.35, 1.0)))
SETTINGS = PursuitSettings((SINE, OTHER), chip_r_mm=10.0, track_half_mm=75.0, y_mm=5.0)
START = (0.0, 5.0)


def at(s, kind, place=START, pointer=1):
    return Contact(round(s * NS_PER_S), kind, *place, pointer)


def told(signals, until_s):
    events = play(PURSUIT, SETTINGS, [*signals, Tick(round(until_s * NS_PER_S))])
    return [(e.t_ns / NS_PER_S, e.kind, e.trial, e.label) for e in events]


@pytest.mark.parametrize(
    ("since_s", "x_mm"),
    [
        (0.0, 0.0),  # at rest
        (
            1.0,
            0.5 * 50 * math.sin(2 * math.pi * 0.25 * -1),
        ),  # half grown: smoothstep(1/2) = 1/2
        (0.5, 0.15625 * 50 * math.sin(2 * math.pi * 0.25 * -1.5)),  # smoothstep(1/4) = 5/32
        (2.0, 0.0),  # scored time begins in the middle
        (3.0, 50.0),  # a quarter of 4 s later
        (5.0, -50.0),
        (9.0, -50.0),  # one cycle later the same
        (10.5, 0.5 * 50 * math.sin(2 * math.pi * 0.25 * 8.5)),  # half faded
        (10.25, 0.84375 * 50 * math.sin(2 * math.pi * 0.25 * 8.25)),  # smoothstep(3/4) = 27/32
        (11.0, 0.0),  # at rest; the next part begins
        (34.0, 0.0),
        (99.0, 0.0),
    ],
)
def test_place_of_the_chip(since_s, x_mm):
    assert chip_mm(SETTINGS, since_s) == pytest.approx((x_mm, 5.0), abs=1e-9)
    mirrored = PURSUIT.mirror(SETTINGS)
    assert chip_mm(mirrored, since_s) == pytest.approx((-x_mm, 5.0), abs=1e-9)


def test_second_part_is_a_sum_of_its_components():
    """11 s + lead 2 s + 4 s into the scored time."""
    x_mm = 20 * math.sin(2 * math.pi * 0.15 * 4) + 10 * math.sin(2 * math.pi * 0.35 * 4 + 1)
    assert chip_mm(SETTINGS, 17.0)[0] == pytest.approx(x_mm, abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_the_chip_never_jumps(seed):
    """Speed stays below the bound from its components: sum of a*w, plus a*1.5/lead while it
    grows or fades (1.5 is the steepest slope of the smoothstep).
    """
    settings = make_settings("pursuit", PursuitOptions(), seed, hand="right")
    bound_mm_s = max(
        sum(a * (2 * math.pi * f + 1.5 / min(p.lead_s, p.tail_s)) for a, f, _ in p.components)
        for p in settings.parts
    )
    whole_s = boundaries_s(settings)[-1]
    times_s = np.arange(-0.5, whole_s + 0.5, 0.002)
    x_mm = np.array([chip_mm(settings, t)[0] for t in times_s])
    assert np.abs(np.diff(x_mm)).max() / 0.002 <= bound_mm_s


def test_boundaries_are_those_of_the_scored_times():
    """2, 2+8; 11+2, 13+20; 11+23."""
    assert boundaries_s(SETTINGS) == pytest.approx((2, 10, 13, 33, 34))


def test_one_block_in_full():
    events = play(PURSUIT, SETTINGS, [at(1.5, "down", (3.0, 4.0)), Tick(100 * NS_PER_S)])
    assert repr(events[0]) == repr(Event(round(1.5 * NS_PER_S), "start", -1, "", 3.0, 4.0))
    assert [(e.t_ns / NS_PER_S, e.kind, e.trial, e.label) for e in events[1:]] == [
        (3.5, "part", 0, "predictable"),
        (11.5, "part_end", 0, "predictable"),
        (14.5, "part", 1, "unpredictable"),
        (34.5, "part_end", 1, "unpredictable"),
        (35.5, "end", -1, ""),
    ]


def test_nobody_pressed():
    assert told([at(3, "hover"), at(5, "move"), at(6, "up")], 29.9) == []
    assert told([], 30) == [(30, "no_answer", -1, ""), (30, "end", -1, "")]


def test_a_press_at_the_stamp_of_the_limit_is_too_late():
    assert [e[1] for e in told([at(30, "down")], 40)] == ["no_answer", "end"]


@pytest.mark.parametrize(("place", "starts"), [((10.0, 5.0), True), ((10.01, 5.0), False)])
def test_the_rim_belongs_to_the_chip(place, starts):
    assert bool(told([at(1, "down", place)], 1)) == starts


def test_contact_is_lost_and_regained_anywhere():
    """Outside the scored time these belong to no part."""
    signals = [
        at(0, "down"), at(1, "up"), at(1.5, "down", (70, -30)),
        at(4, "up"), at(4.5, "down", (-70, 30)), at(10.5, "up"), at(14, "down"), at(33.5, "up"),
    ]  # fmt: skip
    assert [e for e in told(signals, 40) if e[1] in ("lost", "regained")] == [
        (1, "lost", -1, ""),
        (1.5, "regained", -1, ""),
        (4, "lost", 0, ""),
        (4.5, "regained", 0, ""),
        (10.5, "lost", -1, ""),
        (14, "regained", 1, ""),
        (33.5, "lost", -1, ""),
    ]


def test_a_lift_at_the_stamp_of_a_boundary_comes_after_it():
    assert told([at(0, "down"), at(2, "up")], 2)[1:] == [
        (2, "part", 0, "predictable"),
        (2, "lost", 0, ""),
    ]


def test_a_second_finger_is_reported_and_its_lift_is_not_the_first_ones():
    signals = [at(0, "down"), at(3, "down", (40, 0), 2), at(4, "up", (40, 0), 2)]
    assert told(signals, 5)[1:] == [(2, "part", 0, "predictable"), (3, "extra", 0, "")]


def test_after_a_loss_any_finger_may_take_over():
    signals = [at(0, "down"), at(3, "up"), at(3.2, "down", START, 2), at(4, "up", START, 2)]
    assert [e[1] for e in told(signals, 5)] == ["start", "part", "lost", "regained", "lost"]


def test_a_palm_beside_the_chip_starts_nothing_and_locks_nobody_out():
    signals = [at(0, "down", (60, -45), 2), at(1, "down", START, 3)]
    assert told(signals, 1) == [(1, "extra", -1, ""), (1, "start", -1, "")]


def test_what_is_to_be_seen():
    def chip(signals):
        state = PURSUIT.start(SETTINGS)
        for signal in signals:
            state, _ = PURSUIT.advance(SETTINGS, state, signal)
        marks = PURSUIT.view(SETTINGS, state, signals[-1].t_ns)
        return [(m.role, round(m.x_mm, 6)) for m in marks[1:]]

    assert chip([Tick(0)]) == [("go", 0)]
    assert chip([at(1, "down"), Tick(4 * NS_PER_S)]) == [("held", 50)]
    assert chip([at(1, "down"), at(2, "up"), Tick(4 * NS_PER_S)]) == [("chip", 50)]
    assert chip([at(1, "down"), Tick(60 * NS_PER_S)]) == []


@pytest.mark.parametrize("seed", range(20))
def test_unpredictable_part_has_five_lines_at_primes_and_22_mm_rms(seed):
    """Against numpy's Fourier transform over one period: nothing but the stated lines."""
    part = make_settings("pursuit", PursuitOptions(), seed, hand="right").parts[1]
    assert (part.name, part.duration_s) == ("unpredictable", 40.0)
    only = PursuitSettings((part,), 10.0, 75.0)
    n = 4000
    x_mm = [chip_mm(only, part.lead_s + 40.0 * k / n)[0] for k in range(n)]
    amplitudes_mm = np.abs(np.fft.rfft(x_mm)) * 2 / n
    lines = np.flatnonzero(amplitudes_mm > 1e-6)
    assert lines.tolist() == [3, 7, 11, 17, 29]
    assert all(a > b for a, b in itertools.pairwise(amplitudes_mm[lines]))
    assert np.sqrt(np.mean(np.square(x_mm))) == pytest.approx(22.0, abs=1e-6)
    assert np.abs(x_mm).max() <= 60.0


def test_predictable_part_is_one_sine_of_five_cycles():
    part = make_settings("pursuit", PursuitOptions(), 3, hand="right").parts[0]
    ((amplitude_mm, frequency_hz, _phase),) = part.components
    assert (amplitude_mm, frequency_hz, part.duration_s) == (50.0, 0.25, 20.0)
