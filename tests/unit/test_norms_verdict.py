"""The four words, each on a series solved by hand.

Baselines of mean 10 with moderated standard deviation s = 1: own variance 1 (10 ± 0.866 twice)
and a prior of variance 1, so that any weights give 1.
"""

import math

import numpy as np
import pytest
from scipy.stats import t as student

from norms.autocorrelation import correlation
from norms.band import OutsideSem, Prior, band
from norms.baseline import BaselineRule, Point
from norms.limits import limits
from norms.running import weight_so_far
from norms.verdict import judge

HALF = math.sqrt(3) / 2
BASELINE = [10 - HALF, 10 + HALF, 10 + HALF, 10 - HALF]
PRIOR = Prior(variance=1.0, df=40.0, n_people=30, n_visits=120)
DF = 1 / (1 / 43 + (40 / 43) ** 2 * (1 / 3 + 1 / 40) / 30)


def verdict(*later, prior=PRIOR, log_scale=False, direction="lower", first=(12, 11), **more):
    values = [*first, *BASELINE, *later]
    points = [Point(i + 1, v) for i, v in enumerate(values)]
    return judge(points, prior, log_scale=log_scale, direction=direction, **more)


def test_the_band_is_t_times_s_times_the_root_of_one_and_a_quarter():
    own = band(BASELINE, PRIOR, log_scale=False)
    half = student.ppf(0.975, DF) * math.sqrt(1.25)
    assert own.df == pytest.approx(DF)
    assert (own.low, own.centre, own.high) == pytest.approx((10 - half, 10, 10 + half))


def test_one_visit_outside_is_a_possible_change_and_named_by_its_side():
    low = verdict(10, 7.0)
    assert (low.word, low.better) == ("possible, repeat", True)
    high = verdict(10, 13.0)
    assert (high.word, high.better) == ("possible, repeat", False)
    assert verdict(10, 13.0, direction="higher").better is True
    assert verdict(10, 13.0, direction="none").better is None


def test_inside_is_no_change_shown():
    inside = verdict(10, 10.5, 9.5)
    assert (inside.word, inside.better) == ("within error", None)
    assert inside.average.since_visit is None


def test_the_running_mean_solved_by_hand():
    """Changes -2, -4: first 0.25(-2) = -0.5, then 0.75(-0.5) + 0.25(-4) = -1.375.

    As a mean over what has been filled: -1.375 / (1 - 0.75²) = -1.375 / 0.4375 = -3.142857.
    """
    mean = verdict(8, 6).average
    assert mean.value == pytest.approx(10 - 1.375 / 0.4375)
    outer = limits(DF, n_baseline=4).outer
    assert mean.low == pytest.approx(10 - outer / 0.4375)
    assert mean.high == pytest.approx(10 + outer / 0.4375)
    assert mean.change_percent == pytest.approx(-31.42857)


def test_beyond_error_once_the_running_mean_has_left_its_limits():
    """With a shift d of every visit the running mean after n is d(1 - 0.75^n)."""
    shift = 3.0
    outer = limits(DF, n_baseline=4).outer
    needed = next(n for n in range(2, 13) if shift * weight_so_far(n) > outer)
    before = verdict(*[10 - shift] * (needed - 1))
    assert before.word == "possible, repeat"
    after = verdict(*[10 - shift] * needed)
    assert (after.word, after.better) == ("beyond error", True)
    assert after.average.since_visit == 6 + needed


def test_one_visit_alone_is_never_beyond_error():
    assert verdict(-90).word == "possible, repeat"


def test_the_look_named_beforehand_is_the_twelfth_and_has_the_inner_limit():
    """A shift that stays between both limits is told at the twelfth visit and not before."""
    allowed = limits(DF, n_baseline=4)
    shift = (allowed.inner + allowed.outer) / 2
    assert shift < student.ppf(0.975, DF) * math.sqrt(1.25), "no visit alone is outside"
    assert verdict(*[10 - shift] * 11).word == "within error"
    named = verdict(*[10 - shift] * 12)
    assert named.word == "beyond error"
    assert named.average.named_look
    assert named.average.since_visit == 18


