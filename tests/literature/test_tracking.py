"""Following a chip: gain, phase, delay, error and coherence against what theory gives."""

import math

import numpy as np
import pytest
from scipy.signal import coherence

from battery.recording import Screen
from battery.scoring import score_block
from battery.scoring.pursuit import scores, tracking
from battery.scoring.pursuit.parts import Part
from battery.scoring.signal.filters import velocity
from battery.scoring.signal.path import GRID_HZ
from battery.scoring.trail.links import of_other_set
from battery.simulate import TOUCH_120
from tasks.layout import PursuitOptions
from tests.people import block_of, calm

A_MM, F_HZ, GAIN, DELAY_S = 60.0, 0.3, 0.9, 0.15
OMEGA = 2 * np.pi * F_HZ
SECONDS = 40.0  # twelve whole cycles
FIVE_HZ = np.array([3, 7, 11, 17, 29]) / 40


def followed(gain=GAIN, delay_s=DELAY_S, f_hz=(F_HZ,), noise_mm=0.0):
    """Time, finger and chip along the path; the chip from 1 s before to 0.3 s after."""
    n = round(SECONDS * GRID_HZ)
    random = np.random.default_rng(1)
    phases = random.uniform(0, 2 * np.pi, len(f_hz))

    def chip(t_s):
        waves = np.sin(2 * np.pi * np.outer(t_s, f_hz) + phases)
        return A_MM / math.sqrt(len(f_hz)) * waves.sum(axis=1)

    wide_s = np.arange(-round(GRID_HZ), n + round(0.3 * GRID_HZ)) / GRID_HZ
    t_s = wide_s[round(GRID_HZ) :][:n]
    finger = gain * chip(t_s - delay_s) + noise_mm * random.normal(size=n)
    return t_s, finger, chip(t_s), chip(wide_s)


def solved(t_s, finger, chip, f_hz=(F_HZ,)):
    on = np.ones(len(t_s), dtype=bool)
    return tracking.Sines(t_s, np.column_stack([finger, chip]), on, np.array(f_hz))


def test_gain_and_phase_of_one_sine():
    """Phase -360 f tau = -16.2 degrees (analytic)."""
    t_s, finger, chip, _ = followed()
    response = solved(t_s, finger, chip).solve()
    assert response.gain[0] == pytest.approx(0.9, abs=1e-6)
    assert math.degrees(response.phase_rad[0]) == pytest.approx(-16.2, abs=0.0005)
    assert response.delay_s == pytest.approx(DELAY_S, abs=1e-6)


@pytest.mark.parametrize("delay_s", [0.1, 0.15, 0.2, 0.3])
def test_delay_of_five_sines_with_noise(delay_s):
    """.1001, .1509, .2007 and .2993 s from 1.5 mm of noise (computed elsewhere)."""
    t_s, finger, chip, _ = followed(0.85, delay_s, FIVE_HZ, noise_mm=1.5)
    sines = solved(t_s, finger, chip, FIVE_HZ)
    assert sines.solve().delay_s == pytest.approx(delay_s, abs=0.002)
    assert sines.solve().overall_gain == pytest.approx(0.85, abs=0.005)
    assert math.sqrt(np.mean(sines.remnant_mm() ** 2)) == pytest.approx(1.5, rel=0.02)


def test_delay_by_correlation_lies_between_two_steps_of_the_grid():
    t_s, finger, _, wide = followed(f_hz=FIVE_HZ, delay_s=0.1535)
    lag_s, _ = tracking.lag_of_best_correlation_s(finger, np.ones(len(t_s), dtype=bool), wide)
    assert lag_s == pytest.approx(0.1535, abs=0.001)


def test_delay_by_correlation_is_a_second_way():
    t_s, finger, _chip, wide = followed(f_hz=FIVE_HZ)
    on = np.ones(len(t_s), dtype=bool)
    lag_s, left_out_s = tracking.lag_of_best_correlation_s(finger, on, wide)
    assert lag_s == pytest.approx(DELAY_S, abs=0.002)
    assert left_out_s == pytest.approx(DELAY_S, abs=0.003)
    on[1000:1600] = False
    finger[~on] = np.nan
    assert tracking.lag_of_best_correlation_s(finger, on, wide)[0] == pytest.approx(
        DELAY_S, abs=0.002
    )


def test_correlation_agrees_with_numpy_lag_by_lag():
    """The best whole step is that of `numpy.corrcoef` over all lags."""
    t_s, finger, _, wide = followed(f_hz=FIVE_HZ, noise_mm=3.0)
    n, before = len(t_s), round(GRID_HZ)
    lags = np.arange(-round(0.3 * GRID_HZ), before + 1)
    r = [np.corrcoef(finger, wide[before - lag : before - lag + n])[0, 1] for lag in lags]
    best_s = lags[int(np.argmax(r))] / GRID_HZ
    found_s, _ = tracking.lag_of_best_correlation_s(finger, np.ones(n, dtype=bool), wide)
    assert abs(found_s - best_s) <= 0.5 / GRID_HZ + 1e-9


def test_velocity_gain_needs_the_delay_taken_out():
    """Unshifted, the slope is g cos(omega tau) = .864264: a trap; shifted it is the gain."""
    t_s, finger, chip, _ = followed()
    usable = np.ones(len(t_s), dtype=bool)
    finger_mm_s, chip_mm_s = velocity(finger), velocity(chip)
    naive = tracking.velocity_gain(finger_mm_s, chip_mm_s, usable)
    assert naive == pytest.approx(GAIN * math.cos(OMEGA * DELAY_S), abs=0.0005)
    late = round(DELAY_S * GRID_HZ)
    shifted = tracking.velocity_gain(finger_mm_s[late:], chip_mm_s[:-late], usable[late:])
    assert shifted == pytest.approx(0.9, abs=0.0005)


