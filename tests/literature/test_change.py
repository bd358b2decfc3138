"""Change and trend against print, and against other programs."""

import itertools
import math

import numpy as np
import pymannkendall
import pytest
from scipy.stats import kendalltau
from scipy.stats import t as student

from norms import multiplicity
from norms.asymmetry import asymmetry, log_ratio_sd, ratio_points
from norms.band import OutsideSem, band
from norms.baseline import Point
from norms.running import ewma
from norms.trend import mann_kendall, theil_sen, trend
from norms.verdict import judge

# --- Few baselines ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("k", "multiplier"), [(2, 15.56), (3, 4.97), (4, 3.56), (5, 3.04), (8, 2.51), (10, 2.37)]
)
def test_own_scatter_alone_has_the_prediction_limits_of_few_visits(k, multiplier):
    """t(.975, k - 1) sqrt(1 + 1/k): the textbook prediction interval of one more value."""
    values = np.random.default_rng(k).normal(10, 1, k)
    own = band(list(values), None, log_scale=False, level=0.95)
    assert (own.high - own.centre) / values.std(ddof=1) == pytest.approx(multiplier, abs=0.006)
    assert own.provisional


@pytest.mark.parametrize(("k", "rate"), [(2, 0.36), (3, 0.23), (5, 0.15)])
def test_mean_and_1_96_own_deviations_flag_far_too_many(k, rate):
    """Why that rule is not used: chance of one more unchanged visit outside (computed)."""
    outside = 2 * student.sf(1.959964 / math.sqrt(1 + 1 / k), k - 1)
    assert outside == pytest.approx(rate, abs=0.01)
    own = band(list(np.random.default_rng(k).normal(10, 1, k)), None, log_scale=False)
    assert own.high - own.centre > 1.959964 * own.sd


def test_two_running_with_a_known_error_flags_one_in_eighteen():
    """Two visits running beyond 1.96 sqrt(1 + 1/3), 20 looks: 5.5 % (simulated before)."""
    generator = np.random.default_rng(9)
    sem = OutsideSem(1.0, "known")
    limit = band([0, 0.1, 0.2], None, log_scale=False, outside=sem, level=0.95)
    half = limit.high - limit.centre
    visits = generator.standard_normal((40_000, 23))
    z = visits[:, 3:] - visits[:, :3].mean(axis=1, keepdims=True)
    up, down = z > half, z < -half
    flagged = (up[:, 1:] & up[:, :-1]).any(axis=1) | (down[:, 1:] & down[:, :-1]).any(axis=1)
    assert flagged.mean() == pytest.approx(0.055, abs=0.006)


# Lucas JM, Saccucci MS (1990) Technometrics 32:1-12, as reprinted in textbooks of statistical
# quality control (from memory): mean run lengths of exponentially weighted averages with a
# constant limit of L asymptotic standard deviations, by the size of a shift in deviations.
LUCAS_SACCUCCI_1990 = {
    (0.25, 2.998): {0.5: 48.2, 1.0: 11.1, 2.0: 3.6, 3.0: 2.3},
    (0.1, 2.814): {0.5: 31.3, 1.0: 10.3, 2.0: 4.4, 3.0: 2.9},
}


@pytest.mark.parametrize(("weight", "width"), LUCAS_SACCUCCI_1990)
def test_run_lengths_of_lucas_and_saccucci_1990(weight, width):
    """Mean number of visits until the average has left the limit, 4,000 people."""
    generator = np.random.default_rng(17)
    limit = width * math.sqrt(weight / (2 - weight))
    for shift, printed in LUCAS_SACCUCCI_1990[weight, width].items():
        visits = shift + generator.standard_normal((4000, int(12 * printed) + 20))
        out = np.abs(ewma(visits, start=0.0, weight=weight)) > limit
        assert out.any(axis=1).mean() > 0.999
        assert (out.argmax(axis=1) + 1).mean() == pytest.approx(printed, rel=0.04)


# --- Trend -----------------------------------------------------------------------------------

TEN = [24.1, 23.8, 25.0, 25.9, 26.1, 25.4, 27.0, 28.2, 27.5, 29.0]


def test_five_visits_of_a_printed_table():
    """S = 6, n = 5: one-sided .117 in Kendall's table (Gilbert 1987, A18, from memory)."""
    told = mann_kendall([5, 6, 11, 8, 10])
    assert (told.s, told.tau, told.exact) == (6, pytest.approx(0.6), True)
    assert told.p / 2 == pytest.approx(0.117, abs=0.0005)


