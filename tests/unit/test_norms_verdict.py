"""The four words, each on a series solved by hand.

Baselines of mean 10 (10 ± 0.866 twice) and a prior of variance 1 that is worth so much that
everybody's standard deviation is 1, whatever the visits.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm
from scipy.stats import t as student

from norms.autocorrelation import correlation
from norms.band import LEVELS, OutsideSem, Prior, band
from norms.baseline import BaselineRule, Point, looks
from norms.limits import limits
from norms.running import KEPT_SHARE, weight_so_far
from norms.scatter import week_of
from norms.verdict import judge

HALF = math.sqrt(3) / 2
BASELINE = [10 - HALF, 10 + HALF, 10 + HALF, 10 - HALF]
PRIOR = Prior(variance=1.0, df=1e9, n_people=30, n_visits=120)
DF = 1 / (1 / 3 / 30)  # the delta method of `moderate`, everything else being known


def verdict(*later, prior=PRIOR, log_scale=False, direction="lower", first=(12, 11), **more):
    values = [*first, *BASELINE, *later]
    points = [Point(i + 1, v) for i, v in enumerate(values)]
    return judge(points, prior, log_scale=log_scale, direction=direction, **more)


def test_the_band_is_t_times_s_times_the_root_of_one_and_a_quarter():
    own = band(BASELINE, PRIOR, log_scale=False)
    half = student.ppf((1 + LEVELS["line"]) / 2, DF) * math.sqrt(1.25)
    assert own.df == pytest.approx(DF)
    assert (own.low, own.centre, own.high) == pytest.approx((10 - half, 10, 10 + half))


def test_one_visit_outside_is_a_possible_change_and_named_by_its_side():
    low = verdict(10, 6.9)
    assert (low.word, low.better) == ("possible, repeat", True)
    high = verdict(10, 13.1)
    assert (high.word, high.better) == ("possible, repeat", False)
    assert verdict(10, 13.1, direction="higher").better is True
    assert verdict(10, 13.1, direction="none").better is None


def test_inside_is_no_change_shown():
    inside = verdict(10, 10.5, 9.5)
    assert (inside.word, inside.better) == ("within error", None)
    assert inside.average.since_visit is None


def test_the_running_mean_solved_by_hand():
    """Changes -2, -3: first 0.3(-2) = -0.6, then 0.7(-0.6) + 0.3(-3) = -1.32.

    As a mean over what has been filled: -1.32 / (1 - 0.7²) = -1.32 / 0.51 = -2.588235.
    A change of -9 is cut at -3.5: -0.42 - 1.05 = -1.47.
    """
    assert verdict(8, 1).average.value == pytest.approx(10 - 1.47 / 0.51)
    mean = verdict(8, 7).average
    assert mean.value == pytest.approx(10 - 1.32 / 0.51)
    early = limits(DF, n_baseline=4).early
    assert mean.low == pytest.approx(10 - early / 0.51)
    assert mean.high == pytest.approx(10 + early / 0.51)
    assert mean.change_percent == pytest.approx(-25.882353)


def test_beyond_error_once_the_running_mean_has_left_its_limits():
    """With a shift d of every visit the running mean after n is d(1 - 0.7^n)."""
    shift = 3.0
    early = limits(DF, n_baseline=4).early
    needed = next(n for n in range(2, 13) if shift * weight_so_far(n) > early)
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
    shift = (allowed.named + allowed.early) / 2
    assert verdict(*[10 - shift] * 11).word == "within error"
    named = verdict(*[10 - shift] * 12)
    assert named.word == "beyond error"
    assert named.average.named_look
    assert named.average.since_visit == 18


def test_the_limits_told_are_those_that_judge():
    """Early until the twelfth look, then the named one, then the late one."""
    allowed = limits(DF, n_baseline=4)

    def told(*later):
        mean = verdict(*later).average
        return (mean.high - 10) * weight_so_far(len(later))

    assert told(*[10.0] * 11) == pytest.approx(allowed.early)
    assert told(*[10.0] * 12) == pytest.approx(allowed.named)
    assert told(*[10.0] * 13) == pytest.approx(allowed.late)


def test_a_verdict_that_stands_is_drawn_with_the_limits_it_would_end_in():
    """Eight visits at 7, then visits at 10 until the mean is inside the limits again."""
    late = limits(DF, n_baseline=4).early
    later = [7.0] * 8 + [10.0] * 2
    mean = verdict(*later).average
    assert abs(mean.value - 10) * weight_so_far(10) < late
    assert mean.held
    assert mean.since_visit == mean.steps[-1].visit - 10 + next(
        i for i, step in enumerate(mean.steps, 1) if step.side
    )
    assert (mean.high - 10) * weight_so_far(10) == pytest.approx(KEPT_SHARE * late)
    assert verdict(*later).word == "beyond error"


@given(
    st.lists(st.floats(5, 15), min_size=1, max_size=30),
    st.sampled_from(["headline", "line", "alone"]),
)
def test_what_is_drawn_is_what_decided(later, kind):
    """Out exactly where the mean is drawn outside the limits drawn, at every look."""
    told = verdict(*later, kind=kind)
    for step in told.average.steps:
        assert (step.side == 1) == (step.value > step.high)
        assert (step.side == -1) == (step.value < step.low)
    last = told.average.steps[-1]
    assert (told.average.value, told.average.low, told.average.high) == (
        last.value,
        last.low,
        last.high,
    )
    assert (last.side != 0) == (told.average.since_visit is not None)


def test_headlines_lines_and_tasks_alone_have_their_own_price():
    made = [limits(DF, n_baseline=4, kind=kind) for kind in ("line", "headline", "alone")]
    assert made == sorted(made)
    assert len(set(made)) == 3


def test_dependent_weeks_widen_the_band_to_what_it_promises():
    """A visit ten weeks on lies within the band of unchanged people as often as it says.

    Drawn with autocorrelation 0.5 and variance 1, both known.
    """
    generator = np.random.default_rng(11)
    half = np.linalg.cholesky(correlation(14, 0.5))
    visits = generator.standard_normal((4000, 14)) @ half.T
    prior = Prior(1.0, 1e6, 10**6, 4 * 10**6, autocorrelation=0.5)
    inside = [band(list(row[:4]), prior, log_scale=False).side(row[13]) == 0 for row in visits]
    assert np.mean(inside) == pytest.approx(LEVELS["line"], abs=0.006)


def test_a_verdict_stands_until_the_running_mean_is_back_near_the_baseline():
    """From a mean of -m, visits at the baseline leave -m 0.7^n after n of them."""
    early = limits(DF, n_baseline=4).early
    shift = 3.0
    mean = shift * weight_so_far(6)
    n_back = math.ceil(math.log(KEPT_SHARE * early / mean) / math.log(0.7))
    assert 6 + n_back < 12, "all of it before the look named beforehand"
    assert verdict(*[10 - shift] * 6, *[10.0] * (n_back - 1)).word == "beyond error"
    back = verdict(*[10 - shift] * 6, *[10.0] * n_back)
    assert back.word == "within error"
    assert back.average.since_visit is None


def test_a_look_whose_week_knew_no_scatter_moves_nothing():
    """As where all visits of all people were alike so far: how far out it is, nothing tells."""
    none, known = (Prior(variance, 8.0, 5, 20) for variance in (0.0, 0.04))
    prior = replace(known, first_week=week_of(0.0), by_week=(none, none, none, known))
    values = (*[5.0] * 9, 6.0, 6.0)  # six of them make the baseline
    points = [Point(n, value, day=7.0 * (n - 7)) for n, value in enumerate(values, 1)]
    found = judge(points, prior, log_scale=False, direction="lower")
    assert [step.value for step in found.average.steps[:3]] == [5.0, 5.0, 5.0]
    assert found.average.steps[2].high == math.inf
    assert 5.0 < found.average.steps[-1].value < 6.0
    assert math.isfinite(found.average.steps[-1].high)


def test_a_latest_visit_out_on_the_worse_side_takes_good_news_back_and_never_bad_news():
    told = verdict(*[6.0] * 6, 14.0)
    assert (told.word, told.better) == ("possible, repeat", False)
    told = verdict(*[14.0] * 6, 6.0)
    assert (told.word, told.better) == ("beyond error", False)


def test_a_repeat_visit_counts_with_the_one_it_repeats_by_their_mean():
    """10, then 6.9 and three days later 9.5: one look of 8.2, inside the band of two visits."""
    days = {7: 0.0, 8: 7.0, 9: 10.0}
    values = [*BASELINE, 10, 6.9, 9.5]
    points = [
        Point(v, value, day=days.get(v, math.nan)) for v, value in enumerate(values, start=3)
    ]
    rule = BaselineRule(0, 4)
    first = judge(points[:-1], PRIOR, log_scale=False, direction="lower", rule=rule)
    assert (first.word, first.n_repeats) == ("possible, repeat", 0)
    both = judge(points, PRIOR, log_scale=False, direction="lower", rule=rule)
    assert (both.word, both.n_repeats) == ("within error", 1)
    assert both.average.value == pytest.approx(10 - 0.3 * 1.8 / weight_so_far(2))
    agrees = [*points[:-1], Point(9, 7.0, day=10.0)]
    told = judge(agrees, PRIOR, log_scale=False, direction="lower", rule=rule)
    assert (told.word, told.n_repeats, told.better) == ("possible, repeat", 1, True)
    later = [*points[:-1], Point(9, 7.0, day=12.0)]
    told = judge(later, PRIOR, log_scale=False, direction="lower", rule=rule)
    assert told.n_repeats == 0, "after more than four days it is a look of its own"


def test_a_repeat_is_counted_from_the_first_visit_of_its_look():
    """Daily visits make one look of five, then the next."""
    points = [Point(v, 10.0, day=float(v)) for v in range(12)]
    assert [len(look) for look in looks(points)] == [5, 5, 2]
    assert [len(look) for look in looks([Point(v, 10.0) for v in range(3)])] == [1, 1, 1]


def test_a_visit_in_which_less_was_done_moves_less():
    whole = [Point(i + 1, v) for i, v in enumerate([12, 11, *BASELINE, 7.0])]
    part = [*whole[:-1], replace(whole[-1], error=1.5)]
    mean = judge(whole, PRIOR, log_scale=False, direction="lower").average.value
    less = judge(part, PRIOR, log_scale=False, direction="lower").average.value
    assert (mean, less) == pytest.approx((7, 8))


def test_one_bad_baseline_visit_moves_the_baseline_little():
    """With s = 1 known, a visit 4 above the others counts for nothing and 3 above by half.

    Far by 3.9 (from the middle of the four), beyond 3.5: weight 0. Far by 3.0: half of the way
    from 2.5 to 3.5.
    """
    bad = band([9.8, 10.0, 10.2, 14.0], PRIOR, log_scale=False)
    assert bad.weights == (1, 1, 1, 0)
    assert bad.centre == pytest.approx(10.0)
    some = band([9.8, 10.0, 10.2, 13.1], PRIOR, log_scale=False)
    assert some.weights == pytest.approx((1, 1, 1, 0.5), abs=1e-4)
    assert band([9.8, 10.0, 14.0], PRIOR, log_scale=False).weights == (1, 1, 1)


def test_alone_later_visits_say_which_baseline_visit_was_odd():
    """Nobody to pool: ten quiet visits later the odd one counts for nothing."""
    baseline, later = [10.0, 10.1, 9.9, 12.0], [10.0, 10.1, 9.95, 10.1, 9.9, 10.0] * 2
    alone = band(baseline, None, log_scale=False)
    known = band(baseline, None, log_scale=False, later=later)
    assert known.weights[-1] < alone.weights[-1]
    assert known.centre == pytest.approx(10.0, abs=0.01)
    assert known.sd < alone.sd


def test_a_lasting_change_hardly_widens_the_scatter():
    """A step enters two of the differences two visits apart, each within the cap."""
    generator = np.random.default_rng(2)
    values = generator.standard_normal(34)
    still = band(values[:4], None, log_scale=False, later=values[4:])
    moved = band(values[:4], None, log_scale=False, later=values[4:] + 5 * (np.arange(30) > 8))
    assert moved.sd == pytest.approx(still.sd, rel=0.35)
    assert moved.sd > still.sd


def test_the_recent_mean_has_the_interval_of_two_means():
    """Last four -2, -4, -2, -4 of six: mean 7, half width t s sqrt(1/4 + 1/4).

    Four differences two visits apart add two thirds of a degree of freedom each.
    """
    recent = verdict(3, 3, 8, 6, 8, 6).recent
    half = student.ppf(0.975, DF + 8 / 3) * math.sqrt(0.5)
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
    """Band z × 0.5 × sqrt(1.25) with the normal multiplier, as nothing is estimated here."""
    sem = OutsideSem(0.5, "retest of 20 people", n_people=20)
    told = verdict(8.5, prior=None, outside=sem)
    z = norm.ppf((1 + LEVELS["line"]) / 2)
    assert told.band.low == pytest.approx(10 - z * 0.5 * math.sqrt(1.25), abs=1e-6)
    assert told.word == "possible, repeat"
    assert not told.band.provisional


def test_a_coefficient_of_variation_becomes_the_scatter_of_logarithms():
    """Of a log-normal value CV² = exp(s²) - 1; CV 100 % gives s² = ln 2."""
    assert OutsideSem.from_percent(100, "x").sem == pytest.approx(math.sqrt(math.log(2)))


@pytest.mark.parametrize(("sem", "source"), [(0.0, "x"), (math.nan, "x"), (1.0, " ")])
def test_an_outside_standard_error_needs_a_value_and_a_source(sem, source):
    with pytest.raises(ValueError, match=r"above 0|source"):
        OutsideSem(sem, source)


def test_learning_may_explain_what_got_better_within_half_a_year_of_visits():
    assert verdict(*[6.0] * 6).learning
    assert verdict(*[6.0] * 20).learning
    assert not verdict(*[6.0] * 21, first=(10, 10)).learning


def test_learning_is_noted_later_too_when_the_first_visits_were_worse_than_the_baseline():
    """Limit: t(0.8) s sqrt(1/4 + 1/2) above the baseline mean of 10, s = 1."""
    limit = student.ppf(0.8, DF) * math.sqrt(0.75)
    worse, hardly = 10 + limit + 0.01, 10 + limit - 0.01
    down, up = [6.0, 6.1] * 12, [14.0, 14.1] * 12
    assert verdict(*down, first=(worse, worse)).learning
    assert not verdict(*down, first=(hardly, hardly)).learning
    assert not verdict(*up, first=(worse, worse)).learning, "learning makes nobody worse"
    assert not verdict(*up, first=(12, 12), direction="higher").learning
    assert verdict(*up, first=(8, 8), direction="higher").learning


def test_learning_is_noted_throughout_where_fewer_visits_are_set_apart():
    short = BaselineRule(familiarisation=0, baseline=2)
    points = [Point(i + 1, v) for i, v in enumerate([10, 11, *[10, 10.5] * 20])]
    assert judge(points, PRIOR, log_scale=False, direction="lower", rule=short).learning


def test_toward_one_counts_nearness_to_one():
    values = [1.5, 1.5, 1.4, 1.6, 1.4, 1.6, *[1.05] * 8]
    points = [Point(i + 1, v) for i, v in enumerate(values)]
    prior = Prior(0.01, 40.0, 30, 120)
    assert judge(points, prior, log_scale=False, direction="toward_one").better is True
    worse = [Point(p.visit, 3.0 - p.value if p.visit > 6 else p.value) for p in points]
    assert judge(worse, prior, log_scale=False, direction="toward_one").better is False