@pytest.fixture(scope="module")
def whole():
    """A person who follows a single sine with the delay and gain above, scored as ever."""
    options = PursuitOptions(predictable_s=40.0, unpredictable_s=0.0)
    truth = calm(pursuit_gain=GAIN, pursuit_delay_s=DELAY_S)
    block = block_of("pursuit", options, truth, TOUCH_120)
    part = block.header.settings["parts"][0]
    (amplitude_mm, f_hz, _), *others = part["components"]
    assert not others
    found = score_block(block, screen=Screen(1280, 800, 0.1, 0.1, "virtual"))
    return {s.measure.removeprefix("pursuit."): s for s in found}, amplitude_mm, f_hz, block


def error_amplitude_mm(amplitude_mm, f_hz):
    angle = 2 * np.pi * f_hz * DELAY_S
    return amplitude_mm * math.sqrt(1 + GAIN**2 - 2 * GAIN * math.cos(angle))


def part_of(gain=GAIN, delay_s=DELAY_S):
    """A part of the printed movement, as the scorer cuts it."""
    t_s, finger, chip, wide = followed(gain, delay_s)
    on = np.ones(len(t_s), dtype=bool)
    places = [np.column_stack([along, np.zeros(len(t_s))]) for along in (finger, chip)]
    return Part(
        name="predictable", start_s=0.0, end_s=SECONDS, frequencies_hz=(F_HZ,), t_s=t_s,
        finger_mm=places[0], chip_mm=places[1], wide_chip_mm=wide, on=on, touching=on,
        pieces=[], even_pieces=[], segments=[],
    )  # fmt: skip


@pytest.mark.parametrize(("gain", "error_mm"), [(GAIN, 12.10985), (1.0, 11.955866)])
def test_tracking_error_is_the_printed_one(gain, error_mm):
    """(A / sqrt 2) sqrt(1 + g² - 2 g cos(omega tau)) of whole cycles (analytic)."""
    (found, *_) = scores._errors([part_of(gain)], 10.0)
    assert found.measure == "pursuit.tracking_rmse_mm"
    assert found.value == pytest.approx(error_mm, abs=5e-5)


def test_time_on_target_is_the_printed_one():
    """Within 10 mm of an error of 17.126 mm: (2 / pi) asin(R / E) = .39696 (analytic)."""
    found = scores._errors([part_of()], 10.0)[-1]
    assert found.measure == "pursuit.time_on_target"
    assert found.value == pytest.approx(0.39696, abs=0.005)


def test_tracking_error_and_time_on_target_through_the_whole_chain(whole):
    """RMSE as above; time within R of a sine of error E: (2 / pi) asin(R / E) (analytic)."""
    told, amplitude_mm, f_hz, block = whole
    size_mm = error_amplitude_mm(amplitude_mm, f_hz)
    assert told["tracking_rmse_mm"].value == pytest.approx(size_mm / math.sqrt(2), rel=0.02)
    radius_mm = block.header.settings["chip_r_mm"]
    share = 2 / math.pi * math.asin(min(1.0, radius_mm / size_mm))
    assert told["time_on_target"].value == pytest.approx(share, abs=0.015)


def test_gain_and_velocity_gain_through_the_whole_chain(whole):
    told, _, f_hz, _ = whole
    assert told["gain"].value == pytest.approx(GAIN, abs=0.005)
    assert told["velocity_gain"].value == pytest.approx(GAIN, abs=0.01)
    assert told["delay_s"].value == pytest.approx(DELAY_S, abs=0.005)
    assert told["phase_predictable_deg"].value == pytest.approx(-360 * f_hz * DELAY_S, abs=0.5)


def test_coherence_agrees_with_scipy_and_is_not_one_by_chance():
    t_s, finger, chip, _ = followed(f_hz=FIVE_HZ, noise_mm=30.0)
    response = solved(t_s, finger, chip, FIVE_HZ).solve()
    value, n = tracking.coherence_at(finger, chip, response)
    f_hz, theirs = coherence(finger, chip, GRID_HZ, nperseg=round(8 * GRID_HZ))
    chosen = response.frequencies_hz >= 0.1
    at = np.round(response.frequencies_hz[chosen] / f_hz[1]).astype(int)
    assert n == 9
    assert value == pytest.approx(
        np.average(theirs[at], weights=response.power_mm2[chosen]), rel=1e-9
    )
    assert math.isnan(tracking.coherence_at(finger[:960], chip[:960], response)[0])


def test_limit_of_chance_coherence_is_told():
    """Halliday 1995: 1 - .05^(1 / (L - 1)) = .3123 of nine segments."""
    from battery.scoring import MEASURES

    limit = 1 - 0.05 ** (1 / (tracking.MIN_SEGMENTS - 1))  # of the fewest there may be
    assert limit == pytest.approx(0.3123, abs=0.0005)
    assert "0.31" in MEASURES["pursuit.coherence"].limits


def test_errors_of_a_trail_by_kind():
    """A letter for a number is a failure to alternate; a wrong number is one of order."""
    assert of_other_set("alternating", "3", "C")
    assert not of_other_set("alternating", "3", "4")
    assert not of_other_set("numbers", "3", "4")
