"""Jitter: spectra and floors against print, other programs, and what fools naive ones."""

import math

import numpy as np
import pytest
from scipy.signal import find_peaks, welch

from battery.scoring.jitter.band import band_rms_mm
from battery.scoring.jitter.device_floor import Device, floor_mm
from battery.scoring.jitter.jitter_scores import Drag, jitter_scores
from battery.scoring.jitter.tremor import highest_peak
from battery.scoring.signal.filters import in_band
from battery.scoring.signal.path import even
from battery.scoring.signal.spectrum import spectra

RATE_HZ = 120.0


def sine(hz, *, seconds=20, rate_hz=RATE_HZ, amplitude=1.0):
    return amplitude * np.sin(2 * np.pi * hz * np.arange(0, seconds, 1 / rate_hz))


@pytest.mark.parametrize("rate_hz", [60, 120, 240])
def test_band_rms_agrees_with_neurokit2_with_its_units_kept(rate_hz):
    """`signal_psd(normalize=False)`: 0.70711 of a sine of 1 mm; by default it rescales."""
    import neurokit2

    wave = sine(6.0, rate_hz=rate_hz)
    psd = neurokit2.signal_psd(
        wave, sampling_rate=rate_hz, method="welch", normalize=False, min_frequency=0.25,
        window=4,
    )  # fmt: skip
    f_hz, power = psd["Frequency"].to_numpy(), psd["Power"].to_numpy()
    band = (f_hz >= 3) & (f_hz <= 12)
    theirs = math.sqrt(power[band].sum() * (f_hz[1] - f_hz[0]))
    ours = band_rms_mm([wave], rate_hz=rate_hz)
    assert ours == pytest.approx(theirs, abs=0.0002)
    assert ours == pytest.approx(0.707107, abs=0.00005)


def test_whole_spectrum_is_the_variance():
    """Parseval: the density of one piece of several tapers, over all frequencies."""
    wave = np.random.default_rng(1).normal(size=round(5 * RATE_HZ))
    found = spectra([wave])
    whole = float(found.density.sum() * found.f_hz[1])
    # A line is taken off first; the tapers weigh the places unevenly.
    assert whole == pytest.approx(wave.var(), rel=0.08)
    ours = spectra([sine(7.3, seconds=5)])
    assert math.sqrt(ours.density.sum() * ours.f_hz[1]) == pytest.approx(
        math.sqrt(0.5), rel=0.01
    )


def test_frequency_between_two_bins():
    """6.13 Hz on bins of a quarter hertz: 6.13 by the parabola through logarithms."""
    noise = np.random.default_rng(2).normal(0, 0.01, 2400)
    peak = highest_peak(spectra([sine(6.13) + noise]))
    assert peak.f_hz == pytest.approx(6.13, abs=0.01)
    assert peak.real


def test_no_size_is_read_at_the_peak_of_a_spectrum():
    """6.13 Hz between bins of a quarter hertz reads .860 there (Hann); the band holds .7071.

    The windows here are filled up with zeros, so that their peak would read .986.
    """
    wave = sine(6.13)
    naive = welch(wave, RATE_HZ, "hann", 480, detrend="linear", scaling="spectrum")[1]
    assert math.sqrt(2 * naive.max()) == pytest.approx(0.860, abs=0.002)
    found = spectra([wave])
    assert math.sqrt(2 * found.mean_fine().max() * 1.5 / 4) == pytest.approx(0.986, abs=0.01)
    assert band_rms_mm([wave]) == pytest.approx(0.7071, abs=0.0002)


def test_narrow_band_noise_has_the_swing_of_a_rayleigh_envelope():
    """Mean peak to peak over root mean square: 2 sqrt(pi / 2) = 2.507."""
    noise = np.random.default_rng(3).normal(size=round(600 * RATE_HZ))
    narrow = in_band(noise, (5.7, 6.3))
    tops, lows = (narrow[find_peaks(sign * narrow)[0]] for sign in (1, -1))
    swing = tops.mean() - lows.mean()
    assert swing / narrow.std() == pytest.approx(2.506628, rel=0.03)


# Traps


def drifting(seconds, seed, power=2.0):
    """Noise whose power falls with the frequency to the `power`: a wandering hand."""
    random = np.random.default_rng(seed)
    n = round(seconds * RATE_HZ)
    f_hz = np.fft.rfftfreq(n, 1 / RATE_HZ)
    waves = random.normal(size=len(f_hz)) + 1j * random.normal(size=len(f_hz))
    waves[1:] /= f_hz[1:] ** (power / 2)
    waves[0] = 0
    return np.fft.irfft(waves, n)


