"""Other rules for telling change from chance, on whole clinics at once.

Each turns visits of variance about 1, baseline first, and what everybody's scatter is worth
into a signed statistic a look; a person is flagged at the first look at which it exceeds a
limit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from norms.calibration.calibrate import limits_at
from norms.calibration.simulated import ramp, step
from norms.limits import Price
from norms.running import MAX_CHANGE_SD, N_LOOKS, NEWEST_WEIGHT, ewma, follow
from norms.spread import baseline_weights, differences, spread

Floats = NDArray[np.float64]
Rule = Callable[[Floats, int], Floats]
Statistic = Callable[[Floats, int, float], Floats]


def outside_two_sd(visits: Floats, n_baseline: int) -> Floats:
    """Return the side of the usual rule: outside the own baseline mean plus and minus 2 SD."""
    baseline = visits[..., :n_baseline]
    away = visits[..., n_baseline:] - baseline.mean(axis=-1, keepdims=True)
    z = away / baseline.std(axis=-1, ddof=1, keepdims=True)
    return np.asarray(np.sign(z) * (np.abs(z) > 2))


def two_running(z: Floats, _: int) -> Floats:
    """Two visits in a row: the nearer of the last two, if both lie on one side."""
    out = np.zeros_like(z)
    same = np.sign(z[..., 1:]) == np.sign(z[..., :-1])
    nearer = np.minimum(np.abs(z[..., 1:]), np.abs(z[..., :-1]))
    out[..., 1:] = np.where(same, np.sign(z[..., 1:]) * nearer, 0)
    return out


def mean_of_last(n_visits: int) -> Rule:
    """Return the rule of the mean of the last n visits, looked at every week."""

    def rule(z: Floats, n_baseline: int) -> Floats:
        out = np.zeros_like(z)
        for i in range(n_visits - 1, z.shape[-1]):
            out[..., i] = z[..., i - n_visits + 1 : i + 1].mean(axis=-1)
        return np.asarray(out / np.sqrt(1 / n_baseline + 1 / n_visits))

    return rule


def one_look(n_visits: int) -> Rule:
    """Return the rule that looks once, at the last week, at the mean of the last n visits."""

    def rule(z: Floats, n_baseline: int) -> Floats:
        out = mean_of_last(n_visits)(z, n_baseline)
        out[..., :-1] = 0
        return out

    return rule


def cusum(slack: float) -> Rule:
    """Return the cumulative sum with a slack (Page 1954, Biometrika 41:100-115)."""

    def rule(z: Floats, _: int) -> Floats:
        up, down = np.zeros(z.shape[:-1]), np.zeros(z.shape[:-1])
        out = np.zeros_like(z)
        for i in range(z.shape[-1]):
            up = np.maximum(0, up + z[..., i] - slack)
            down = np.maximum(0, down - z[..., i] - slack)
            out[..., i] = np.where(up > down, up, -down)
        return out

    return rule


def weighted(weight: float, *, growing: bool) -> Rule:
    """Return the exponentially weighted mean, against a flat or the usual growing limit."""

    def rule(z: Floats, n_baseline: int) -> Floats:
        mean = ewma(z, start=0.0, weight=weight)
        left = (1 - weight) ** np.arange(1, z.shape[-1] + 1)
        variance = weight / (2 - weight) * (1 - left**2) + (1 - left) ** 2 / n_baseline
        return mean / np.sqrt(variance) if growing else mean

    return rule


def mixture(spread: float) -> Rule:
    """Return the signed log likelihood ratio of a lasting shift against none.

    The shift is mixed over a normal distribution of that spread (Robbins 1970, Ann Math Stat
    41:1397-1409). Its exponent is an e-value: with a known scatter it exceeds 20 in one
    unchanged person of twenty at most, however many looks there are.
    """

    def rule(z: Floats, n_baseline: int) -> Floats:
        n = np.arange(1, z.shape[-1] + 1)
        mean, variance = np.cumsum(z, axis=-1) / n, 1 / n + 1 / n_baseline
        log_ratio = 0.5 * np.log(variance / (variance + spread**2))
        log_ratio = log_ratio + 0.5 * mean**2 * spread**2 / (variance * (variance + spread**2))
        return np.asarray(np.sign(mean) * np.maximum(log_ratio, 0))

    return rule


def ramp_mixture(spread: float) -> Rule:
    """Return the same for a change that grows evenly, `spread` after twelve looks."""

    def rule(z: Floats, n_baseline: int) -> Floats:
        out = np.zeros_like(z)
        for n in range(1, z.shape[-1] + 1):
            shape = np.arange(1, n + 1) / N_LOOKS
            weights = np.linalg.solve(np.eye(n) + 1 / n_baseline, shape)
            told = float(shape @ weights)
            score = z[..., :n] @ weights
            ratio = 0.5 * score**2 / (told + 1 / spread**2)
            ratio = ratio - 0.5 * np.log(1 + spread**2 * told)
            out[..., n - 1] = np.sign(score) * np.maximum(ratio, 0)
        return out

    return rule


def by_baseline(rule: Rule) -> Statistic:
    """Return a rule on changes in moderated standard deviations of the baseline alone."""

    def statistic(visits: Floats, n_baseline: int, prior_df: float) -> Floats:
        own = spread(
            visits[:, :n_baseline],
            visits[:, :0],
            prior_variance=1.0,
            prior_df=prior_df,
        )
        mean = visits[:, :n_baseline].mean(axis=1, keepdims=True)
        return rule((visits[:, n_baseline:] - mean) / own.sd, n_baseline)

    return statistic


def watched(
    *,
    weight: float = NEWEST_WEIGHT,
    cut: float = MAX_CHANGE_SD,
    later: bool = True,
    robust: bool = True,
) -> Statistic:
    """Return the running mean with parts of the shipped rule left out.

    Parameters
    ----------
    cut : float
        Standard deviations at which changes are cut; infinite for never.
    later : bool
        Whether later visits help to tell the scatter.
    robust : bool
        Whether a baseline visit far from the others weighs less.
    """

    def statistic(visits: Floats, n_baseline: int, prior_df: float) -> Floats:
        baseline, after = visits[:, :n_baseline], visits[:, n_baseline:]
        added, more_df = differences(after)
        if not later:
            added, more_df = 0 * added, 0 * more_df
        known, known_df = prior_df + added, prior_df + more_df
        weights = np.ones((*after.shape, n_baseline))
        if robust:
            weights = baseline_weights(baseline, known, known_df, 1.0)
        total = weights.sum(axis=-1)
        centre = (weights * baseline[:, np.newaxis]).sum(axis=-1) / total
        squares = weights * (baseline[:, np.newaxis] - centre[..., np.newaxis]) ** 2
        variance = (known + squares.sum(axis=-1)) / (known_df + np.maximum(total - 1, 0.5))
        z = (after - centre) / np.sqrt(variance)
        return ewma(np.clip(z, -cut, cut), start=0.0, weight=weight)

    return statistic


def hierarchical(spread_sd: float, shape: Callable[[int], Floats]) -> Statistic:
    """Return the signed log Bayes factor of a change of a shape against none.

    Level and variance are integrated out: a person's variance is scaled inverse chi-squared
    about everybody's, the change normal with `spread_sd` standard deviations of a visit. Later
    visits tell level and scatter as baseline visits do.
    """

    def statistic(visits: Floats, n_baseline: int, prior_df: float) -> Floats:
        n_looks = visits.shape[1] - n_baseline
        out = np.zeros((len(visits), n_looks))
        for n in range(1, n_looks + 1):
            seen = visits[:, : n_baseline + n]
            x = np.concatenate([np.zeros(n_baseline), shape(n)])
            x = x - x.mean()
            away = seen - seen.mean(axis=1, keepdims=True)
            told, size = away @ x, float(x @ x)
            total = (away**2).sum(axis=1) + prior_df
            g = spread_sd**2 * size
            left = total - told**2 / size * g / (1 + g)
            ratio = -0.5 * np.log1p(g)
            ratio = ratio + 0.5 * (n_baseline + n - 1 + prior_df) * np.log(total / left)
            out[:, n - 1] = np.sign(told) * np.maximum(ratio, 0)
        return out

    return statistic


def permuted(visits: Floats, n_baseline: int, _: float) -> Floats:
    """Return the signed logarithm of the permutation probability of the difference of means.

    Which visits are baseline is permuted in all ways; exact for exchangeable visits, whatever
    their errors, with nobody to pool. Up to a dozen looks: the ways grow with their number.
    """
    n_looks = visits.shape[1] - n_baseline
    out = np.zeros((len(visits), n_looks))
    for n in range(1, n_looks + 1):
        total = n_baseline + n
        chosen = np.zeros((comb(total, n_baseline), total))
        for row, places in enumerate(combinations(range(total), n_baseline)):
            chosen[row, list(places)] = 1.0
        seen = visits[:, :total]
        sums = seen @ chosen.T
        away = sums - n_baseline * seen.mean(axis=1, keepdims=True)
        own = np.abs(away[:, :1])
        p = (np.abs(away) >= own - 1e-9).mean(axis=1)
        out[:, n - 1] = -np.sign(away[:, 0]) * -np.log(p)
    return out


FIRST_WEIGHT = 0.25  # of the newest visit, in the first version
SHIPPED = f"the same, newest visit weighs {NEWEST_WEIGHT:g}: as shipped"
STATISTICS: Mapping[str, Statistic] = {
    "two visits running outside the band": by_baseline(two_running),
    "mean of the last four, every week": by_baseline(mean_of_last(4)),
    "CUSUM, slack 0.5 SD": by_baseline(cusum(0.5)),
    "e-value, lasting shifts": by_baseline(mixture(1.0)),
    "e-value, even growth": by_baseline(ramp_mixture(3.0)),
    "hierarchical Bayes factor, lasting shift": hierarchical(1.5, step),
    "hierarchical Bayes factor, even growth": hierarchical(2.0, ramp),
    "permutation of visits": permuted,
    "running mean, first version": watched(
        weight=FIRST_WEIGHT, cut=np.inf, later=False, robust=False
    ),
    "the same, changes cut at 3.5 SD": watched(weight=FIRST_WEIGHT, later=False, robust=False),
    "the same, scatter of later visits too": watched(weight=FIRST_WEIGHT, robust=False),
    "the same, robust baseline": watched(weight=FIRST_WEIGHT),
    SHIPPED: watched(),
    "as shipped, newest visit weighs 0.2": watched(weight=0.2),
    "as shipped, newest visit weighs 0.4": watched(weight=0.4),
    "as shipped, cut at 2.5 SD": watched(cut=2.5),
    "as shipped, cut at 3 SD": watched(cut=3.0),
}
NAMED_LOOK = frozenset(
    name for name in STATISTICS if "shipped" in name or "the same" in name
) | {"running mean, first version"}


def flagged(
    still: Floats, others: Mapping[str, Floats], price: Price, *, named: bool
) -> dict[str, NDArray[np.int64]]:
    """Return the sides after each look in others, with limits set on the unchanged.

    Parameters
    ----------
    still : ndarray, shape (n_people, N_LOOKS)
        The statistic of unchanged people.
    named : bool
        Whether part of the price is spent at the look named beforehand.
    """
    limit = float(np.quantile(np.abs(still).max(axis=1), 1 - price.to_named))
    if not named:
        return {k: (z > limit).astype(np.int64) - (z < -limit) for k, z in others.items()}
    padded = np.concatenate([still, np.zeros((len(still), 1))], axis=1)
    allowed = limits_at(padded, price._replace(year=price.to_named))
    return {k: follow(z, allowed.over(z.shape[-1]))[0] for k, z in others.items()}
