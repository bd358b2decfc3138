"""Scatter: own, pooled, moderated, and how much weeks depend on each other."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from norms import scatter
from norms.autocorrelation import (
    autocorrelation,
    correlation,
    free_of_slow_change,
    mean_factor,
    pooled_autocorrelation,
    variance_factor,
)
from norms.pooled import n_alike, pool, week_signs, weeks_of
from norms.scatter import Prior, fit_prior, inverse_trigamma, moderate, transform
from norms.spread import _WITHOUT_FARTHEST, differences, spread, spread_of_person


def test_inverse_trigamma_of_known_values():
    """trigamma(1) = pi²/6, trigamma(1/2) = pi²/2 (Abramowitz & Stegun 1964, 6.4.2, 6.4.4)."""
    got = inverse_trigamma([math.pi**2 / 6, math.pi**2 / 2])
    np.testing.assert_allclose(got, [1, 0.5], rtol=1e-10)


def test_fewer_than_three_people_are_nobody_to_pool():
    assert pool([], log_scale=False) is None
    assert pool([[1, 2, 3, 4], [2, 3, 2, 3]], log_scale=False).df == 0
    assert pool([[1, 2, 3, 4], [2, 3, 2, 3], [5]], log_scale=False).df == 0
    assert pool([[1, 2, 3, 4], [2, 3, 2, 3], [5, 6]], log_scale=False).df > 0


def test_two_hands_of_a_person_are_one_person():
    hands = [[1, 2, 3, 4], [2, 3, 2, 3], [5, 6, 5, 7], [4, 3, 4, 5]]
    assert pool(hands, log_scale=False, owners=[1, 1, 2, 2]).df == 0
    assert pool(hands, log_scale=False, n_people=2).df == 0
    assert pool(hands, log_scale=False, owners=[1, 1, 2, 3]).n_people == 3


def test_people_whose_visits_do_not_differ_at_all_are_nobody_to_pool():
    assert pool([[1, 1, 1, 1]] * 5, log_scale=False).df == 0


def test_one_person_without_scatter_neither_breaks_nor_vanishes():
    groups = [[1, 2, 3, 4], [2, 3, 2, 3.5], [5, 6, 7, 5], [4, 4, 4, 4]]
    prior = pool(groups, log_scale=False)
    assert prior.n_people == 4
    assert 0 < prior.variance < pool(groups[:3], log_scale=False).variance


def test_what_stands_behind_a_prior_is_counted():
    prior = pool([[1, 2], [2, 3, 4], [5, 6, 7, 9], [8]], log_scale=False)
    assert (prior.n_people, prior.n_visits) == (3, 9)


def test_a_log_of_zero_is_refused():
    with pytest.raises(ValueError, match="must be above 0"):
        transform([1.0, 0.0], log_scale=True)


def test_with_one_scatter_for_all_the_own_counts_for_little():
    """Standard deviation 1 for everybody: 200 people give it, worth many degrees of freedom."""
    visits = np.random.default_rng(1).standard_normal((200, 4))
    variance, df = fit_prior(visits.var(axis=1, ddof=1), 3.0)
    assert variance == pytest.approx(1, rel=0.1)
    assert df > 30


def test_the_guess_rules_small_clinics_and_fades_in_large_ones():
    """Three equal variances alone would say that people never differ."""
    same = np.full(3, 1.0)
    _, plain = fit_prior(same, 3.0, guess_weight=0)
    _, guessed = fit_prior(same, 3.0)
    assert plain > 1000
    assert guessed < 15
    _, many = fit_prior(np.full(3000, 1.0), 3.0)
    assert many > 1000


def test_moderated_scatter_solved_by_hand():
    """d0 = 6, d = 3, n = 10: variance (6·1 + 3·4)/9 = 2, 1/df = 1/9 + (2/3)²(1/3 + 1/6)/10."""
    variance, df = moderate(4.0, 3.0, 1.0, 6.0, 10)
    assert float(variance) == pytest.approx(2)
    assert 1 / float(df) == pytest.approx(1 / 9 + 4 / 9 * 0.5 / 10)
    _, more = moderate(4.0, 3.0, 1.0, 6.0, 10, 9.0)  # later visits told of everybody's scatter
    assert 1 / float(more) == pytest.approx(1 / 9 + 4 / 9 * (1 / 9 + 1 / 6) / 10)


def test_the_delta_method_agrees_with_the_spread_of_the_moderated_variance():
    """Relative variance of an estimate of variance is 2/df; here found by drawing.

    Prior known to be worth 8: what is drawn is its variance from n people's logarithms.
    """
    generator = np.random.default_rng(3)
    n, d, d0 = 12, 3.0, 8.0
    truth = d0 / generator.chisquare(d0, (40_000, n))
    own = truth * generator.chisquare(d, truth.shape) / d
    logs = np.log(own).mean(axis=1)
    centre = np.exp(logs - logs.mean())  # unbiased on the log scale, spread as estimated
    moderated = (d0 * centre + d * own[:, 0]) / (d0 + d)
    error = np.log(moderated / truth[:, 0])
    _, df = moderate(1.0, d, 1.0, d0, n)
    # log of a scaled chi-squared of df degrees of freedom has variance trigamma(df/2).
    implied = 2 * float(inverse_trigamma(error.var()))
    assert implied == pytest.approx(float(df), rel=0.12)


def test_factors_of_a_dependent_baseline_solved_by_hand():
    """Two visits correlated r: mean has variance (1 + r)/2, sample variance expects 1 - r."""
    assert (variance_factor(2, 0.4), mean_factor(2, 0.4)) == pytest.approx((0.6, 0.7))
    assert (variance_factor(5, 0.0), mean_factor(5, 0.0)) == pytest.approx((1, 0.2))
    several = mean_factor(4, np.array([0.0, 0.3, 0.7]))
    expected = [correlation(4, rho).mean() for rho in (0.0, 0.3, 0.7)]
    np.testing.assert_allclose(several, expected)


def test_a_line_or_a_parabola_is_no_scatter():
    for n in (4, 6, 9, 10, 20):
        t = np.arange(n)
        degree = 0 if n < 6 else 1 if n < 10 else 2
        np.testing.assert_allclose(free_of_slow_change(n) @ (3 - 2 * t**degree), 0, atol=1e-9)


def test_a_step_at_the_end_of_the_baseline_is_no_dependence():
    """Ten people, independent weeks, all of them 4 SD higher from the first visit after it.

    Taken for dependence it would widen everybody's limits; with the step let go it does not.
    """
    generator = np.random.default_rng(9)
    visits = generator.standard_normal((200, 10, 14))
    visits[..., 4:] += 4.0
    known = pooled_autocorrelation([visits], [4]).mean()
    taken_for_it = pooled_autocorrelation([visits]).mean()
    assert known < 0.06
    assert taken_for_it > known + 0.15
    t = np.arange(14)
    np.testing.assert_allclose(free_of_slow_change(14, 4) @ (t >= 4), 0, atol=1e-9)


def test_a_handful_of_series_moves_the_guess_little():
    """One person's sixteen independent visits, with and without a guess."""
    visits = np.random.default_rng(10).standard_normal((2000, 1, 16))
    guessed = pooled_autocorrelation([visits], [4])
    plain = pooled_autocorrelation([visits], [4], guessed_mean=np.inf)
    assert guessed.mean() < 0.5 * plain.mean()
    assert (guessed > 0.3).mean() < 0.02


