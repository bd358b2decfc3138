"""How made-up hands move, against what is printed of reaches, tremor and noise."""

import math

import numpy as np
import pytest
from scipy.signal import welch
from scipy.stats import linregress

from battery.recording import KIND_CODES
from battery.recovery import play
from battery.simulate import Pointer, Truth, minimum_jerk
from battery.simulate.motion import Tremor, Wander, intention_growth, reach_s
from tests.people import CALM, calm, events


def test_a_reach_has_the_profile_of_minimum_jerk():
    """Flash & Hogan 1985, J Neurosci 5:1688-1703: peak speed 1.875 times the mean, at half."""
    u = np.linspace(0, 1, 100_001)
    speed = np.gradient(minimum_jerk(u), u)
    assert speed.max() == pytest.approx(1.875, abs=1e-4)
    assert u[speed.argmax()] == pytest.approx(0.5, abs=1e-4)
    assert minimum_jerk([-1.0, 0.0, 1.0, 2.0]).tolist() == [0, 0, 1, 1]


def test_a_recorded_reach_peaks_at_1_875_times_its_mean_speed():
    """The same on what a mouse tells of a reach in the air, 1,000 times a second."""
    mouse = Pointer(touch=False, rate_hz=1000.0, grid_mm=0.0, scan_jitter_s=0.0)
    block = play("tapping", calm(), mouse, 3)
    lift, touch = events(block, "lift")[0], events(block, "touch")[0]
    rows = block.samples[block.samples["kind"] == KIND_CODES["hover"]]
    rows = rows[(rows["t_ns"] > lift.t_ns) & (rows["t_ns"] < touch.t_ns)]
    path = np.column_stack([rows["x_mm"], rows["y_mm"]])
    speed = np.hypot(*np.diff(path, axis=0).T) * 1000
    assert np.hypot(*(path[-1] - path[0])) == pytest.approx(75, abs=0.1)
    assert speed.max() / (75 / CALM.movement_s) == pytest.approx(1.875, abs=0.01)


def test_movement_time_is_a_line_over_the_index_of_difficulty():
    """MacKenzie 1989, J Mot Behav 21:323-330: bits are log2(distance / width + 1)."""
    truth = Truth(movement_s=0.55, movement_s_per_bit=0.15)
    bits, times = [], []
    for distance_mm, width_mm in ((40, 20), (75, 20), (150, 20), (150, 10)):
        bits.append(math.log2(distance_mm / width_mm + 1))
        times.append(reach_s(truth, distance_mm, width_mm))
    line = linregress(bits, times)
    assert line.slope == pytest.approx(0.15)
    assert line.rvalue == pytest.approx(1.0)
    assert reach_s(truth, 75, 20) == pytest.approx(0.55)
    assert reach_s(truth, 0.0, 20) > 0


@pytest.mark.parametrize("bandwidth_hz", [0.0, 0.4])
def test_tremor_has_its_frequency_and_root_mean_square(bandwidth_hz):
    """A sine of amplitude A has RMS A / sqrt(2); the narrow band is made to the same."""
    truth = Truth(tremor_hz=6.3, tremor_mm=2.0, tremor_bandwidth_hz=bandwidth_hz)
    t_s = np.arange(0, 204.8, 1 / 120)
    path = Tremor(truth, np.random.default_rng(1)).at(t_s)
    assert np.sqrt(np.mean(path**2, axis=0)) == pytest.approx(2 / math.sqrt(2), rel=0.01)
    f_hz, power = welch(path[:, 0], 120, nperseg=4096)
    assert np.average(f_hz, weights=power) == pytest.approx(6.3, abs=0.1)


def test_a_narrow_band_is_as_wide_as_it_is_said_to_be():
    """Standard deviation of the power spectrum about its centre."""
    truth = Truth(tremor_hz=6.0, tremor_mm=1.0, tremor_bandwidth_hz=0.5)
    widths = []
    for seed in range(8):
        path = Tremor(truth, np.random.default_rng(seed)).at(np.arange(0, 204.8, 1 / 60))
        f_hz, power = welch(path[:, 1], 60, nperseg=2048)
        widths.append(np.sqrt(np.average((f_hz - 6) ** 2, weights=power)))
    assert np.mean(widths) == pytest.approx(0.5, rel=0.05)


def test_the_size_of_a_narrow_band_wanders_and_that_of_a_sine_does_not():
    """Envelope of narrow-band Gaussian noise: Rayleigh, coefficient of variation 0.523."""
    t_s = np.arange(0, 204, 1 / 120)
    variations = {}
    for bandwidth_hz in (0.0, 0.4):
        truth = Truth(tremor_hz=6.0, tremor_mm=1.0, tremor_bandwidth_hz=bandwidth_hz)
        squares = Tremor(truth, np.random.default_rng(2)).at(t_s)[:, 0] ** 2
        swings = np.sqrt(squares[: len(squares) // 20 * 20].reshape(-1, 20).mean(axis=1))
        variations[bandwidth_hz] = swings.std() / swings.mean()
    assert variations[0.0] < 1e-6
    assert variations[0.4] == pytest.approx(0.523, abs=0.06)


@pytest.mark.parametrize(("angle", "x", "y"), [(0, 1, 0), (90, 0, 1), (30, 0.866, 0.5)])
def test_tremor_along_a_line_stays_on_it(angle, x, y):
    truth = Truth(tremor_mm=1.0, tremor_direction_deg=float(angle))
    path = Tremor(truth, np.random.default_rng(1)).at(np.arange(0, 20, 1 / 120))
    assert np.sqrt(2 * np.mean(path**2, axis=0)) == pytest.approx([x, y], abs=0.001)
    assert path @ np.array([-y, x]) == pytest.approx(0, abs=0.001)


def test_wandering_is_slow_and_of_its_size():
    path = Wander(0.7, np.random.default_rng(1)).at(np.arange(0, 204.8, 1 / 60))
    assert np.sqrt(np.mean(path**2, axis=0)) == pytest.approx(0.7, rel=0.15)
    f_hz, power = welch(path[:, 0], 60, nperseg=2048)
    assert power[f_hz > 3].sum() < 0.001 * power.sum()


def test_intention_tremor_grows_towards_the_goal():
    truth = Truth(intention=1.5)
    places = np.array([[0.0, 0.0], [60.0, 0.0], [80.0, 0.0], [100.0, 0.0]])
    growth = intention_growth(truth, places, ((1e6, 1e6), (100.0, 0.0)))
    assert growth == pytest.approx([1, 1, 1.75, 2.5])
