"""Smoothness, onset, sub-movements and paths against print and other people's programs."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from battery.scoring.signal import kinematics
from battery.scoring.signal.filters import low_pass, speed_mm_s
from battery.scoring.signal.smoothness import dimensionless_jerk, log_dimensionless_jerk, sparc

RATE_HZ = 120.0
N_STEPS = 1_000_000


def minimum_jerk(u):
    """Share of the way at a share of the time (Flash & Hogan 1985, J Neurosci 5:1688)."""
    u = np.clip(u, 0, 1)
    return 10 * u**3 - 15 * u**4 + 6 * u**5


def minimum_jerk_speed(length_s, rate_hz):
    u = np.arange(round(length_s * rate_hz) + 1) / (length_s * rate_hz)
    return 30 * u**2 * (1 - u) ** 2 / length_s


# Example of the authors of the spectral arc length (their own program, ISC licence).
GAUSS = np.exp(-5 * np.arange(-1, 1, 0.01) ** 2)


def test_smoothness_of_the_authors_example():
    assert sparc(GAUSS, 100) == pytest.approx(-1.41403, abs=0.000005)
    assert dimensionless_jerk(GAUSS, 100) == pytest.approx(-335.74684, abs=0.000005)
    assert log_dimensionless_jerk(GAUSS, 100) == pytest.approx(-5.81636, abs=0.000005)


@pytest.mark.parametrize("rate_hz", [60, 100, 120, 1000])
@pytest.mark.parametrize("length_s", [0.6, 1.0, 5.0])
def test_smoothness_agrees_with_scikit_digital_health(length_s, rate_hz):
    from skdh.features import SPARC

    speed = minimum_jerk_speed(length_s, rate_hz)
    t_s = np.arange(len(speed)) / rate_hz
    slowly, quickly = (0.2 * (1 + np.sin(2 * np.pi * hz * t_s)) for hz in (4, 14))
    for values in (speed, speed + slowly, speed + quickly):
        other = float(SPARC().compute(values, fs=float(rate_hz)))
        assert sparc(values, rate_hz) == pytest.approx(other, abs=0.0005)


def test_jerk_of_minimum_jerk_in_three_normalisations():
    """720 over the squared ratio of peak to mean speed, 1.875; Teulings 1997: root of 360."""
    jerk = dimensionless_jerk(minimum_jerk_speed(1.0, 2000), 2000)
    assert -jerk == pytest.approx(204.8, abs=0.5)
    assert math.log(-jerk) == pytest.approx(5.322034, abs=0.003)
    assert -jerk * 1.875**2 == pytest.approx(720, abs=2)
    assert math.sqrt(0.5 * -jerk * 1.875**2) == pytest.approx(18.973666, abs=0.03)


def test_a_minimum_jerk_speed_has_the_widths_of_print():
    """Crosses 10 % of its peak at .086548 of its time, and as long before its end."""
    speed = minimum_jerk_speed(1.0, N_STEPS)
    begin, end = kinematics.movement_span(speed)
    assert begin / N_STEPS == pytest.approx(0.086548, abs=0.000005)
    assert 1 - (end - 1) / N_STEPS == pytest.approx(0.086548, abs=0.000005)


@pytest.mark.parametrize(("share", "inside"), [(0.05, 1 - 2 * 0.059435), (0.5, 0.541196)])
def test_so_it_has_at_other_shares_of_its_peak(monkeypatch, share, inside):
    """The span where the program would take 5 % or half of the peak for the limit."""
    monkeypatch.setattr(kinematics, "ONSET_SHARE", share)
    begin, end = kinematics.movement_span(minimum_jerk_speed(1.0, N_STEPS))
    assert (end - begin) / N_STEPS == pytest.approx(inside, abs=0.00001)


def test_peak_over_mean_speed_of_a_minimum_jerk_path():
    """1.875 (Flash & Hogan 1985), of the speed that the program takes from places."""
    along_mm = 100 * minimum_jerk(np.linspace(0, 1, 2001))
    speed = speed_mm_s(np.column_stack([along_mm, np.zeros(2001)]), 2000.0)
    assert speed.max() / speed.mean() == pytest.approx(1.875, abs=0.002)


def reach(length_s, tremor_hz=0.0, tremor_mm=0.0, phase=0.0, before_s=1.0):
    """A reach of 100 mm after a second of rest, on a grid of 0.1 mm."""
    t_s = np.arange(0, before_s + length_s + 0.5, 1 / RATE_HZ)
    way_mm = 100 * minimum_jerk((t_s - before_s) / length_s)
    way_mm += tremor_mm * np.sin(2 * np.pi * tremor_hz * t_s + phase)
    return np.round(way_mm / 0.1) * 0.1


@pytest.mark.parametrize(
    ("length_s", "tremor_mm", "late_ms", "spread_ms"),
    [(0.6, 0.0, 31, 1), (0.6, 1.0, 31, 3), (0.6, 4.0, 30, 14), (1.2, 2.0, 99, 21)],
)
def test_onset_is_as_late_as_others_found(length_s, tremor_mm, late_ms, spread_ms):
    """3 Hz low-pass, walked back to 10 % of the peak; biases of a simulation beside this one.

    That one used no search for the first primary peak, hence the width.
    """
    found = [
        kinematics.movement_onset(reach(length_s, 5.0, tremor_mm, phase)) / RATE_HZ - 1.0
        for phase in np.linspace(0, 2 * np.pi, 16, endpoint=False)
    ]
    assert 1000 * np.mean(found) == pytest.approx(late_ms, abs=22)
    assert 1000 * np.std(found) <= spread_ms + 12


def test_a_fixed_threshold_would_fire_on_tremor():
    """5 Hz of 1 mm swings at 31 mm/s: at 20 mm/s it "begins" at once; ours does not."""
    along_mm = reach(0.6, 5.0, 1.0)
    speed = np.abs(np.gradient(low_pass(along_mm, 10.0), 1 / RATE_HZ))
    naive_s = np.argmax(speed > 20) / RATE_HZ
    assert naive_s < 0.2
    assert kinematics.movement_onset(along_mm) / RATE_HZ > 0.95


def test_two_pulses_merge_below_a_root_of_three():
    """Two equal pulses make one peak if their onsets differ by under .57735 T (analytic)."""

    def bend(shift):  # of the sum of two speeds in the middle between their peaks
        u = 0.5 - shift / 2
        return 12 * u**2 - 12 * u + 2  # second derivative of u²(1 - u)²

    assert 2 * 0 + brentq(bend, 0.3, 0.9) == pytest.approx(1 / math.sqrt(3), abs=5e-6)
    t_s = np.arange(0, 2.5, 1 / RATE_HZ)
    for shift, peaks in ((0.50, 1), (0.57, 1), (0.75, 2), (0.95, 2)):
        way_mm = 50 * minimum_jerk(t_s / 1.0) + 50 * minimum_jerk((t_s - shift) / 1.0)
        speed = speed_mm_s(low_pass(np.column_stack([way_mm, 0 * way_mm]), 8.0))
        assert kinematics.n_submovements(speed) == peaks


def test_tremor_adds_peaks_and_the_docstring_says_so():
    """4 Hz of 1 mm on a reach of 1.2 s: 5 peaks where there was one."""
    t_s = np.arange(0, 1.2, 1 / RATE_HZ)
    way_mm = 100 * minimum_jerk(t_s / 1.2)
    for tremor_mm, peaks in ((0.0, {1}), (1.0, {4, 5, 6})):
        path_mm = np.column_stack([way_mm + tremor_mm * np.sin(8 * np.pi * t_s), 0 * t_s])
        assert kinematics.n_submovements(speed_mm_s(low_pass(path_mm, 8.0))) in peaks
    assert "Tremor adds peaks" in kinematics.n_submovements.__doc__


def test_path_of_a_half_circle():
    angle = np.linspace(0, np.pi, 400)
    path_mm = 40 * np.column_stack([np.cos(angle), np.sin(angle)])
    assert kinematics.path_ratio(path_mm) == pytest.approx(1.570796, abs=0.0005)


def test_tremor_lengthens_a_path_as_computed():
    """A straight 100 mm/s with 5 Hz of 1 mm across: 1.0242 (elliptic integral, computed)."""
    t_s = np.arange(0, 2, 1 / 1000)
    path_mm = np.column_stack([100 * t_s, np.sin(2 * np.pi * 5 * t_s)])
    assert kinematics.path_ratio(path_mm) == pytest.approx(1.0242, abs=0.00005)


@pytest.mark.parametrize(
    ("tremor_mm", "value"), [(0.5, -1.76), (1, -1.80), (2, -1.96), (4, -2.69)]
)
def test_tremor_lowers_smoothness_as_computed(tremor_mm, value):
    """A reach of 100 mm in 1.2 s with 4 Hz along it; another program beside this one."""
    t_s = np.arange(0, 1.2 + 1 / RATE_HZ, 1 / RATE_HZ)
    way_mm = 100 * minimum_jerk(t_s / 1.2) + tremor_mm * np.sin(2 * np.pi * 4 * t_s)
    speed = np.abs(np.gradient(way_mm, 1 / RATE_HZ))
    assert sparc(speed, RATE_HZ) == pytest.approx(value, abs=0.25)
    assert sparc(speed, RATE_HZ) < -1.45


# Traps


@pytest.mark.parametrize("rate_hz", [60, 120, 240])
def test_jerk_of_raw_pixels_is_noise_and_ours_is_not(rate_hz):
    """True 204.8 (analytic); third differences of places on 0.1 mm are noise only."""
    t_s = np.arange(0, 1 + 1 / rate_hz, 1 / rate_hz)
    way_mm = np.round(100 * minimum_jerk(t_s) / 0.1) * 0.1
    raw = np.abs(np.diff(way_mm) * rate_hz)
    assert -dimensionless_jerk(raw, rate_hz) > 50 * 204.8
    padded_mm = np.concatenate([np.zeros(rate_hz), way_mm, np.full(rate_hz, 100.0)])
    smooth = speed_mm_s(
        low_pass(np.column_stack([padded_mm, 0 * padded_mm]), 10.0, rate_hz), rate_hz
    )
    assert -dimensionless_jerk(smooth[rate_hz:-rate_hz], rate_hz) == pytest.approx(
        205, rel=0.35
    )
    assert sparc(raw, rate_hz) == pytest.approx(-1.404, abs=0.006)


def test_a_crossing_and_a_turn_are_counted_by_hand():
    off_mm = np.array([0.0, 1.0, 2.0, 1.0, -1.0, -2.0, -1.0, 1.0])
    assert kinematics.n_crossings(off_mm) == 2
    assert kinematics.n_turns(off_mm) == 2
    path_mm = np.array([[0.0, 0.0], [5.0, 2.0], [10.0, 0.0]])
    assert kinematics.off_axis_mm(path_mm, (0.0, 0.0), (10.0, 0.0)).tolist() == [0, 2, 0]
