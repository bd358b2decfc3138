"""Pointing: the table of Fitts, throughput, errors and areas of end points, rhythm."""

import math

import numpy as np
import pytest
from scipy.stats import chi2, f, linregress, theilslopes

from battery.scoring.stats import rhythm
from battery.scoring.stats.dependent_windows import of_dependent_mean
from battery.scoring.stats.intervals import of_count, of_mean, of_median, wilson
from battery.scoring.stats.resampling import Bootstrap, mean
from battery.scoring.tapping import accuracy
from battery.scoring.tapping.throughput import (
    WIDTH_IN_SD,
    along_mm,
    index_of_difficulty,
    throughput_bit_s,
)

# Fitts PM (1954) J Exp Psychol 47:381-391, Table 1, stylus of 1 oz: distances and widths in
# inches, movement times in s (from memory; the correlations printed by others are matched).
DISTANCES = np.array([2.0, 4.0, 8.0, 16.0])
TIMES_S = {
    0.25: [0.392, 0.484, 0.580, 0.731],
    0.50: [0.281, 0.372, 0.469, 0.595],
    1.00: [0.212, 0.260, 0.357, 0.481],
    2.00: [0.180, 0.203, 0.279, 0.388],
}
FORMS = {  # the part of the distance that each form puts over the width, less one width
    "fitts": lambda a, w: 2 * a - w,  # log2(2 A / W)
    "welford": lambda a, w: a - w / 2,  # log2(A / W + 0.5)
    "shannon": lambda a, w: a,  # log2(A / W + 1)
}


def fitts_1954(form):
    bits = np.array([index_of_difficulty(FORMS[form](DISTANCES, w), w) for w in TIMES_S])
    return bits.ravel(), np.array(list(TIMES_S.values())).ravel()


@pytest.mark.parametrize(
    ("form", "intercept_ms", "slope_ms", "r"),
    [
        ("fitts", 12.80, 94.67, 0.9831),
        ("welford", 65.36, 103.79, 0.9900),
        ("shannon", 27.69, 111.54, 0.9936),
    ],
)
def test_fitts_1954_gives_the_regressions_of_mackenzie_1989(form, intercept_ms, slope_ms, r):
    """MacKenzie IS (1989) J Mot Behav 21:323-330 (from memory): 12.8 + 94.7 ID, r .9831."""
    line = linregress(*fitts_1954(form))
    assert 1000 * line.intercept == pytest.approx(intercept_ms, abs=0.005)
    assert 1000 * line.slope == pytest.approx(slope_ms, abs=0.005)
    assert line.rvalue == pytest.approx(r, abs=0.00005)


def test_mean_rate_of_fitts_1954():
    bits, times_s = fitts_1954("fitts")
    assert np.mean(bits / times_s) == pytest.approx(10.104, abs=0.0005)


def test_width_is_that_of_the_standard():
    """ISO/TS 9241-411: 4.133 standard deviations, the root of 2 pi e."""
    assert math.sqrt(2 * math.pi * math.e) == pytest.approx(4.132731, abs=5e-7)
    assert pytest.approx(4.132731, abs=0.0005) == WIDTH_IN_SD


def test_throughput_by_hand():
    """Eight reaches of 100 mm, 2 mm beyond and short in turn, half a second each."""
    off_mm = np.array([2.0, -2.0] * 4)
    bits = throughput_bit_s(np.full(8, 100.0) + off_mm, off_mm, np.full(8, 0.5))
    # The standard deviation that the program took: 2.13809 mm, with n - 1.
    width_mm = 100 / (2 ** (0.5 * float(bits)) - 1)
    assert width_mm / WIDTH_IN_SD == pytest.approx(2.13809, abs=0.000005)
    assert 0.5 * bits == pytest.approx(3.62251, abs=0.0001)
    # To the printed digits with the width's constant unrounded.
    exact = index_of_difficulty(100.0, math.sqrt(2 * math.pi * math.e) * off_mm.std(ddof=1))
    assert exact / 0.5 == pytest.approx(7.245019, abs=0.0005)
    assert float(bits) == pytest.approx(float(exact / 0.5), rel=0.00005)


def test_a_miss_straight_across_lies_on_the_target():
    """Exact projection of ISO/TS 9241-411: (c² - b² - a²) / 2a."""
    places = np.array([[0.0, 0.0]]), np.array([[100.0, 0.0]])
    assert along_mm(*places, np.array([[100.0, 5.0]]))[0] == pytest.approx(0, abs=5e-10)
    assert along_mm(*places, np.array([[103.0, 5.0]]))[0] == pytest.approx(3)


