"""The calibrated limits: against a calculation without chance, and against their own making."""

import itertools

import numpy as np
import pytest
from scipy.stats import chi2, norm

from norms.calibration import calibrate
from norms.limits import limits, limits_of
from norms.running import N_LOOKS, NEWEST_WEIGHT, follow, running_mean, weight_so_far

N_BASELINE = 4


def part_outside(df, outer, inner):
    """Part of unchanged people who leave the limits, by numerical integration, no chance.

    Given the error of the baseline mean and the ratio of the true to the moderated standard
    deviation, the running mean is a Markov chain with normal steps: its density over the people
    still inside is carried from look to look on a grid (the way run lengths of such charts are
    calculated: Crowder 1987, Technometrics 29:401-407). Both are then integrated out.
    """
    shifts, shift_weights = np.polynomial.hermite_e.hermegauss(11)
    shift_weights = shift_weights / shift_weights.sum()
    ratios, ratio_weights = np.ones(1), np.ones(1)
    if np.isfinite(df):
        nodes, weights = np.polynomial.legendre.leggauss(24)
        u = (
            nodes + 1
        ) / 2  # small scatter makes false verdicts: quantiles u³ lie densest there
        ratios = np.sqrt(chi2.ppf(u**3, df) / df)
        ratio_weights = weights / 2 * 3 * u**2
    return sum(
        shift_weight
        * ratio_weight
        * _leaves(shift / np.sqrt(N_BASELINE), outer * ratio, inner * ratio)
        for ratio, ratio_weight in zip(ratios, ratio_weights, strict=True)
        for shift, shift_weight in zip(shifts, shift_weights, strict=True)
    )


def _leaves(shift, outer, inner, n_grid=161):
    grid = np.linspace(-outer, outer, n_grid)
    width = grid[1] - grid[0]
    sd = NEWEST_WEIGHT
    density = norm.pdf(grid, -NEWEST_WEIGHT * shift, sd)  # nobody is flagged at the first look
    means = (1 - NEWEST_WEIGHT) * grid - NEWEST_WEIGHT * shift
    step = norm.pdf(grid[:, np.newaxis], means[np.newaxis, :], sd) * width
    for _ in range(N_LOOKS - 2):
        density = step @ density
    last = norm.cdf(inner, means, sd) - norm.cdf(-inner, means, sd)
    return 1 - float((density * last).sum() * width)


@pytest.mark.parametrize("df", [11, 43, np.inf])
def test_limits_hold_what_they_promise_by_another_calculation(df):
    """4.5 % in all, 2.7 % at the outer limit alone. Independent weeks, four baseline visits."""
    allowed = limits(df, n_baseline=N_BASELINE)
    assert part_outside(df, *allowed) == pytest.approx(0.045, abs=0.0015)
    assert part_outside(df, allowed.outer, allowed.outer) == pytest.approx(0.027, abs=0.0012)


@pytest.mark.parametrize(("n_baseline", "rho"), [(2, 0.0), (4, 0.0), (4, 0.4), (8, 0.7)])
def test_the_table_is_what_its_command_makes(n_baseline, rho):
    """Fewer people, another seed: the same limits within chance."""
    rows = calibrate.limits_by_prior(n_baseline, rho, n_people=60_000, seed=7)
    for df, outer, inner in rows[2:]:
        assert limits(df, n_baseline=n_baseline, autocorrelation=rho) == pytest.approx(
            (outer, inner), rel=0.035
        )


def test_limits_shrink_with_knowledge_and_grow_with_dependence():
    ks, dfs, rhos = (2, 3, 4, 5, 6, 8), (3, 4, 7, 11, 30, 1e6), (0, 0.15, 0.3, 0.45, 0.6, 0.7)
    for k, rho in itertools.product(ks, rhos):
        made = [limits(df, n_baseline=k, autocorrelation=rho) for df in dfs if df >= k - 1]
        assert all(a.outer > b.outer and a.inner > b.inner for a, b in itertools.pairwise(made))
    for k, df in itertools.product(ks, dfs):
        made = [limits(df, n_baseline=k, autocorrelation=rho) for rho in rhos]
        assert all(a.outer < b.outer and a.inner < b.inner for a, b in itertools.pairwise(made))
    for df, rho in itertools.product(dfs, rhos):
        assert limits(df, n_baseline=4, autocorrelation=rho).inner < (
            limits(df, n_baseline=4, autocorrelation=rho).outer
        )


def test_more_baseline_visits_than_tabulated_take_the_last_row():
    assert limits(20, n_baseline=30) == limits(20, n_baseline=8)
    assert limits(20, n_baseline=7) == limits(20, n_baseline=6)


@pytest.mark.parametrize(("df", "n_baseline"), [(0, 4), (5, 1)])
def test_too_little_to_judge_by_is_an_error(df, n_baseline):
    with pytest.raises(ValueError, match="must be at least 2 and"):
        limits(df, n_baseline=n_baseline)


def test_arrays_read_the_same_limits_as_single_people():
    df, rho = np.array([[4.0, 11.0], [60.0, 5.5]]), np.array([[0.0], [0.33]])
    outer, inner = limits_of(df, n_baseline=4, autocorrelation=rho)
    for i, j in np.ndindex(2, 2):
        single = limits(df[i, j], n_baseline=4, autocorrelation=rho[i, 0])
        assert (outer[i, j], inner[i, j]) == pytest.approx(single)


def test_the_running_mean_is_the_weighted_sum_it_says():
    """Weights of n visits: w, w(1-w), ... from the newest; together 1 - (1-w)^n."""
    changes = np.array([[3.0, -1.0, 4.0, 1.0], [-5.0, 9.0, 2.0, 6.0]])
    weights = NEWEST_WEIGHT * (1 - NEWEST_WEIGHT) ** np.arange(4)[::-1]
    np.testing.assert_allclose(running_mean(changes)[:, -1], changes @ weights)
    assert weights.sum() == pytest.approx(weight_so_far(4))


def test_following_a_path_solved_by_hand():
    """Outer 2, inner 1: out at 3 (the first alone does not count), back at 6, down at 7."""
    steps = np.array([2.5, 1.9, 2.1, 1.5, 1.1, 1.0, -2.2])
    sides = [tuple(int(x) for x in follow(steps[:n], 2.0, 1.0)) for n in range(1, 8)]
    assert sides == [(0, 0), (0, 0), (1, 3), (1, 3), (1, 3), (0, 0), (-1, 7)]


def test_crossing_to_the_other_side_at_once_ends_and_begins_a_verdict():
    assert follow(np.array([0.0, 3.0, -3.0]), 2.0, 1.0) == (-1, 3)


def test_the_inner_limit_holds_at_the_twelfth_visit_only():
    steps = np.full(13, 1.5)
    assert follow(steps[:11], 2.0, 1.0) == (0, 0)
    assert follow(steps[:12], 2.0, 1.0) == (1, 12)
    late = np.concatenate([np.zeros(12), [1.5]])
    assert follow(late, 2.0, 1.0) == (0, 0)
