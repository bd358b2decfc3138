"""Movement that nobody here made: wrists of ten people doing shoulder exercises.

Bundled with seglearn 1.2.5 (BSD): Burns DM et al. (2018). Shoulder physiotherapy exercise
recognition: machine learning the inertial signals from a smartwatch. Physiol Meas 39:075007.
Six channels at 50 Hz: acceleration in g, angular velocity in rad/s; no place in mm, so that
sizes are checked in the signals' own units.
"""

from importlib.metadata import distribution

import numpy as np
import pytest
from scipy.signal import resample_poly, welch

from battery.scoring.jitter.band import band_rms_mm
from battery.scoring.jitter.tremor import highest_peak
from battery.scoring.signal.filters import in_band
from battery.scoring.signal.kinematics import n_submovements, path_ratio
from battery.scoring.signal.path import even
from battery.scoring.signal.smoothness import sparc
from battery.scoring.signal.spectrum import spectra

RATE_HZ = 50.0
GRID_HZ = 120.0
EXERCISES = ("PEN", "ABD", "FEL", "IR", "ER", "TRAP", "ROW")


@pytest.fixture(scope="module")
def watches():
    seglearn = distribution("seglearn")
    (found,) = [f for f in seglearn.files if f.name == "watch_dataset.npy"]
    return np.load(seglearn.locate_file(found), allow_pickle=True).item()


@pytest.fixture(scope="module")
def turning(watches):
    """Angular velocity, rad/s, of every fourth recording, shape (n, 3) each."""
    return [np.asarray(record[:, 3:], dtype=np.float64) for record in watches["X"][::4]]


def test_these_are_the_recordings(watches, turning):
    assert len(watches["X"]) == 140
    assert len(set(watches["subject"])) == 10
    assert tuple(watches["y_labels"]) == EXERCISES
    assert min(len(record) for record in turning) > 10 * RATE_HZ


def test_band_size_agrees_with_scipy_on_real_movement(turning):
    """Voluntary movement fills the band too: these people have no tremor to find."""
    for record in turning:
        wave = record[:, 0]
        f_hz, density = welch(wave, RATE_HZ, nperseg=200, nfft=512, detrend="linear")
        band = (f_hz >= 3) & (f_hz <= 12)
        theirs = np.sqrt(density[band].sum() * f_hz[1])
        assert band_rms_mm([wave], band_hz=(3.0, 12.0), rate_hz=RATE_HZ) == pytest.approx(
            theirs, rel=1e-9
        )


def test_band_size_by_spectrum_and_by_filter_agree(turning):
    """Parseval on real signals: the two ways differ by windows and edges alone."""
    ratios = [
        np.sqrt(np.mean(in_band(r[:, 0], (3.0, 12.0), RATE_HZ) ** 2))
        / band_rms_mm([r[:, 0]], band_hz=(3.0, 12.0), rate_hz=RATE_HZ)
        for r in turning
    ]
    assert np.median(ratios) == pytest.approx(1, abs=0.03)
    assert np.std(ratios) < 0.1


def test_smoothness_agrees_with_scikit_digital_health_on_real_speeds(turning):
    from skdh.features import SPARC

    for record in turning:
        speed = np.linalg.norm(record, axis=1)[: int(4 * RATE_HZ)]
        theirs = float(SPARC().compute(speed, fs=RATE_HZ))
        assert sparc(speed, RATE_HZ) == pytest.approx(theirs, abs=0.002)
        assert sparc(speed, RATE_HZ) < -1.6  # repeated to and fro: never as smooth as one reach


def test_turns_and_peaks_are_those_of_exercises_done_slowly(turning):
    """Repetitions of some seconds: a handful of peaks of speed a second, never none."""
    for record in turning:
        speed_deg_s = np.degrees(np.linalg.norm(record, axis=1))
        per_s = n_submovements(speed_deg_s, RATE_HZ) / (len(record) / RATE_HZ)
        assert 0.3 < per_s < 8


def test_peaks_of_healthy_arms_lie_where_physiological_tremor_is(turning):
    """8-12 Hz (physiological and enhanced physiological tremor: common ground of reviews).

    A watch resolves turns far below what a screen tells of places. Unwhitened, the highest
    bin of nearly every axis would stand out, and nearly always at the lower edge of the band.
    """
    found_hz, naive_hz = [], []
    for record in turning:
        for axis in range(3):
            angle = np.cumsum(record[:, axis]) / RATE_HZ
            t_s = np.arange(len(angle)) / RATE_HZ
            grid_s, path = even((t_s, np.column_stack([angle, angle])))
            assert len(grid_s) == pytest.approx(len(angle) * GRID_HZ / RATE_HZ, abs=3)
            peak = highest_peak(spectra([path[:, 0]]))
            if peak.real:
                found_hz.append(peak.f_hz)
            f_hz, density = welch(angle, RATE_HZ, nperseg=100, detrend="linear")
            band = (f_hz >= 3) & (f_hz <= 12)
            naive_hz.append(f_hz[band][np.argmax(density[band])])
    assert np.mean(np.array(found_hz) >= 8) > 0.75
    assert np.mean(np.array(naive_hz) < 4) > 0.75


def test_uneven_stamps_leave_sizes_of_real_movement_as_they_were(turning):
    """Every recording brought to 100 a second, then read at jittered moments."""
    random = np.random.default_rng(1)
    for record in turning[:10]:
        wave = resample_poly(record[:, 0], 2, 1)
        t_s = np.arange(len(wave)) / 100
        late_s = np.sort(t_s + random.uniform(-0.002, 0.002, len(t_s)))
        seen = np.interp(late_s, np.arange(20 * len(t_s)) / 2000, resample_poly(wave, 20, 1))
        _, path = even((late_s, np.column_stack([seen, seen])))
        _, plain = even((t_s, np.column_stack([wave, wave])))
        assert band_rms_mm([path[:, 0]]) == pytest.approx(band_rms_mm([plain[:, 0]]), rel=0.01)


def test_a_wrist_path_in_turning_space_is_never_shorter_than_its_chord(turning):
    for record in turning[:10]:
        angles = np.cumsum(record[:, :2], axis=0) / RATE_HZ
        assert path_ratio(angles) >= 1