def test_scatter_in_both_directions_takes_bits_away():
    """Isotropic scatter is wider by the root of two in two directions (Pythagoras)."""
    off_mm = np.random.default_rng(1).normal(0, 2, (4000, 2))
    reached, times_s = np.full(4000, 80.0), np.full(4000, 0.5)
    one, two = (throughput_bit_s(reached, off, times_s) for off in (off_mm[:, 0], off_mm))
    assert 2 ** (0.5 * one) - 1 == pytest.approx(
        math.sqrt(2) * (2 ** (0.5 * two) - 1), rel=0.02
    )


# Made-up errors; definitions of Hancock, Butler & Fischman (1995) J Mot Behav 27:241-250.
ERRORS_MM = np.column_stack(
    [[3, -1, 4, 1, -5, 9, 2, -6, 5], [2, 7, -1, 8, 2, -8, 1, 8, -2]]
).astype(float)


def test_errors_of_hancock_1995():
    radial = accuracy.radial_mm(ERRORS_MM)
    constant, variable = accuracy.constant_mm(ERRORS_MM), accuracy.variable_mm(ERRORS_MM)
    assert radial.mean() == pytest.approx(6.434442, abs=5e-7)
    assert constant == pytest.approx(2.312072, abs=5e-7)
    assert variable == pytest.approx(6.707284, abs=5e-7)
    assert np.mean(radial**2) - constant**2 - variable**2 == pytest.approx(0, abs=5e-10)


def with_covariance(sx, sy, r, n=20):
    """Points whose sample covariance (n - 1) is exactly this one."""
    raw = np.random.default_rng(3).normal(size=(n, 2))
    raw -= raw.mean(axis=0)
    white = raw @ np.linalg.inv(np.linalg.cholesky(np.cov(raw.T))).T
    return white @ np.linalg.cholesky([[sx**2, r * sx * sy], [r * sx * sy, sy**2]]).T


def test_areas_of_a_known_covariance():
    """Crossland MD et al. (2004): 2k pi sx sy sqrt(1 - r²); also pi chi²(.95; 2) sqrt(det)."""
    points = with_covariance(2, 1, 0.6)
    assert accuracy.bcea_mm2(points) == pytest.approx(30.116386, abs=0.000005)
    assert accuracy.bcea_mm2(points, 0.682) == pytest.approx(11.517872, abs=0.000005)
    analytic = math.pi * chi2.ppf(0.95, 2) * math.sqrt(4 * 1 * (1 - 0.36))
    assert accuracy.bcea_mm2(points) == pytest.approx(analytic, rel=1e-12)


def test_prediction_ellipse_factor():
    """Schubert & Kirchner (2014) Gait Posture 39:518-522, with F(.95; 2, 18) of scipy."""
    assert accuracy.prediction_factor(20) == pytest.approx(7.879268, abs=0.000005)
    assert accuracy.prediction_factor(20) == pytest.approx(
        2 * 19 * 21 / (20 * 18) * f.ppf(0.95, 2, 18), rel=1e-12
    )


def test_prediction_ellipse_holds_the_next_end_point():
    """95 %, where the ellipse of chi-square holds 91 % at n = 20."""
    random = np.random.default_rng(5)
    held = wrongly = 0
    for _ in range(2000):
        points, new = random.normal(size=(20, 2)), random.normal(size=2)
        off = new - points.mean(axis=0)
        distance = off @ np.linalg.solve(np.cov(points.T), off)
        held += distance <= accuracy.prediction_factor(20)
        wrongly += distance <= chi2.ppf(0.95, 2)
    assert held / 2000 == pytest.approx(0.95, abs=0.015)
    assert wrongly / 2000 == pytest.approx(0.911, abs=0.02)


def test_interval_of_an_area_covers_it():
    """95 % of intervals hold the true area of normal end points (here 2k pi)."""
    random = np.random.default_rng(6)
    true = -2 * math.log(0.05) * math.pi
    inside = 0
    for _ in range(1500):
        area = accuracy.bcea_mm2(random.normal(size=(20, 2)))
        low, high = accuracy.area_interval(area, 20)
        inside += low <= true <= high
    assert inside / 1500 == pytest.approx(0.95, abs=0.018)


def test_rhythm_by_hand():
    """Mean 0.50 s, standard deviation (n - 1) 0.02 s: 4 %."""
    intervals_s = np.array([0.50, 0.52, 0.48, 0.51, 0.49, 0.50, 0.53, 0.47])
    assert rhythm.cv_percent(intervals_s) == pytest.approx(4.0, abs=5e-10)
    steps = np.array([0.02, -0.04, 0.03, -0.02, 0.01, 0.03, -0.06])
    expected = 100 * math.sqrt(np.mean(steps**2)) / 0.5
    assert rhythm.rmssd_percent(intervals_s) == pytest.approx(expected, abs=1e-9)