@pytest.mark.parametrize("rho", [0.0, 0.2, 0.4, 0.6])
@pytest.mark.parametrize("n_visits", [4, 8, 16])
def test_autocorrelation_is_recovered_from_many_people(rho, n_visits):
    generator = np.random.default_rng(5)
    half = np.linalg.cholesky(correlation(n_visits, rho))
    sd = np.sqrt(8 / generator.chisquare(8, (3000, 1)))
    slow = np.linspace(0, -3, n_visits) if n_visits >= 6 else 0
    visits = sd * (generator.standard_normal((3000, n_visits)) @ half.T + slow)
    assert float(pooled_autocorrelation([visits])) == pytest.approx(rho, abs=0.05)


def test_series_of_different_lengths_are_put_together():
    generator = np.random.default_rng(6)
    series = []
    for n in (4, 5, 7, 9, 12, 16) * 150:
        half = np.linalg.cholesky(correlation(n, 0.4))
        series.append(half @ generator.standard_normal(n))
    assert autocorrelation(series) == pytest.approx(0.4, abs=0.06)


def test_of_long_series_the_newest_half_year_counts():
    """What happened before is not looked at, and ten years cost no more than one."""
    generator = np.random.default_rng(7)
    recent = generator.standard_normal((40, 26))
    before = np.cumsum(generator.standard_normal((40, 494)), axis=1)
    whole = np.hstack([before, recent])
    assert autocorrelation(list(whole)) == autocorrelation(list(recent))
    assert pooled_autocorrelation([whole]) == pooled_autocorrelation([recent])