def test_the_limits_told_are_those_that_judge():
    """Inner at the twelfth visit and while a verdict holds, outer otherwise."""
    allowed = limits(DF, n_baseline=4)

    def told(*later):
        mean = verdict(*later).average
        return (mean.high - 10) * weight_so_far(len(later))

    assert told(*[10.0] * 11) == pytest.approx(allowed.outer)
    assert told(*[10.0] * 12) == pytest.approx(allowed.inner)
    assert told(*[10.0] * 13) == pytest.approx(allowed.outer)
    assert told(*[6.0] * 9) == pytest.approx(allowed.inner)


def test_dependent_weeks_widen_the_band_to_what_it_promises():
    """A visit ten weeks on lies within the band of unchanged people in 95 of 100.

    Drawn with autocorrelation 0.5; the prior is the scatter that such baselines show.
    """
    generator = np.random.default_rng(11)
    half = np.linalg.cholesky(correlation(14, 0.5))
    visits = generator.standard_normal((4000, 14)) @ half.T
    shown_variance = float(visits[:, :4].var(axis=1, ddof=1).mean())
    prior = Prior(shown_variance, 1e6, 10**6, 4 * 10**6, autocorrelation=0.5)
    inside = [band(list(row[:4]), prior, log_scale=False).side(row[13]) == 0 for row in visits]
    assert np.mean(inside) == pytest.approx(0.95, abs=0.012)


def test_a_verdict_holds_until_the_running_mean_is_back_inside_the_inner_limit():
    """At the thirteenth visit only the outer limit holds for a first verdict."""
    allowed = limits(DF, n_baseline=4)
    shift = (allowed.inner + allowed.outer) / 2
    assert verdict(*[10 - shift] * 13).word == "beyond error"
    back = verdict(*[10 - shift] * 12, 10, 10, 10, 10)
    assert back.word == "within error"
    assert back.average.since_visit is None


def test_a_latest_visit_out_on_the_other_side_takes_the_verdict_back():
    told = verdict(*[6.0] * 6, 14.0)
    assert (told.word, told.better) == ("possible, repeat", False)


def test_the_recent_mean_has_the_interval_of_two_means():
    """Last four -2, -4, -2, -4 of six: mean 7, half width t s sqrt(1/4 + 1/4)."""
    recent = verdict(3, 3, 8, 6, 8, 6).recent
    half = student.ppf(0.975, DF) * math.sqrt(0.5)
    assert (recent.n_visits, recent.value) == (4, pytest.approx(7))
    assert (recent.low, recent.high) == pytest.approx((7 - half, 7 + half))


def test_on_the_log_scale_the_same_ratios_give_the_same_verdict():
    """The hand-made series as exponents: percents are exp(change) - 1."""
    values = [math.exp(v) for v in (12, 11, *BASELINE, 7, 7, 7, 7)]
    points = [Point(i + 1, v) for i, v in enumerate(values)]
    told = judge(points, PRIOR, log_scale=True, direction="lower")
    assert told.word == "beyond error"
    assert told.change_percent == pytest.approx(100 * (math.exp(-3) - 1))
    assert told.band.centre == pytest.approx(math.exp(10))


@pytest.mark.parametrize(
    ("points", "more", "said"),
    [
        ([], {}, "not done yet"),
        ([Point(1, math.nan)], {}, "no visit that counts"),
        ([Point(1, 5, comparable=False, reason="helped")], {}, "no visit that counts (helped)"),
        ([Point(1, 5), Point(2, 5)], {}, "2 of the 6 visits that make the baseline"),
        (
            [Point(7, 5)],
            {"new_series": "another device (maple to birch)"},
            "new series, another device (maple to birch): 1 of the 6 visits that make the",
        ),
        (
            [Point(i, v) for i, v in enumerate([1, 1, *BASELINE])],
            {},
            "no visit after the baseline",
        ),
        (
            [Point(i, 1.0) for i in range(8)],
            {"prior": None},
            "the 4 baseline visits are all equal, so their scatter says nothing",
        ),
        (
            [Point(i, v) for i, v in enumerate([1, 1, *BASELINE, 0])],
            {"log_scale": True},
            "a value of 0 has no logarithm",
        ),
    ],
)
def test_withheld_says_why(points, more, said):
    arguments = {"prior": PRIOR, "log_scale": False, "direction": "lower", **more}
    told = judge(points, arguments.pop("prior"), **arguments)
    assert told.word == "withheld"
    assert told.reason.startswith(said)