def test_the_slope_of_five_visits():
    assert theil_sen([5, 6, 11, 8, 10], range(5)).value == pytest.approx(1.125)


def test_ten_visits_against_pymannkendall():
    """It takes the normal approximation (p .00128); S, tau and slope must agree."""
    theirs = pymannkendall.original_test(TEN)
    told, slope = mann_kendall(TEN), theil_sen(TEN, range(10))
    assert (told.s, told.tau) == (37, pytest.approx(theirs.Tau))
    assert told.s == theirs.s
    assert theirs.p == pytest.approx(0.00128, abs=5e-6)
    assert slope.value == pytest.approx(theirs.slope)
    assert slope == pytest.approx((0.54444, 0.400, 0.700), abs=0.0005)
    assert told.p < theirs.p


@pytest.mark.parametrize(("n", "least"), [(4, 1 / 12), (5, 1 / 60), (6, 1 / 360)])
def test_the_smallest_probability_is_two_orders_of_all(n, least):
    assert mann_kendall(range(n)).p == pytest.approx(least)


@pytest.mark.parametrize(
    "values",
    [
        [1, 2, 2, 3, 1],
        [1, 1, 2, 2, 3, 3],
        [5, 4, 4, 4, 2, 1, 1],
        [1, 1, 1, 1, 2],
        [3, 1, 2, 5, 4],
    ],
)
def test_probability_with_ties_is_that_of_all_orders(values):
    """Every order of the values is counted, one by one."""
    s = abs(mann_kendall(values).s)
    orders = [_s(order) for order in itertools.permutations(values)]
    expected = sum(abs(x) >= s for x in orders) / len(orders)
    assert mann_kendall(values).p == pytest.approx(expected)


def _s(values):
    return sum(np.sign(b - a) for a, b in itertools.combinations(values, 2))


def test_long_series_with_ties_take_the_usual_approximation():
    values = np.round(np.random.default_rng(3).normal(0, 2, 80))
    told = mann_kendall(values)
    assert not told.exact
    theirs = kendalltau(np.arange(80), values, method="asymptotic")
    assert (told.tau, told.p) == pytest.approx((theirs.statistic, theirs.pvalue))


def test_counted_and_approximated_agree_for_many_visits():
    values = np.round(np.random.default_rng(3).normal(0, 2, 60))
    theirs = kendalltau(np.arange(60), values, method="asymptotic")
    assert mann_kendall(values).p == pytest.approx(theirs.pvalue, abs=0.01)
    assert mann_kendall(values).exact


def test_a_flat_series_has_no_trend():
    assert mann_kendall([2, 2, 2, 2, 2]) == (0, 0.0, 1.0, 5, True)


def test_four_visits_never_show_a_trend_on_the_page():
    told = trend([8, 6, 4, 2], [0, 1, 2, 3], log_scale=True)
    assert math.isnan(told.p)
    assert told.reason == "4 visits can show no trend; at least 5 are needed"


def test_a_steady_percentage_is_found_on_the_log_scale():
    """Each week 2 % less; a missed week changes nothing, as time is counted in weeks."""
    weeks = [0, 1, 2, 4, 5, 6]
    told = trend([10 * 0.98**w for w in weeks], weeks, log_scale=True)
    assert told.per_week.value == pytest.approx(-2)
    assert told.p == pytest.approx(2 / math.factorial(6))


def test_too_little_for_a_trend_is_an_error():
    with pytest.raises(ValueError, match="at least 3"):
        mann_kendall([1, 2])
    with pytest.raises(ValueError, match="at different times"):
        theil_sen([1, 2], [3, 3])
    assert trend([0, 1, 2, 3, 4], range(5), log_scale=True).reason


# Parker et al. 2011, Behav Ther 42:284-299; the data as given in the manual of the R package
# scan.


# --- Charts, many tests, hands ---------------------------------------------------------------

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: target 50, s 2.0539, weight 0.3.
# The data are from memory; target, weight and the form of the limits were read in a copy.
NIST = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip
NIST_EWMA = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip


def test_running_averages_of_the_handbook():
    got = ewma(np.array(NIST), start=50.0, weight=0.3)
    assert got == pytest.approx(NIST_EWMA, abs=0.0051)


