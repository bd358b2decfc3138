"""The rules in the simulation, by hand or another way, and the shipped one as shipped."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from norms.band import pool
from norms.baseline import BaselineRule, Point
from norms.calibration import compare, rules
from norms.calibration.simulate_rules import by_two, table
from norms.calibration.simulated import Clinic, draw, late, learning, ramp, rounding_off, step
from norms.verdict import judge


def seed(n=1):
    return np.random.default_rng(n)


def test_drawn_people_have_the_truth_they_were_made_with():
    clinic = Clinic(n_people=20, n_tasks=2, autocorrelation=0.3, scatter_df=np.inf)
    visits, sd = draw(clinic, 20_000, seed())
    assert visits.shape == (1000, 20, 2, 16)
    assert (sd == 1).all()
    flat = visits.reshape(-1, 2, 16)
    assert flat.std() == pytest.approx(1, abs=0.01)
    weeks = np.corrcoef(flat[:, 0, 4], flat[:, 0, 5])[0, 1]
    two_weeks = np.corrcoef(flat[:, 0, 4], flat[:, 0, 6])[0, 1]
    tasks = np.corrcoef(flat[:, 0, 4], flat[:, 1, 4])[0, 1]
    assert (weeks, two_weeks, tasks) == pytest.approx((0.3, 0.09, 0.3), abs=0.03)


def test_heavy_tails_keep_their_variance_and_scatter_differs_between_people():
    visits, sd = draw(Clinic(heavy_df=5.0), 60_000, seed())
    z = visits / sd[..., np.newaxis]
    assert z.var() == pytest.approx(1, abs=0.03)
    assert (np.abs(z) > 4).mean() > 10 * 2 * norm.sf(4)
    low, high = np.quantile(sd / np.median(sd), [0.05, 0.95])
    assert (1 / low, high) == pytest.approx((1.45, 1.63), abs=0.05)


def test_shapes_reach_their_size_at_the_last_look():
    for shape in (ramp(), step(), rounding_off(), late()):
        assert shape[-1] == pytest.approx(1)
        assert len(shape) == 12
    assert late()[5] == 0
    assert learning(7, gone_in=6.0)[[0, 6]] == pytest.approx([1, np.exp(-3)])


def test_two_visits_running_is_the_nearer_of_two_on_one_side():
    z = np.array([[1.0, 3.0, -2.0, -4.0, -1.0]])
    np.testing.assert_array_equal(rules.two_running(z, 4), [[0, 1, 0, -2, -1]])


def test_cusum_solved_by_hand():
    """Slack 0.5: up 0.5, 2, 0.5, 0; down 0, 0, 0.5, 2."""
    z = np.array([[1.0, 2.0, -1.0, -2.0]])
    np.testing.assert_allclose(rules.cusum(0.5)(z, 4), [[0.5, 2, -0.5, -2]])


def test_means_of_the_last_visits_solved_by_hand():
    z = np.array([[1.0, 3.0, 5.0]])
    np.testing.assert_allclose(rules.mean_of_last(2)(z, 2), [[0, 2, 4]])
    np.testing.assert_allclose(rules.one_look(2)(z, 2), [[0, 0, 4]])


def test_the_growing_limit_divides_by_the_true_spread():
    """Each look of unchanged people then has variance 1."""
    visits, _ = draw(Clinic(scatter_df=np.inf), 60_000, seed(2))
    z = visits[..., 0, 4:] - visits[..., 0, :4].mean(axis=-1, keepdims=True)
    spread = rules.weighted(0.3, growing=True)(z, 4).reshape(-1, 12).std(axis=0)
    np.testing.assert_allclose(spread, 1, atol=0.015)


@pytest.mark.parametrize(
    ("rule", "shape"), [(rules.mixture(1.5), step), (rules.ramp_mixture(1.5), ramp)]
)
def test_mixtures_are_the_likelihood_ratio_they_say(rule, shape):
    """Marginal normal densities of the changes with and without the mixed change.

    Changes from a mean of 4 share its error: covariance I + 1/4; the mixed change of spread 1.5
    adds 1.5² times the outer product of its shape.
    """
    z = np.array([0.5, -0.2, 2.0, 2.2, 3.0, 1.0, 2.0, 2.5, 3.5, 3.0, 2.0, 4.0])
    got = rule(z[np.newaxis], 4)[0]
    for n in (3, 7, 12):
        null = np.eye(n) + 0.25
        moved = null + 1.5**2 * np.outer(shape()[:n], shape()[:n])
        expected = multivariate_normal(cov=moved).logpdf(z[:n]) - (
            multivariate_normal(cov=null).logpdf(z[:n])
        )
        assert got[n - 1] == pytest.approx(max(expected, 0))


def test_an_e_value_of_20_is_reached_by_fewer_than_one_in_twenty():
    """Ville 1939: with a known scatter that holds however many looks there are."""
    visits, _ = draw(Clinic(scatter_df=np.inf, n_looks=60), 12_000, seed(3))
    z = visits[..., 0, 4:] - visits[..., 0, :4].mean(axis=-1, keepdims=True)
    reached = (np.abs(rules.mixture(1.0)(z, 4)) > np.log(20)).any(axis=-1).mean()
    assert 0.005 < reached < 0.05


def test_limits_of_two_statistics_together_keep_the_price():
    first, last = np.abs(seed(4).standard_normal((2, 40_000)))
    outer, inner = rules.combined(first, last, 0.6, 0.05)
    assert (first > outer).mean() == pytest.approx(0.03, abs=1e-4)
    assert ((first > outer) | (last > inner)).mean() == pytest.approx(0.05, abs=1e-4)


def test_the_usual_rule_uses_the_own_baseline_alone():
    visits = np.array([[[-1.0, 1.0, -1.0, 1.0, 2.3, 2.4, -2.4]]])  # sd 1.1547
    np.testing.assert_array_equal(rules.outside_two_sd(visits, 4), [[[0, 1, -1]]])


@pytest.mark.parametrize(("n_people", "rho"), [(1, 0.0), (3, 0.0), (8, 0.5)])
def test_the_simulated_rule_is_the_one_that_judges_people(n_people, rho):
    """After every look the page's verdict and the array's side agree, for everybody."""
    clinic = Clinic(n_people=n_people, autocorrelation=rho)
    visits, sd = draw(clinic, 24, seed(5))
    way = np.where(np.arange(len(visits)) % 2, 1, -1).reshape(-1, 1, 1, 1)
    visits[..., 4:] += 2.5 * sd[..., np.newaxis] * ramp() * way
    visits = visits[:, :, 0]
    sides = rules.shipped(visits, 4)
    assert {-1, 0, 1} <= set(np.unique(sides))
    for c, n in np.ndindex(len(visits), 12):
        seen = visits[c, :, : 5 + n]
        prior = pool(list(seen[:, :4]), log_scale=False, series=list(seen))
        for p in range(n_people):
            points = [Point(i, v) for i, v in enumerate(seen[p])]
            told = judge(
                points, prior, log_scale=False, direction="higher", rule=BaselineRule(0, 4)
            )
            out = 0 if told.average.since_visit is None else np.sign(told.average.value)
            assert out == sides[c, p, n]


@pytest.mark.parametrize("n_people", [1, 3, 30])
def test_at_most_one_unchanged_person_in_twenty_ever_gets_a_verdict(n_people):
    """12,000 people, 12 looks; the usual rule gives one to 63 in 100 of the same people."""
    clinic = Clinic(n_people=n_people)
    visits, _ = compare.changed(clinic, 12_000, np.zeros(12), 0, 77)
    assert 0.02 < compare.found(rules.shipped(visits, 4)).ever < 0.05
    assert compare.found(rules.outside_two_sd(visits, 4)).ever == pytest.approx(0.633, abs=0.02)


def test_dependent_weeks_are_held_near_one_in_twenty():
    """Autocorrelation 0.4 in a clinic of 30; taken as independent, one in five is flagged."""
    clinic = Clinic(autocorrelation=0.4)
    visits, _ = compare.changed(clinic, 9_000, np.zeros(12), 0, 78)
    assert compare.found(rules.shipped(visits, 4)).ever < 0.065
    assert compare.found(rules.shipped(visits, 4, remedy=False)).ever > 0.15


def test_the_composite_finds_what_one_measure_misses():
    clinic = Clinic(n_tasks=4)
    both = compare.composite_visits(clinic, 3_000, ramp(), 2.0, 79)
    one, _ = compare.changed(Clinic(), 3_000, ramp(), 2.0, 79)
    assert compare.found(rules.shipped(both, 4), side=-1).ever > 0.8
    assert 0.4 < compare.found(rules.shipped(one, 4), side=-1).ever < 0.6


def test_found_counts_sides_and_looks():
    sides = np.array([[[0, 1, 1], [0, 0, -1], [0, 0, 0], [1, 0, 0]]])
    assert compare.found(sides) == (0.75, 2)
    assert compare.found(sides, side=-1) == (0.25, 3)
    assert np.isnan(compare.found(sides[:, 2:3]).median_look)


def test_all_tables_of_the_page_are_made_with_few_people():
    """Every part runs; shares are shares."""
    for rows in (
        compare.false_verdicts(120),
        compare.odd_clinics(120),
        compare.several_lines(120),
    ):
        assert all(0 <= part <= 1 for part in rows.values())
    for rows in (
        compare.equal_price(300),
        compare.power(120),
        compare.percent_changes(120, (0.1,)),
        compare.learners(120),
    ):
        assert all(0 <= part[0] <= 1 for part in rows.values())


def test_markdown_tables():
    assert table(["a", "b"], [["x", "1"]]) == "| a | b |\n| --- | ---: |\n| x | 1 |\n"
    assert by_two({("r", "c"): "1", ("s", "d"): "2"}, "k").splitlines()[2:] == [
        "| r | 1 |  |",
        "| s |  | 2 |",
    ]