def test_slowing_by_theil_and_sen():
    """24.1 ... 29.0: slope .54444, interval .400 to .700 (scipy and pymannkendall agree)."""
    values = np.array([24.1, 23.8, 25.0, 25.9, 26.1, 25.4, 27.0, 28.2, 27.5, 29.0])
    slope, (low, high) = rhythm.slope(values, np.arange(10.0))
    assert slope == pytest.approx(0.54444, abs=0.000005)
    assert (low, high) == pytest.approx((0.400, 0.700), abs=0.0005)
    assert slope == theilslopes(values, np.arange(10.0)).slope


def test_interval_of_a_mean_agrees_with_statsmodels():
    from statsmodels.stats.weightstats import DescrStatsW

    values = np.random.default_rng(7).normal(10, 2, 22)
    assert of_mean(values) == pytest.approx(DescrStatsW(values).tconfint_mean(0.05), rel=1e-9)


def test_intervals_cover_what_they_should():
    """Of 1500 samples of 20, some 95 % of intervals hold the true value."""
    random = np.random.default_rng(8)
    held = np.zeros(4)
    for number in range(1500):
        skewed = random.exponential(1.0, 20)
        count, hits = random.poisson(4.0), random.binomial(20, 0.8)
        intervals = (
            (of_median(skewed), math.log(2)),
            (of_count(count), 4.0),
            (wilson(hits, 20), 0.8),
            (Bootstrap(number, 300).interval(random.normal(5, 1, 30), mean), 5.0),
        )
        held += [low <= true <= high for (low, high), true in intervals]
    held /= 1500
    assert held[0] == pytest.approx(0.95, abs=0.02)
    assert held[1] == pytest.approx(0.95, abs=0.02)
    assert held[2] == pytest.approx(0.95, abs=0.03)
    assert held[3] == pytest.approx(0.94, abs=0.025)


@pytest.mark.parametrize(("share", "least"), [(0.0, 0.93), (0.4, 0.92), (0.7, 0.87)])
def test_interval_of_a_mean_of_dependent_values(share, least):
    """Thirty values, each a share of the last and the rest by chance (autoregression).

    Student's interval holds 81 % of the means at 0.4 and 60 % at 0.7.
    """
    random = np.random.default_rng(11)
    held = 0
    for _ in range(1500):
        values = np.zeros(60)
        for at, step in enumerate(random.normal(size=60)):
            values[at] = share * values[at - 1] + step
        error, reach = of_dependent_mean(values[30:])
        held += abs(values[30:].mean()) <= reach * error
    assert least <= held / 1500 <= 0.975


def test_reach_of_a_mean_of_dependent_values_is_near_the_printed_one():
    """Kiefer & Vogelsang 2005: 2.98 for a third; Student's for three values alone (4.303)."""
    assert of_dependent_mean(np.arange(30.0) % 7)[1] == pytest.approx(2.98, abs=0.01)
    assert of_dependent_mean(np.array([1.0, 2.0, 4.0]))[1] == pytest.approx(4.303, abs=0.001)


def test_intervals_of_scatter_and_offset_of_end_points():
    """Of 1500 times 20 normal end points, 5 by 2 mm wide: resampling held 81 to 86 %."""
    random = np.random.default_rng(12)
    held = np.zeros(3)
    for _ in range(1500):
        errors_mm = random.normal((1.0, 2.0), (5.0, 2.0), (20, 2))
        low, high = accuracy.variable_interval(errors_mm)
        held[0] += low <= math.hypot(5, 2) <= high
        low, high = accuracy.constant_interval(random.normal((1.0, 2.0), 4.0, (20, 2)))
        held[1] += low <= math.hypot(1, 2) <= high
        low, high = accuracy.constant_interval(random.normal(0.0, 4.0, (20, 2)))
        held[2] += low == 0.0
    assert held[:2] / 1500 == pytest.approx([0.95, 0.95], abs=0.02)
    assert held[2] / 1500 == pytest.approx(0.975, abs=0.012)


def test_interval_of_a_median_of_few_is_wide_enough():
    """Of five normal values; the order statistics alone hold it with 94 %."""
    random = np.random.default_rng(9)
    inside = 0
    for _ in range(2000):
        low, high = of_median(random.normal(size=5))
        inside += low <= 0 <= high
    assert inside / 2000 >= 0.945
