"""Own code where a library has the same: equal to it, and only there because it is quicker.

Every figure of time was measured once on one machine; what is held here is that both agree.
"""

import numpy as np
import pytest
from scipy import signal
from scipy.stats import binomtest, bootstrap

from battery.scoring.pursuit import tracking
from battery.scoring.pursuit.tracking import Response
from battery.scoring.signal.filters import (
    in_band,
    in_bands,
    low_pass,
    low_pass_all,
    velocity,
    without_line,
)
from battery.scoring.stats.intervals import wilson
from battery.scoring.stats.resampling import Bootstrap, mean

RATES_HZ = (100.0, 120.0, 240.0)


@pytest.fixture
def path_mm():
    return np.random.default_rng(7).normal(size=(700, 2)).cumsum(axis=0)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(("cutoff_hz", "order"), [(3.0, 4), (10.0, 2)])
def test_low_pass_is_that_of_scipy(path_mm, rate_hz, cutoff_hz, order):
    """scipy.signal.sosfiltfilt, odd extension of one period of the cut-off."""
    sections = signal.butter(order, cutoff_hz, fs=rate_hz, output="sos")
    pad = round(rate_hz / cutoff_hz)
    theirs = signal.sosfiltfilt(sections, path_mm, axis=0, padtype="odd", padlen=pad)
    np.testing.assert_allclose(
        low_pass(path_mm, cutoff_hz, rate_hz, order=order), theirs, rtol=0, atol=1e-9
    )


@pytest.mark.parametrize(("rate_hz", "window"), [(100.0, 9), (120.0, 9), (240.0, 19)])
def test_velocity_is_that_of_scipy(path_mm, rate_hz, window):
    """scipy.signal.savgol_filter, order 3, ends from the fit of the first and last window."""
    theirs = signal.savgol_filter(
        path_mm, window, 3, deriv=1, delta=1 / rate_hz, axis=0, mode="interp"
    )
    np.testing.assert_allclose(velocity(path_mm, rate_hz), theirs, rtol=0, atol=1e-8)


@pytest.mark.parametrize("n", [5, 240, 481])
def test_a_line_is_taken_off_as_by_scipy(n):
    values = np.random.default_rng(n).normal(size=(6, n)).cumsum(axis=1)
    np.testing.assert_allclose(without_line(values), signal.detrend(values), atol=1e-9)


@pytest.mark.parametrize("n", [1, 2, 9, 40, 333])
def test_the_interval_of_a_share_is_that_of_scipy(n):
    for successes in range(n + 1):
        theirs = binomtest(successes, n).proportion_ci(method="wilson")
        assert wilson(successes, n) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_coherence_is_that_of_scipy():
    """scipy.signal.coherence with the same windows, at the frequencies of the chip."""
    rate_hz, seconds = 120.0, 60.0
    t_s = np.arange(0, seconds, 1 / rate_hz)
    frequencies_hz = np.array([0.2, 0.5, 0.7])
    random = np.random.default_rng(3)
    chip = sum(np.sin(2 * np.pi * f * t_s + f) for f in frequencies_hz)
    finger = 0.8 * np.roll(chip, 20) + random.normal(0, 1.0, len(t_s))
    size = round(tracking.COHERENCE_S * rate_hz)
    _, theirs = signal.coherence(
        finger, chip, rate_hz, window="hann", nperseg=size, noverlap=size - size // 2,
        detrend="constant",
    )  # fmt: skip
    at = np.round(frequencies_hz * size / rate_hz).astype(int)
    power = np.array([1.0, 2.0, 3.0])
    response = Response(
        **{
            name: {"frequencies_hz": frequencies_hz, "power_mm2": power}.get(name, power)
            for name in Response.__dataclass_fields__
        }
    )
    value, _ = tracking.coherence_at(finger, chip, response, rate_hz)
    assert value == pytest.approx(np.average(theirs[at], weights=power), abs=1e-9)
    assert 0.2 < value < 0.999


def test_the_bootstrap_is_that_of_scipy():
    """Both draw at random, so they agree within what 2,000 draws tell of an end."""
    values = np.random.default_rng(5).gamma(2.0, size=30)
    ours = Bootstrap(seed=4, resamples=20_000).interval(values, mean)
    theirs = bootstrap(
        (values,),
        np.mean,
        n_resamples=20_000,
        method="percentile",
        rng=np.random.default_rng(9),
    ).confidence_interval
    width = theirs.high - theirs.low
    assert ours == pytest.approx((theirs.low, theirs.high), abs=0.03 * width)


@pytest.mark.parametrize(("cutoff_hz", "order"), [(3.0, 4), (8.0, 2), (10.0, 2)])
def test_many_pieces_at_once_are_filtered_bit_for_bit_as_one_by_one(path_mm, cutoff_hz, order):
    """Of every length, those too short to be filtered among them."""
    pieces = [path_mm[begin:end] for begin, end in ((0, 700), (3, 8), (9, 19), (20, 420))]
    together = low_pass_all(pieces, cutoff_hz, order=order)
    for piece, found in zip(pieces, together, strict=True):
        np.testing.assert_array_equal(found, low_pass(piece, cutoff_hz, order=order))


def test_bands_of_many_columns_are_those_of_each_alone(path_mm):
    bands = [(2.0, 14.0), (0.0, 3.0)]
    both = in_bands(path_mm, bands)
    for column, band in enumerate(bands):
        np.testing.assert_allclose(
            both[:, column], in_band(path_mm[:, column], band), rtol=0, atol=1e-10
        )