def test_autocorrelation_is_0_where_little_is_known_or_weeks_alternate():
    alternating = np.tile([1.0, -1.0], 8)
    assert autocorrelation([alternating] * 20) == 0
    assert autocorrelation([np.array([1.0, 2.0, 1.0])] * 100) == 0
    rising = np.array([1.0, 1.1, 0.9, 1.3, 2.0, 2.2, 1.8, 1.0, 0.8])
    assert autocorrelation([rising]) < 0.1 < autocorrelation([rising] * 8)


def test_a_pooled_autocorrelation_widens_the_band():
    generator = np.random.default_rng(8)
    half = np.linalg.cholesky(correlation(16, 0.5))
    people = [list(half @ generator.standard_normal(16)) for _ in range(40)]
    prior = pool([p[:4] for p in people], log_scale=False, series=people)
    assert prior.autocorrelation == pytest.approx(0.5, abs=0.2)
    assert prior.n_visits == 40 * 16
    assert pool([p[:4] for p in people], log_scale=False).autocorrelation == 0


def series_and_weeks(generator):
    """Eight people who join a clinic in turn, come weekly or now and then, and some stop."""
    lengths = [4 + n for n in (0, 1, 3, 7, 12, 14, 20, 40)]
    halves = [np.linalg.cholesky(correlation(n, 0.7)) for n in lengths]
    series = [half @ generator.standard_normal(len(half)) for half in halves]
    gaps = [generator.choice([7, 7, 14], n) for n in lengths]
    days = [20_000 + 15 * i + np.cumsum(own) for i, own in enumerate(gaps)]
    return series, [weeks_of(own) for own in days]


def test_what_was_known_in_a_week_is_what_had_been_seen_by_then():
    """Every week again by pooling nothing but the visits until then, people joining in turn."""
    series, weeks = series_and_weeks(np.random.default_rng(9))
    whole = pool([s[:4] for s in series], log_scale=False, series=series, weeks=weeks)
    assert whole == replace(
        whole.by_week[-1], first_week=whole.first_week, by_week=whole.by_week
    )
    assert whole.in_week(whole.first_week - 1) == scatter.NOBODY
    assert whole.in_week(10**6) == whole.by_week[-1]
    seen_by = []
    for week in range(whole.first_week, whole.first_week + len(whole.by_week)):
        counts = [sum(n <= week for n in own) for own in weeks]
        seen = [s[:n] for s, n in zip(series, counts, strict=True) if n >= 4]
        then = pool([s[:4] for s in seen], log_scale=False, series=seen)
        now = whole.in_week(week)
        assert (now.n_people, now.n_visits) == (then.n_people, then.n_visits)
        for name in ("variance", "df", "autocorrelation", "df_of_person"):
            assert getattr(now, name) == pytest.approx(getattr(then, name)), (week, name)
        rho = autocorrelation(seen, [4] * len(seen))
        assert now.autocorrelation == pytest.approx(rho)
        seen_by.append(len(seen))
    assert {1, 2, 3, 8} <= set(seen_by)
    assert max(p.autocorrelation for p in whole.by_week) > 0