def test_limit_of_the_handbook():
    """50 ± 3 sqrt(.3/1.7) · 2.0539 = 52.5884 and 47.4116.

    The root is the standard deviation of a running mean of unit noise: that of what the
    program makes of one visit, from the newest on.
    """
    one_visit = np.zeros(200)
    one_visit[0] = 1.0
    spread = math.sqrt(np.sum(ewma(one_visit, start=0.0, weight=0.3) ** 2))
    half = 3 * spread * 2.0539
    assert (50 + half, 50 - half) == pytest.approx((52.5884, 47.4116), abs=1e-4)


def test_a_weight_outside_0_to_1_is_an_error():
    with pytest.raises(ValueError, match="above 0 and at most 1"):
        ewma(np.array(NIST), start=50.0, weight=0.0)


# Benjamini & Hochberg 1995, J R Stat Soc B 57:289-300, section 3.2 (from memory): four
# rejected.
BH_1995 = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
    0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0,
]  # fmt: skip


def test_discoveries_are_those_of_benjamini_and_hochberg():
    """The program has no Bonferroni: three of that, as printed, is the other program's."""
    from statsmodels.stats.multitest import multipletests

    found = multiplicity.discoveries(BH_1995)
    assert found.sum() == 4
    np.testing.assert_array_equal(found, multipletests(BH_1995, 0.05, "fdr_bh")[0])
    assert multipletests(BH_1995, 0.05, "bonferroni")[0].sum() == 3


def test_no_tests_no_discoveries():
    assert multiplicity.discoveries([]).size == 0


def test_secondary_measures_that_stand_out_are_named():
    """The probability of the recent mean is that of a t test with the band's freedom.

    Scatter of the baseline (3 degrees of freedom) and two differences of later visits two
    visits apart, 0.1 each, worth two thirds of one.
    """
    level = [10.2, 9.8, 10.1, 9.7, 10.3, 9.9]
    moved = [Point(i, v) for i, v in enumerate([*level, 5, 5.1, 4.9, 5.0])]
    still = [Point(i, v) for i, v in enumerate([*level, 10, 10.1, 9.9, 10.0])]
    early = [Point(i, v) for i, v in enumerate(level)]
    told = {
        name: judge(points, None, log_scale=False, direction="lower")
        for name, points in {"moved": moved, "still": still, "early": early}.items()
    }
    base = np.array(level[2:])
    df = 3 + 4 / 3
    sd = math.sqrt((3 * base.var(ddof=1) + 2 / 3 * 2 * 0.1**2 / 2) / df)
    t = (5.0 - base.mean()) / (sd * math.sqrt(1 / 4 + 1 / 4))
    assert multiplicity.change_p(told["moved"]) == pytest.approx(2 * student.sf(abs(t), df))
    assert math.isnan(multiplicity.change_p(told["early"]))
    assert multiplicity.standing_out(told) == (("moved",), 2)


def test_hands_as_a_ratio():
    """120 against 100: ln 1.2 = .182322; 20 % more; 18.18 % of the mean of both."""
    told = asymmetry(120, 100)
    assert told.log_ratio == pytest.approx(0.182322, abs=1e-6)
    assert told.percent == pytest.approx(20)
    assert told.percent_of_mean == pytest.approx(18.1818, abs=1e-4)
    assert asymmetry(100, 120).log_ratio == -told.log_ratio


def test_the_ratio_is_noisier_than_either_hand():
    """8 % each: smallest ratio beyond error exp(.314), 37 %."""
    change = 1.959964 * math.sqrt(2) * log_ratio_sd(0.08, 0.08)
    assert change == pytest.approx(0.3136, abs=0.0005)
    assert math.expm1(change) == pytest.approx(0.37, abs=0.005)


def test_a_ratio_counts_where_both_hands_count():
    affected = [Point(1, 4.0), Point(2, 4.0, comparable=False, reason="helped"), Point(3, 3.0)]
    other = [Point(1, 2.0), Point(2, 2.0), Point(4, 1.0)]
    told = ratio_points(affected, other)
    assert [(p.visit, p.counts, p.reason) for p in told] == [
        (1, True, ""), (2, False, "helped"), (3, False, "one hand only"),
    ]  # fmt: skip
    assert told[0].value == 2


def test_hands_must_be_above_0():
    with pytest.raises(ValueError, match="must be above 0"):
        asymmetry(0, 1)