def test_a_new_baseline_begun_on_purpose_is_judged_by_itself():
    values = [12, 11, *BASELINE, 5, 5, 5, *[v - 5 for v in BASELINE], 5, 5.2]
    points = [Point(i + 1, v) for i, v in enumerate(values)]
    told = judge(points, PRIOR, log_scale=False, direction="lower", restart_visit=10)
    assert told.word == "within error"
    assert told.band.centre == pytest.approx(5)
    early = judge(points[:11], PRIOR, log_scale=False, direction="lower", restart_visit=10)
    assert early.reason == "2 of the 4 visits that make the baseline"


def test_an_outside_standard_error_takes_the_place_of_the_scatter():
    """Band 1.96 × 0.5 × sqrt(1.25) with the normal multiplier, as nothing is estimated here."""
    sem = OutsideSem(0.5, "retest of 20 people", n_people=20)
    told = verdict(8.8, prior=None, outside=sem)
    assert told.band.low == pytest.approx(10 - 1.959964 * 0.5 * math.sqrt(1.25), abs=1e-6)
    assert told.word == "possible, repeat"
    assert not told.band.provisional


def test_a_coefficient_of_variation_becomes_the_scatter_of_logarithms():
    """Of a log-normal value CV² = exp(s²) - 1; CV 100 % gives s² = ln 2."""
    assert OutsideSem.from_percent(100, "x").sem == pytest.approx(math.sqrt(math.log(2)))


@pytest.mark.parametrize(("sem", "source"), [(0.0, "x"), (math.nan, "x"), (1.0, " ")])
def test_an_outside_standard_error_needs_a_value_and_a_source(sem, source):
    with pytest.raises(ValueError, match=r"above 0|source"):
        OutsideSem(sem, source)


def test_learning_is_noted_when_the_first_visits_were_worse_than_the_baseline():
    """Limit: t(0.8) s sqrt(1/4 + 1/2) above the baseline mean of 10, s = 1."""
    limit = student.ppf(0.8, DF) * math.sqrt(0.75)
    worse, hardly = 10 + limit + 0.01, 10 + limit - 0.01
    assert verdict(*[6.0] * 6, first=(worse, worse)).learning
    assert not verdict(*[6.0] * 6, first=(hardly, hardly)).learning
    assert not verdict(*[14.0] * 6, first=(worse, worse)).learning, (
        "learning makes nobody worse"
    )
    assert not verdict(*[14.0] * 6, first=(12, 12), direction="higher").learning
    assert verdict(*[14.0] * 6, first=(8, 8), direction="higher").learning


def test_learning_is_noted_throughout_where_fewer_visits_are_set_apart():
    short = BaselineRule(familiarisation=0, baseline=2)
    points = [Point(i + 1, v) for i, v in enumerate([10, 11, 10, 10, 10, 10, 10, 10])]
    assert judge(points, PRIOR, log_scale=False, direction="lower", rule=short).learning


def test_toward_one_counts_nearness_to_one():
    values = [1.5, 1.5, 1.4, 1.6, 1.4, 1.6, *[1.05] * 8]
    points = [Point(i + 1, v) for i, v in enumerate(values)]
    prior = Prior(0.01, 40.0, 30, 120)
    assert judge(points, prior, log_scale=False, direction="toward_one").better is True
    worse = [Point(p.visit, 3.0 - p.value if p.visit > 6 else p.value) for p in points]
    assert judge(worse, prior, log_scale=False, direction="toward_one").better is False