@st.composite
def clinics_before_and_after(draw):
    """Five people's visits, and the same with some more, fewer or other ones."""
    seed = draw(st.integers(0, 10**6))
    generator = np.random.default_rng(seed)
    series, weeks = series_and_weeks(generator)
    later, their_weeks = [list(s) for s in series], [list(w) for w in weeks]
    for i in draw(st.lists(st.integers(0, len(series) - 1), min_size=1, max_size=3)):
        kind = draw(st.sampled_from(["come", "go", "other value", "other week", "same"]))
        n = draw(st.integers(4, 60))
        if kind == "come":
            later[i].append(0.3)
            their_weeks[i].append(their_weeks[i][-1] + n % 5)
        elif kind == "go" and len(later[i]) > 4:
            del later[i][-1], their_weeks[i][-1]
        elif kind == "other value":
            later[i][n % len(later[i])] += 0.5
        elif kind == "other week":
            their_weeks[i][-1] += n % 9
    return (series, weeks), (later, their_weeks)


@given(clinics_before_and_after())
def test_weeks_that_are_known_are_what_they_would_be_again_to_the_last_bit(both):
    (series, weeks), (later, their_weeks) = both
    before = pool([s[:4] for s in series], log_scale=False, series=series, weeks=weeks)
    k, owners = [4] * len(series), range(len(series))
    signs = week_signs(series, weeks, k, owners)
    assert len(signs) == len(before.by_week)
    known = before.by_week[: n_alike(week_signs(later, their_weeks, k, owners), signs)]
    told = {"log_scale": False, "series": later, "weeks": their_weeks}
    groups = [s[:4] for s in later]
    fresh = pool(groups, **told)
    assert pool(groups, **told, known=known) == fresh
    assert fresh.by_week[: len(known)] == known[: len(fresh.by_week)]


def test_the_first_week_with_another_sign_is_that_of_the_earliest_other_visit():
    """The first baselines are complete in week 7, so the first sign is of all until then."""
    series, weeks, both = [[1.0, 2.0], [3.0, 4.0, 5.0]], [[7, 8], [6, 7, 9]], ([2, 2], "ab")
    signs = week_signs(series, weeks, *both)

    def n_same(their_series, their_weeks, told=both):
        return n_alike(week_signs(their_series, their_weeks, *told), signs)

    assert len(signs) == 3, "weeks 7, 8 and 9"
    assert n_same(series, weeks) == 3
    assert n_same([[1.0, 2.0], [3.0, 4.0]], [[7, 8], [6, 7]]) == 2
    assert n_same([[1.0, 2.5], [3.0, 4.0, 5.0]], weeks) == 1
    assert n_same(series, [[5, 8], [6, 7, 10]]) == 2
    assert n_same([[1.0, 2.0], [3.5, 4.0, 5.0]], weeks) == 0
    assert n_same(series, weeks, ([2, 2], "ac")) == 0, "somebody else"
    assert n_same(series, weeks, ([2, 3], "ab")) == 0, "another baseline"


def test_a_visit_of_no_known_day_is_known_with_the_one_before_it():
    weeks = weeks_of([1.0, 8.0, 15.0, 22.0, math.nan])
    assert weeks == [0, 1, 2, 3, 3]
    series = [[1.0, 2.0, 3.0, 2.0, 1.0]]
    made = pool([series[0][:4]], log_scale=False, series=series, weeks=[weeks])
    assert (made.first_week, len(made.by_week)) == (3, 1)
    assert made.on(math.nan) is made
    assert made.on(22.5) is made.by_week[0]


def test_a_week_begins_on_monday():
    """Day 4 since 1970 was a Monday."""
    assert [scatter.week_of(day) for day in (3.99, 4, 10.9, 11)] == [0, 1, 1, 2]


def test_people_are_counted_once_with_both_hands_and_from_their_first_baseline_on():
    hands = [[1.0, 2.0, 3.0, 4.0]] * 4
    weeks = [[0, 1, 2, 3], [0, 1, 2, 3], [1, 2, 3, 4], [2, 3, 4, 5]]
    made = pool(hands, log_scale=False, series=hands, weeks=weeks, owners=["a", "a", "b", "c"])
    assert [p.n_people for p in made.by_week] == [0, 0, 3], "fewer than three are nobody"


