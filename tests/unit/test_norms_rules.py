"""The rules in the simulation, by hand or another way, and the shipped one as shipped."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from scipy.stats import multivariate_normal, multivariate_t, norm, skew

from norms.band import pool
from norms.baseline import BaselineRule, Point
from norms.calibration import (
    false_verdicts,
    first_rule,
    found_changes,
    hand_verdicts,
    holding,
    judged,
    one_price,
    rules,
    simulate_rules,
)
from norms.calibration.calibrate import running_means
from norms.calibration.simulate_rules import by_two, document, percent, table
from norms.calibration.simulated import Clinic, draw, late, learning, ramp, rounding_off, step
from norms.limits import Price
from norms.running import KEPT_SHARE
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


def test_odd_errors_are_what_they_say():
    still, _ = draw(Clinic(n_people=1, scatter_df=np.inf, skew=0.6), 60_000, seed())
    down, _ = draw(Clinic(n_people=1, scatter_df=np.inf, skew=-0.6), 60_000, seed())
    for errors, sign in ((still, 1), (down, -1)):
        assert (errors.mean(), errors.std()) == pytest.approx((0, 1), abs=0.02)
        assert sign * skew(errors, axis=None) == pytest.approx(2.26, abs=0.2)
    odd, _ = draw(Clinic(scatter_df=np.inf, outliers=0.1, n_tasks=2), 6_000, seed())
    assert odd.mean() == pytest.approx(0.4, abs=0.03)
    both = (odd > 3).all(axis=2).mean()
    assert both == pytest.approx(0.08, abs=0.02), "a bad day is bad in every task"
    bad, _ = draw(Clinic(scatter_df=np.inf, bad_baseline=True), 12_000, seed())
    assert bad[:, :3, :, :4].mean() == pytest.approx(1, abs=0.05)
    assert bad[:, 3:, :, :4].mean() == pytest.approx(0, abs=0.03)
    assert bad[..., 4:].mean() == pytest.approx(0, abs=0.03)
    wild, _ = draw(Clinic(scatter_df=np.inf, later_scatter=3.0), 6_000, seed())
    assert (wild[..., :4].std(), wild[..., 4:].std()) == pytest.approx((1, 3), rel=0.03)
    rare, _ = draw(Clinic(scatter_df=np.inf, autocorrelation=0.5, missed=0.5), 60_000, seed())
    weeks = np.corrcoef(rare[..., 4].ravel(), rare[..., 5].ravel())[0, 1]
    assert weeks == pytest.approx((0.5 + 0.25 / 2 + 0.125 / 4) / 2, abs=0.05)


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


def test_limits_set_on_the_unchanged_flag_as_many_as_asked():
    still = rules.STATISTICS["running mean, first version"](
        seed(4).standard_normal((20_000, 16)), 4, 1e6
    )
    for named in (False, True):
        sides = rules.flagged(still, {"still": still}, Price(0.05, 0.05), named=named)["still"]
        assert (sides != 0).any(axis=1).mean() == pytest.approx(0.05, abs=0.003)


def test_the_shipped_statistic_among_the_others_is_the_shipped_one():
    """With everybody's scatter known, as the table of limits has it."""
    visits = seed(6).standard_normal((50, 16))
    ours = rules.STATISTICS[rules.SHIPPED](visits, 4, 8.0)
    np.testing.assert_allclose(ours, running_means(visits, 4, 8.0, 0.0))


def test_permutation_solved_by_hand():
    """Baseline 0, 0, 0, 0, then 1, 1: of 15 ways one is as far; then 4 of 5 with one visit."""
    visits = np.array([[0.0, 0.0, 0.0, 0.0, 1.0, 1.0]])
    got = rules.permuted(visits, 4, 0.0)[0]
    np.testing.assert_allclose(got, [np.log(5), np.log(15)])


def test_the_hierarchical_factor_is_a_ratio_of_multivariate_t_densities():
    """Level flat, variance scaled inverse chi-squared with 8, change normal with 1.5 SD.

    Freed of the level by contrasts, visits are multivariate t with 8 degrees of freedom, with
    and without the shift's share in their covariance.
    """
    visits = seed(7).standard_normal((1, 10)) + np.r_[np.zeros(4), np.ones(6)]
    got = rules.hierarchical(1.5, np.ones)(visits, 4, 8.0)[0, -1]
    x = np.r_[np.zeros(4), np.ones(6)]
    free = np.linalg.svd(np.ones((1, 10)))[2][1:]
    null = free @ free.T
    moved = free @ (np.eye(10) + 1.5**2 * np.outer(x, x)) @ free.T
    expected = multivariate_t(shape=moved, df=8).logpdf(free @ visits[0]) - (
        multivariate_t(shape=null, df=8).logpdf(free @ visits[0])
    )
    assert got == pytest.approx(expected)


