"""Measures against print and against other people's programs; the source stands at each."""

import math

import numpy as np
import pytest
from scipy.signal import welch

from battery.scoring.jitter.band import band_rms_mm
from battery.scoring.jitter.device_floor import floor_mm
from battery.scoring.signal.smoothness import sparc
from battery.scoring.stats.intervals import wilson
from battery.scoring.tapping.accuracy import variable_mm
from battery.simulate import minimum_jerk


def minimum_jerk_speed(length_s, rate_hz):
    u = np.arange(round(length_s * rate_hz) + 1) / (length_s * rate_hz)
    return 30 * u**2 * (1 - u) ** 2 / length_s


@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_matches_newcombe_1998_and_statsmodels(hits, n, low, high):
    """Newcombe RG (1998) Stat Med 17:857-872, Table I, score method (from memory)."""
    from statsmodels.stats.proportion import proportion_confint

    assert wilson(hits, n) == pytest.approx((low, high), abs=0.00005)
    assert wilson(hits, n) == pytest.approx(
        proportion_confint(hits, n, method="wilson"), abs=1e-9
    )


def test_sparc_matches_the_authors_reference_example():
    """Balasubramanian et al. 2015, example of the authors' own program: -1.41403."""
    t_s = np.arange(-1, 1, 0.01)
    assert sparc(np.exp(-5 * t_s**2), 100) == pytest.approx(-1.41403, abs=0.000005)


@pytest.mark.parametrize("length_s", [0.3, 1.0, 5.0])
@pytest.mark.parametrize("rate_hz", [60, 120, 1000])
def test_sparc_of_minimum_jerk_is_near_its_continuous_limit(length_s, rate_hz):
    """-1.408 in the limit; discrete forms give -1.400 to -1.406 as bins snap."""
    speed = minimum_jerk_speed(length_s, rate_hz)
    if len(speed) < 20:
        assert math.isnan(sparc(speed, rate_hz))
        return
    assert sparc(speed, rate_hz) == pytest.approx(-1.403, abs=0.006)


def test_sparc_does_not_change_with_rest_and_does_with_a_pause():
    """Computed with two further programs: -2.2925 without, -3.7604 with 0.5 s of pause."""
    pulse = minimum_jerk_speed(0.6, 100)
    still = np.zeros(50)
    one = minimum_jerk_speed(1.0, 100)
    assert sparc(np.r_[still, one, still], 100) == pytest.approx(-1.40592, abs=0.0001)
    assert sparc(np.r_[pulse, pulse[1:]], 100) == pytest.approx(-2.2925, abs=0.001)
    assert sparc(np.r_[pulse, still[:49], pulse], 100) == pytest.approx(-3.7604, abs=0.02)


def test_sparc_keeps_the_mean():
    """Removing it is a known mistake and would give -4.383."""
    speed = minimum_jerk_speed(1.0, 100)
    assert sparc(speed, 100) == pytest.approx(-1.40583, abs=0.0001)
    assert sparc(speed - speed.mean(), 100) == pytest.approx(-4.38305, abs=0.001)


@pytest.mark.parametrize("rate_hz", [60, 120, 240])
@pytest.mark.parametrize("hz", [6.0, 6.13])
def test_band_rms_of_a_sine_is_its_amplitude_over_root_two(rate_hz, hz):
    """Parseval; the height of the peak would give 0.860 off a bin (Hann scalloping)."""
    t_s = np.arange(0, 20, 1 / rate_hz)
    wave = np.sin(2 * np.pi * hz * t_s)
    assert band_rms_mm([wave], rate_hz=rate_hz) == pytest.approx(math.sqrt(0.5), abs=0.0002)
    if hz == 6.13:
        _, peaks = welch(wave, rate_hz, nperseg=4 * rate_hz, scaling="spectrum")
        assert math.sqrt(2 * peaks.max()) == pytest.approx(0.86, abs=0.003)


def test_band_rms_agrees_with_scipy_welch():
    generator = np.random.default_rng(2)
    wave = np.cumsum(generator.normal(size=4800)) * 0.01
    f_hz, density = welch(wave, 120, nperseg=480, noverlap=240, nfft=1024, detrend="linear")
    band = (f_hz >= 3) & (f_hz <= 12)
    expected = math.sqrt(density[band].sum() * (f_hz[1] - f_hz[0]))
    assert band_rms_mm([wave], band_hz=(3.0, 12.0)) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("pixel_mm", "rate_hz", "floor"),
    [(0.10, 60, 0.01581), (0.10, 120, 0.01118), (0.10, 240, 0.00791),
     (0.15, 60, 0.02372), (0.15, 120, 0.01677), (0.15, 240, 0.01186),
     (0.25, 60, 0.03953), (0.25, 120, 0.02795), (0.25, 240, 0.01976)],
)  # fmt: skip
def test_floor_of_whole_pixels_is_uniform_rounding_noise(pixel_mm, rate_hz, floor):
    """Bennett WR (1948) Bell Syst Tech J 27:446-472: variance q²/12, white."""
    assert floor_mm(pixel_mm, rate_hz, (3.0, 12.0)) == pytest.approx(floor, abs=0.000005)


def test_floor_agrees_with_rounding_a_wandering_finger():
    """Two slow sines whose periods share no multiple with the sampling."""
    t_s = np.arange(0, 60, 1 / 120)
    true = 30 * np.sin(2 * np.pi * 0.4371 * t_s) + 12 * np.sin(2 * np.pi * 0.1313 * t_s)
    rest = np.round(true / 0.25) * 0.25 - true
    assert band_rms_mm([rest]) == pytest.approx(floor_mm(0.25, 120), rel=0.15)


# Made-up errors whose sums are checked by hand; definitions of Hancock, Butler & Fischman
# (1995) J Mot Behav 27:241-250.
X_MM = np.array([3, -1, 4, 1, -5, 9, 2, -6, 5], dtype=float)
Y_MM = np.array([2, 7, -1, 8, 2, -8, 1, 8, -2], dtype=float)


def test_pointing_errors_follow_hancock_1995():
    radial = np.hypot(X_MM, Y_MM)
    assert radial.mean() == pytest.approx(6.434442, abs=0.0000005)
    scatter = variable_mm(np.column_stack([X_MM, Y_MM]))
    assert scatter == pytest.approx(6.707284, abs=0.0000005)
    centre = np.hypot(X_MM.mean(), Y_MM.mean())
    assert np.mean(radial**2) == pytest.approx(centre**2 + scatter**2)


def test_minimum_jerk_facts():
    """Flash & Hogan 1985: peak over mean speed 1.875; 5 % of peak at 5.94 % of the time."""
    u = np.linspace(0, 1, 200_001)
    way = np.array([minimum_jerk(share) for share in u[::200]])
    speed = np.gradient(way, u[::200])
    assert speed.max() == pytest.approx(1.875, abs=0.001)
    fine = 30 * u**2 * (1 - u) ** 2
    assert u[np.argmax(fine >= 0.05 * fine.max())] == pytest.approx(0.059435, abs=0.00001)