@pytest.mark.parametrize("power", [0.0, 2.0])
def test_wandering_without_tremor_has_no_frequency(power):
    """Unwhitened, the highest bin stands 7 to 13 times over the median: every slow hand

    would "have a tremor". Whitened, about one record in a hundred has a peak by chance.
    """
    real, naive = 0, []
    for seed in range(200):
        wave = drifting(20, seed, power)
        real += highest_peak(spectra([wave])).real
        f_hz, density = welch(wave, RATE_HZ, nperseg=240, detrend="linear")
        band = density[(f_hz >= 3) & (f_hz <= 12)]
        naive.append(band.max() / np.median(band))
    assert real <= 7  # 200 records of 1 %: more than 7 with 0.1 %
    if power:
        assert np.median(naive) > 5
        assert np.mean(np.array(naive) > 2.5) > 0.95


def test_a_small_tremor_on_a_wandering_hand_is_found():
    for hz in (4.1, 6.6, 9.8):
        wave = 5 * drifting(20, 5) / np.std(drifting(20, 5)) + sine(hz, amplitude=0.6)
        peak = highest_peak(spectra([wave]))
        assert peak.real
        assert peak.f_hz == pytest.approx(hz, abs=0.1)


def scored(across_mm, device):
    still = np.zeros(len(across_mm))
    drags = [Drag(across_mm, still, still, np.ones(len(still), dtype=bool))]
    found = jitter_scores("slide", drags, device, along=())
    return {score.measure.removeprefix("slide."): score for score in found}


@pytest.mark.parametrize(
    ("pixel_mm", "speed_mm_s", "line_mm"), [(0.25, 16.5, 0.056), (0.1, 6.6, 0.0225)]
)
def test_the_stairs_of_an_even_drag_are_no_tremor(pixel_mm, speed_mm_s, line_mm):
    """At |v / q - k fs| a false line of q / (pi sqrt 2): here 6 Hz, and quite sharp."""
    t_s = np.arange(0, 20, 1 / 60)
    stairs = np.round(speed_mm_s * t_s / pixel_mm) * pixel_mm
    _, path = even((t_s, np.column_stack([stairs, stairs])))
    peak = highest_peak(spectra([path[:, 1]]))
    assert peak.real  # it looks like one
    assert peak.f_hz == pytest.approx(6.0, abs=0.1)
    assert band_rms_mm([path[:, 1]]) == pytest.approx(line_mm, rel=0.25)
    found = scored(path[:, 1], Device(pixel_mm, 60.0))
    assert found["jitter_across_mm"].below_floor
    assert math.isnan(found["tremor_hz"].value)
    assert found["tremor_hz"].below_floor


def test_a_value_below_the_floor_says_so_and_one_above_does_not():
    device = Device(0.1, 120.0)
    noise = np.random.default_rng(4).normal(0, 0.03, 2400)
    assert scored(sine(6, amplitude=0.05) + noise, device)["jitter_across_mm"].below_floor
    above = scored(sine(6, amplitude=0.5) + noise, device)
    assert not above["jitter_across_mm"].below_floor
    assert above["jitter_floor_mm"].value == pytest.approx(floor_mm(0.1, 120.0))
    still = scored(np.zeros(2400), device)["jitter_across_mm"]
    assert still.below_floor
    assert (still.value, still.low) == (0.1, 0.0)  # whatever lies below the floor is equal


def test_a_thousand_reports_of_a_mouse_do_not_thin_out_its_rounding():
    assert Device(0.2, 1000.0).quantisation_mm() == floor_mm(0.2, RATE_HZ)


def test_lost_reports_do_not_change_frequency_or_size():
    """Taken for even, 5 % fewer reports read 6 Hz as 6.25 and 0.91 of its size."""
    random = np.random.default_rng(6)
    t_s = np.arange(0, 40, 1 / 60)
    t_s = t_s[random.random(len(t_s)) >= 0.05]
    t_s = t_s[np.concatenate([[True], np.diff(t_s) < 0.05])]
    wave = np.sin(2 * np.pi * 6 * t_s)
    naive = welch(wave, 60, nperseg=240, detrend="linear")
    assert naive[0][np.argmax(naive[1])] > 6.15
    _, path = even((t_s, np.column_stack([wave, 0 * wave])))
    assert band_rms_mm([path[:, 0]]) == pytest.approx(math.sqrt(0.5), rel=0.02)
    noise = random.normal(0, 0.01, len(path))
    assert highest_peak(spectra([path[:, 0] + noise])).f_hz == pytest.approx(6.0, abs=0.02)


def test_following_a_slow_chip_does_not_leak_into_the_band():
    """0.3 Hz of 80 mm: 0.02 mm with a tapered window, 3.8 mm without one."""
    slow = 80 * np.sin(2 * np.pi * 0.3 * np.arange(0, 20, 1 / RATE_HZ))
    assert band_rms_mm([slow]) < 0.1
    boxcar = welch(slow, RATE_HZ, window="boxcar", nperseg=480, detrend=False)
    band = (boxcar[0] >= 3) & (boxcar[0] <= 12)
    assert math.sqrt(boxcar[1][band].sum() * 0.25) > 1