def test_the_usual_rule_uses_the_own_baseline_alone():
    visits = np.array([[[-1.0, 1.0, -1.0, 1.0, 2.3, 2.4, -2.4]]])  # sd 1.1547
    np.testing.assert_array_equal(rules.outside_two_sd(visits, 4), [[[0, 1, -1]]])


@pytest.mark.parametrize(("n_people", "rho"), [(1, 0.0), (3, 0.0), (8, 0.5)])
def test_the_simulated_rule_is_the_one_that_judges_people(n_people, rho):
    """After every look the page's verdict and the array's sides agree, for everybody.

    Beyond error at every price, and outside the band of one visit; and the page after the last
    look still has what every earlier one said, where visits have their day.
    """
    clinic = Clinic(n_people=n_people, autocorrelation=rho)
    visits, sd = draw(clinic, 24, seed(5))
    way = np.where(np.arange(len(visits)) % 2, 1, -1).reshape(-1, 1, 1, 1)
    visits[..., 4:] += 2.5 * sd[..., np.newaxis] * ramp() * way
    visits = visits[:, :, 0]
    told = judged.told(visits, 4, kinds=one_price.KINDS)
    assert {-1, 0, 1} <= set(np.unique(told.beyond["line"]))
    for c, n in np.ndindex(len(visits), 12):
        seen = visits[c, :, : 5 + n]
        weeks = [range(5 + n)] * n_people
        prior = pool(list(seen[:, :4]), log_scale=False, series=list(seen), weeks=weeks)
        kind = one_price.KINDS[n % 3]
        for p in range(n_people):
            points = [Point(i, v, day=7.0 * i) for i, v in enumerate(seen[p])]
            page = judge(
                points,
                prior,
                log_scale=False,
                direction="higher",
                rule=BaselineRule(0, 4),
                kind=kind,
            )
            assert page.average.steps[-1].side == told.beyond[kind][c, p, n]
            assert page.band.side(page.latest.value) == told.outside[kind][c, p, n]
            sides = [step.side for step in page.average.steps]
            assert sides == told.beyond[kind][c, p, : n + 1].tolist()


@pytest.mark.parametrize("n_people", [1, 30])
def test_a_line_keeps_its_price_in_twelve_looks_and_in_a_year(n_people):
    """3,000 people: standard error 0.3 % and 0.4 %; the usual rule flags nearly all of them."""
    visits, _ = draw(Clinic(n_people=n_people, n_looks=52), 3_000, seed(77))
    sides = judged.shipped(visits[:, :, 0], 4) != 0
    assert 0.02 < sides[..., :12].any(axis=-1).mean() < 0.044
    assert 0.03 < sides.any(axis=-1).mean() < 0.061
    usual = rules.outside_two_sd(visits[:, :, 0], 4)
    assert (usual[..., :12] != 0).any(axis=-1).mean() == pytest.approx(0.633, abs=0.03)


@pytest.mark.long
@pytest.mark.parametrize("n_people", [1, 3, 30])
def test_a_page_keeps_its_price_in_twelve_looks_and_in_a_year(n_people):
    """4,000 pages: standard error 0.4 % and 0.5 %."""
    rates, possible = false_verdicts.false_rates(
        4_000, sizes=(n_people,), odd=("normal errors",)
    )["normal errors", n_people, "now"]
    assert rates[12].page.value < 0.06 + 0.008
    assert rates[52].page.value < 0.10 + 0.010
    assert possible.value + 0.01 < 1 / 6


def test_dependent_weeks_are_held_near_the_price():
    """Autocorrelation 0.4 in a clinic of 30; taken as independent, one in eight is flagged."""
    visits, _ = draw(Clinic(autocorrelation=0.4), 4_500, seed(78))
    told = (judged.shipped(visits[:, :, 0], 4) != 0).any(axis=-1).mean()
    plain = (judged.shipped(visits[:, :, 0], 4, remedy=False) != 0).any(axis=-1).mean()
    assert told < 0.075
    assert plain > 0.12


def test_a_true_change_is_not_withdrawn_while_it_lasts():
    """Of 600 headlines a row: standard error at most 0.9 %."""
    for (_, size), (stood,) in holding.never_withdrawn(600, shares=(KEPT_SHARE,)).items():
        assert stood.value > 0.95 - 2 * stood.error, size


def test_a_verdict_about_a_change_that_went_away_goes_too():
    told = holding.stays(600, shares=(KEPT_SHARE, 0.0))
    for (what, _), (shipped, never) in told.items():
        assert shipped.n <= never.n
        assert shipped.half < never.half
        if what != "false":
            assert shipped.half <= 4
            assert shipped.tenth <= 12


def test_how_long_a_verdict_stays_solved_by_hand():
    """Looks told from the first on: 2 and 3, then silent; the third is told too late."""
    sides = np.zeros((1, 3, 8), dtype=np.int64)
    sides[0, 0, 1:3] = 1
    sides[0, 1, 3:6] = -1
    sides[0, 1, 6] = 1
    sides[0, 2, 5:] = 1
    assert holding._of_false(sides) == (3, 3, 2)
    out = np.zeros((1, 2, 16), dtype=bool)
    out[0, 0, 10:14] = True  # told at look 12, and at two looks after it
    out[0, 1, 14] = True
    assert holding._after(out) == (2, 2, 1)