def test_scatter_of_one_measure_takes_the_autocorrelation_of_another_week_by_week():
    late = tuple(Prior(1.0, 2.0, 3, 12, rho) for rho in (0.0, 0.1, 0.2))
    lead = replace(late[-1], first_week=5, by_week=late)
    own = replace(lead, autocorrelation=0.0, by_week=(Prior(4.0, 5.0, 3, 12),) * 4)
    both = own.with_autocorrelation_of(lead)
    assert [both.in_week(n).autocorrelation for n in (5, 6, 7, 9)] == [0.0, 0.1, 0.2, 0.2]
    assert {own.variance for own in both.by_week} == {4.0}


def test_a_prior_is_plain_values():
    assert Prior(1.0, 2.0, 3, 12) == Prior(variance=1.0, df=2.0, n_people=3, n_visits=12)
    assert scatter.MIN_PEOPLE == 3


@pytest.mark.parametrize("rho", [0.0, 0.4])
def test_scatter_of_baseline_and_later_visits_is_that_of_a_visit(rho):
    """Variance 4: pooled and moderated it comes out, whether weeks depend or not."""
    generator = np.random.default_rng(12)
    half = np.linalg.cholesky(correlation(24, rho))
    visits = 2 * generator.standard_normal((3000, 24)) @ half.T
    variances, df = spread_of_person(visits[:, :4], differences(visits[:, 4:]), rho=rho)
    assert df[[0, 1, -1]] == pytest.approx([3, 3, 3 + 18 * 2 / 3])
    assert variances[:, -1].mean() == pytest.approx(4, rel=0.06)
    seen = spread(visits[:, :4], visits[:, 4:], rho=rho)
    assert (seen.sd[:, -1] ** 2).mean() == pytest.approx(4, rel=0.1)


def test_differences_solved_by_hand():
    """Visits 0, 0, 2, 4, 2: differences two apart 2, 4, 0; halves of their squares 2, 8, 0.

    Each is worth 2/3. The middle one of 2, 4, 0 is 2, of the first two 3: caps of 3 x 2/0.6745
    and more, which none reaches. After five looks 2/3 (2 + 8 + 0).
    """
    squares, df = differences(np.array([0.0, 0.0, 2.0, 4.0, 2.0]))
    np.testing.assert_allclose(squares, np.array([0, 0, 2, 10, 10]) * 2 / 3)
    np.testing.assert_allclose(df, np.array([0, 0, 1, 2, 3]) * 2 / 3)


def test_one_wild_difference_is_capped():
    """Differences of size 1 and one of 100: it counts as 3/0.6745 times the middle one."""
    later = np.concatenate([np.tile([0.0, 0.0, 2**0.5, 2**0.5], 5), [100 * 2**0.5, 0.0]])
    squares, _ = differences(later)
    sizes = np.abs(later[2:] - later[:-2]) / 2**0.5
    cap = 3 * np.median(sizes) / 0.6745
    assert squares[-1] == pytest.approx((np.minimum(sizes, cap) ** 2).sum() * 2 / 3)
    assert (sizes > cap).any()


def test_many_people_and_one_person_give_the_same_scatter():
    visits = np.random.default_rng(13).standard_normal((7, 20))
    rho, worth = np.linspace(0, 0.6, 7), np.linspace(0, 9, 7)
    many = spread(
        visits[:, :4],
        visits[:, 4:],
        prior_variance=1.0,
        prior_df=worth[:, np.newaxis],
        rho=rho[:, np.newaxis],
    )
    for i in range(7):
        one = spread(
            visits[i, :4], visits[i, 4:], prior_variance=1.0, prior_df=worth[i], rho=rho[i]
        )
        np.testing.assert_allclose(one.sd, many.sd[i])
        np.testing.assert_allclose(one.centre, many.centre[i])


@pytest.mark.parametrize("k", [4, 5, 8, 12])
def test_without_the_farthest_visit_the_variance_is_what_the_constant_says(k):
    visits = np.random.default_rng(14).standard_normal((60_000, k))
    far = np.abs(visits - visits.mean(axis=1, keepdims=True)).argmax(axis=1)
    kept = np.array([np.delete(v, i) for v, i in zip(visits, far, strict=True)])
    assert kept.var(axis=1, ddof=1).mean() == pytest.approx(_WITHOUT_FARTHEST[k], rel=0.01)
