"""The calibrated limits: against a calculation without chance, and against their own making."""

import itertools

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator
from scipy.stats import norm

from norms.calibration import calibrate
from norms.calibration.calibrate import AIMS
from norms.limits import (
    PRICES,
    Behind,
    _tables,
    between,
    limits,
    limits_by_look,
    limits_of,
    wider,
)
from norms.running import (
    KEPT_SHARE,
    MAX_CHANGE_SD,
    N_LOOKS,
    NEWEST_WEIGHT,
    YEAR_LOOKS,
    Limits,
    follow,
    running_mean,
    weight_so_far,
)
from norms.spread import spread
from tests.sparing import only

N_BASELINE = 4


def parts_outside(allowed, looks):
    """Part of unchanged people outside the limits by each number of looks, without chance.

    Scatter known. Given the error of the baseline, the running mean is a Markov chain with
    normal steps, cut where changes are cut: its density over the people still inside is carried
    from look to look on a grid (the way run lengths of such charts are calculated: Crowder
    1987, Technometrics 29:401-407, from memory). The error of the baseline, as wide as that of
    100,000 baselines, is then integrated out.
    """
    baselines = np.random.default_rng(5).standard_normal((100_000, N_BASELINE))
    known = {"prior_variance": 1.0, "prior_df": 1e9}
    centres = spread(baselines, baselines[:, :0], **known).centre[:, 0]
    shifts, weights = np.polynomial.hermite_e.hermegauss(15)
    parts = [_leaves(centres.std() * shift, allowed, looks) for shift in shifts]
    return weights @ np.array(parts) / weights.sum()


def _leaves(shift, allowed, looks, n_grid=601):
    widest = max(allowed)
    grid = np.linspace(-widest, widest, n_grid)
    width = grid[1] - grid[0]
    sd, cut = NEWEST_WEIGHT, NEWEST_WEIGHT * MAX_CHANGE_SD
    density = norm.pdf(grid, -NEWEST_WEIGHT * shift, sd)  # nobody is flagged at the first look
    means = (1 - NEWEST_WEIGHT) * grid
    away = grid[:, np.newaxis] - means[np.newaxis, :]
    step = np.where(np.abs(away) <= cut, norm.pdf(away, -NEWEST_WEIGHT * shift, sd), 0) * width
    # What is cut off lands at the cut itself: spread over the two nearest places of the grid.
    for sign in (1, -1):
        part = norm.sf(sign * (sign * cut + NEWEST_WEIGHT * shift) / sd)
        place = (means + sign * cut - grid[0]) / width
        low = np.floor(place).astype(int)
        share = place - low
        for where, much in ((low, 1 - share), (low + 1, share)):
            inside = (where >= 0) & (where < n_grid)
            step[where[inside], np.arange(n_grid)[inside]] += part * much[inside]
    outside = {}
    for n in range(2, max(looks) + 1):
        density = step @ density
        density = np.where(np.abs(grid) <= allowed.at(n), density, 0.0)
        outside[n] = 1 - float(density.sum() * width)
    return [outside[n] for n in looks]


@pytest.mark.parametrize("kind", PRICES)
def test_limits_hold_what_they_promise_by_another_calculation(kind):
    """Scatter known, independent weeks, four baseline visits; prices aimed at with a pool.

    Smoothing leaves limits within 1.2 %, which is a seventh of the price, of a small one more.
    """
    allowed = limits(1e6 + 3, n_baseline=N_BASELINE, kind=kind)
    parts = parts_outside(allowed, (N_LOOKS, YEAR_LOOKS))
    for got, price in zip(parts, PRICES[kind], strict=True):
        aim = AIMS[kind][1] * price
        assert got == pytest.approx(aim, rel=0.3 if kind == "alone" else 0.15)


@pytest.mark.parametrize(
    ("n_baseline", "rho"), only([(2, 0.0), (4, 0.3), (8, 0.7)], [(4, 0.3)])
)
def test_the_table_is_what_its_command_makes(n_baseline, rho):
    """Fewer people, another seed: the same limits within chance."""
    made = calibrate.limits_by_prior(n_baseline, rho, n_people=6_000, seed=7)
    for df, kind, own in made[6:]:
        if kind != "alone":
            found = limits(df, n_baseline=n_baseline, autocorrelation=rho, kind=kind)
            assert found == pytest.approx(own, rel=0.06)


def test_limits_shrink_with_knowledge_and_grow_with_dependence():
    ks, dfs, rhos = (2, 3, 4, 5, 6, 8), (3, 4, 7, 11, 30, 1e6), (0, 0.15, 0.3, 0.45, 0.6, 0.7)
    for k, rho in itertools.product(ks, rhos):
        made = [limits(df, n_baseline=k, autocorrelation=rho) for df in dfs if df >= k - 1]
        assert all(a.named > b.named for a, b in itertools.pairwise(made))
    for k, df in itertools.product(ks, dfs):
        made = [limits(df, n_baseline=k, autocorrelation=rho) for rho in rhos]
        assert all(a.named < b.named for a, b in itertools.pairwise(made))
    for df, rho in itertools.product(dfs, rhos):
        early, named, late = limits(df, n_baseline=4, autocorrelation=rho)
        assert named < min(early, late)