def test_one_bad_baseline_visit_spoils_less_than_before():
    clinic = Clinic(bad_baseline=True)
    visits, _ = draw(clinic, 6_000, seed(81))
    visits[..., 4:] += 2.2
    before = first_rule.told(visits[:, :, 0], 4).beyond["line"][:, :3] > 0
    now = judged.shipped(visits[:, :, 0], 4)[:, :3] > 0
    assert now.any(axis=-1).mean() > before.any(axis=-1).mean() + 0.25


def test_the_first_rule_is_the_one_that_was_shipped():
    """Figures of its own page: 4.3 % of 30,000 people flagged in clinics of 30, independent."""
    visits, _ = draw(Clinic(), 6_000, seed(82))
    sides = first_rule.told(visits[:, :, 0], 4).beyond["line"]
    assert (sides != 0).any(axis=-1).mean() == pytest.approx(0.043, abs=0.008)
    with pytest.raises(ValueError, match="4 baseline visits only"):
        first_rule.told(visits[:, :, 0], 5)


def test_the_composite_finds_what_one_measure_misses():
    visits, sd = draw(Clinic(n_tasks=4), 2_100, seed(79))
    visits[..., 4:] -= 2.0 * sd[..., np.newaxis] * ramp()
    both = judged.told(visits.mean(axis=2), 4, kinds=("headline",)).beyond["headline"]
    one = judged.shipped(visits[:, :, 0], 4)
    assert (both < 0).any(axis=-1).mean() > 0.75
    assert 0.4 < (one < 0).any(axis=-1).mean() < 0.6


def test_a_hand_is_judged_as_its_page_is():
    """A task is told at the price of a line exactly where the headline is told."""
    visits, sd = draw(Clinic(n_people=3, n_tasks=4), 60, seed(83))
    visits[..., 4:] += 1.5 * sd[..., np.newaxis]
    hand = hand_verdicts.hand_told(visits, 4)
    moved = hand.headline != 0
    assert moved.any()
    alone = judged.told(visits[:, :, 0], 4, kinds=("alone",)).beyond["alone"]
    assert (hand.tasks[0][moved] == hand.line[0][moved]).all()
    assert (hand.tasks[0][~moved] == alone[~moved]).all()
    assert (hand.somewhere() == hand.somewhere(1) | hand.somewhere(-1)).all()


def test_a_share_has_a_binomial_standard_error():
    assert hand_verdicts.share(np.array([True, False, False, False])) == (
        0.25,
        np.sqrt(0.1875 / 4),
    )
    assert percent(hand_verdicts.Share(0.0512, 0.0031)) == "5.1"
    assert percent(hand_verdicts.Share(0.0512, 0.0031), error=True) == "5.1 (0.3)"


def test_all_tables_of_the_page_are_made_with_few_people(monkeypatch):
    """Every part runs."""
    few = {k: false_verdicts.ODD[k] for k in ("normal errors", "one baseline visit 4 SD off")}
    monkeypatch.setattr(false_verdicts, "ODD", few)
    monkeypatch.setattr(
        false_verdicts, "false_rates", partial(false_verdicts.false_rates, sizes=(1, 3))
    )
    monkeypatch.setattr(false_verdicts, "SIZES", (1, 3))
    monkeypatch.setattr(holding, "SIZES", (3,))
    monkeypatch.setattr(simulate_rules, "TIMES_APART", 1)
    monkeypatch.setattr(false_verdicts, "UNTIL", (12,))
    monkeypatch.setattr(found_changes, "SHAPES", {"at once": step})
    monkeypatch.setattr(found_changes, "power", partial(found_changes.power, sizes=(3,)))
    monkeypatch.setattr(found_changes, "kept", partial(found_changes.kept, n_looks=12))
    monkeypatch.setattr(false_verdicts, "PAGE", replace(hand_verdicts.PAGE, n_looks=12))
    monkeypatch.setattr(found_changes, "SD_SIZES", {"2 SD": 2.0})
    monkeypatch.setattr(
        found_changes, "PERCENTS", {k: found_changes.PERCENTS[k] for k in ("+20 %", "+30 %")}
    )
    text = document(60, 6)
    assert text.count("| --- |") == 9
    assert "one baseline visit 4 SD off, 3 people: before" in text


def test_markdown_tables():
    assert table(["a", "b"], [["x", "1"]]) == "| a | b |\n| --- | ---: |\n| x | 1 |\n"
    assert by_two({("r", "c"): "1", ("s", "d"): "2"}, "k").splitlines()[2:] == [
        "| r | 1 |  |",
        "| s |  | 2 |",
    ]