def test_more_baseline_visits_than_tabulated_take_the_last_row():
    assert limits(20, n_baseline=30) == limits(20, n_baseline=8)
    assert limits(20, n_baseline=7) == limits(20, n_baseline=6)


@pytest.mark.parametrize(("df", "n_baseline"), [(0, 4), (5, 1)])
def test_too_little_to_judge_by_is_an_error(df, n_baseline):
    with pytest.raises(ValueError, match="must be at least 2 and"):
        limits(df, n_baseline=n_baseline)


def test_limits_are_wider_in_few_and_in_many_people():
    """As the table has them alone and with 30 people; evenly over the logarithm between."""
    factors = [wider(n) for n in (0, 1, 3, 10, 30, 55, 100, 5000)]
    assert factors == pytest.approx([1, 1, 1.01, 1.005, 1, 1.0151, 1.03, 1.03], abs=1e-4)
    plain, large = (limits(20, n_baseline=4, n_people=n) for n in (30, 100))
    assert np.array(large) == pytest.approx(1.03 * np.array(plain))


def test_each_look_has_the_limit_of_what_stood_behind_it():
    behind = [Behind(5.0 + n, 0.01 * n, 40 + n) for n in range(14)]
    found = limits_by_look(tuple(behind), 4, "alone")
    for n, (df, rho, people) in enumerate(behind, start=1):
        own = limits(df, n_baseline=4, autocorrelation=rho, kind="alone", n_people=people)
        assert found[n - 1] == pytest.approx(own.at(n))


def test_arrays_read_the_same_limits_as_single_people():
    df, rho = np.array([[4.0, 11.0], [60.0, 5.5]]), np.array([[0.0], [0.33]])
    many = limits_of(df, n_baseline=4, autocorrelation=rho)
    for i, j in np.ndindex(2, 2):
        single = limits(df[i, j], n_baseline=4, autocorrelation=rho[i, 0])
        assert tuple(limit[i, j] for limit in many) == pytest.approx(single)


def test_the_running_mean_is_the_weighted_sum_it_says():
    """Weights of n visits: w, w(1-w), ... from the newest; together 1 - (1-w)^n."""
    changes = np.array([[3.0, -1.0, 3.4, 1.0], [-3.0, 2.9, 2.0, 0.6]])
    weights = NEWEST_WEIGHT * (1 - NEWEST_WEIGHT) ** np.arange(4)[::-1]
    np.testing.assert_allclose(running_mean(changes)[:, -1], changes @ weights)
    assert weights.sum() == pytest.approx(weight_so_far(4))


def test_changes_are_cut_before_they_are_averaged():
    wild = running_mean(np.array([[0.0, 50.0, 0.0], [0.0, MAX_CHANGE_SD, 0.0]]))
    np.testing.assert_array_equal(wild[0], wild[1])


def test_following_a_path_solved_by_hand():
    """Limits 2 / 1 / 3, kept until 0.6: out at 3 (the first does not count), back at 6."""
    assert KEPT_SHARE == 0.3
    steps = np.array([2.5, 1.9, 2.1, 1.5, 0.7, 0.6 - 1e-9, -2.2])
    sides, since = follow(steps, Limits(2.0, 1.0, 3.0).over(len(steps)))
    assert sides.tolist() == [0, 0, 1, 1, 1, 0, -1]
    assert since == 7


def test_crossing_to_the_other_side_at_once_ends_and_begins_a_verdict():
    sides, since = follow(np.array([0.0, 3.0, -3.0]), Limits(2.0, 1.0, 3.0).over(3))
    assert (sides.tolist(), since) == ([0, 1, -1], 3)


def test_each_limit_holds_at_its_own_looks():
    steps = np.full(13, 1.5)
    sides, since = follow(steps, Limits(2.0, 1.0, 3.0).over(len(steps)))
    assert sides.tolist() == [0] * 11 + [1, 1], "kept at the thirteenth"
    assert since == 12
    late = np.concatenate([np.zeros(12), [2.5]])
    assert follow(late, Limits(2.0, 1.0, 3.0).over(13))[1] == 0
    assert follow(late + 0.6, Limits(9.0, 9.0, 3.0).over(13))[1] == 13


def test_one_person_is_followed_as_many_are():
    steps = np.cumsum(np.random.default_rng(3).standard_normal((200, 30)), axis=1) / 3
    allowed = Limits(1.5, 1.0, 1.8).over(30)
    sides, since = follow(steps, allowed)
    for i, row in enumerate(steps):
        own = follow(row, allowed)
        np.testing.assert_array_equal(own[0], sides[i])
        assert own[1] == since[i]


def test_between_the_places_of_the_table_it_reads_as_scipy_does():
    """Bit by bit against SciPy's interpolator, on and between places, edges included."""
    drawn = np.random.default_rng(5)
    for table in _tables().values():
        rho = drawn.uniform(*table.rhos[[0, -1]], 500)
        inverse = drawn.uniform(*table.inverse_dfs[[0, -1]], 500)
        rho[: len(table.rhos)] = table.rhos
        inverse[: len(table.inverse_dfs)] = table.inverse_dfs
        other = RegularGridInterpolator((table.rhos, table.inverse_dfs), table.limits)
        found = between(table, rho, inverse)
        assert found.tobytes() == np.asarray(other(np.column_stack([rho, inverse]))).tobytes()
        assert between(table, rho[0], inverse[0]).shape == (3,)
