"""Rules for telling change from chance, on whole clinics at once: the shipped one and others.

Each rule turns standardised changes from baseline into a signed statistic a look; a person is
flagged at the first look at which it exceeds a limit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from norms.autocorrelation import pooled_autocorrelation
from norms.limits import limits_of
from norms.running import N_LOOKS, ewma, follow, running_mean
from norms.scatter import MIN_PEOPLE, fit_prior, moderate

Floats = NDArray[np.float64]
Rule = Callable[[Floats, int], Floats]


class Judged(NamedTuple):
    """A clinic's visits as a rule sees them.

    Parameters
    ----------
    changes : ndarray, shape (n_clinics, n_people, n_looks)
        Differences from the own baseline mean.
    sd, own_sd : ndarray, shape (n_clinics, n_people)
        Moderated, and from the person's baseline alone.
    df : ndarray, shape (n_clinics, n_people)
        Behind the moderated one.
    """

    changes: Floats
    sd: Floats
    own_sd: Floats
    df: Floats


def prepare(visits: Floats, n_baseline: int) -> Judged:
    """Take baseline and scatter as the error band takes them."""
    baseline = visits[..., :n_baseline]
    own, own_df = baseline.var(axis=-1, ddof=1), n_baseline - 1.0
    n_people = visits.shape[1]
    variance, df = own, np.full(own.shape, own_df)
    if n_people >= MIN_PEOPLE:
        prior_variance, prior_df = fit_prior(own, own_df)
        variance, df = moderate(
            own, own_df, prior_variance[:, np.newaxis], prior_df[:, np.newaxis], n_people
        )
    changes = visits[..., n_baseline:] - baseline.mean(axis=-1, keepdims=True)
    return Judged(changes, np.sqrt(variance), np.sqrt(own), np.broadcast_to(df, own.shape))


def shipped(visits: Floats, n_baseline: int, *, remedy: bool = True) -> Floats:
    """Return on which side the shipped rule puts everybody after each look.

    Parameters
    ----------
    visits : ndarray, shape (n_clinics, n_people, n_visits)
    remedy : bool
        Whether limits are widened by the autocorrelation estimated from what the clinic has
        seen so far.

    Returns
    -------
    ndarray, shape (n_clinics, n_people, n_looks)
        1, -1 or 0, as the page made after that look would say.
    """
    seen = prepare(visits, n_baseline)
    steps = running_mean(seen.changes) / seen.sd[..., np.newaxis]
    sides = np.zeros(steps.shape)
    for n in range(1, steps.shape[-1] + 1):
        rho = np.zeros(len(visits))
        if remedy and visits.shape[1] >= MIN_PEOPLE:
            rho = pooled_autocorrelation([visits[..., : n_baseline + n]])
        outer, inner = limits_of(
            seen.df, n_baseline=n_baseline, autocorrelation=rho[:, np.newaxis]
        )
        sides[..., n - 1] = follow(steps[..., :n], outer, inner)[0]
    return sides


def outside_two_sd(visits: Floats, n_baseline: int) -> Floats:
    """Return the side of the usual rule: outside the own baseline mean plus and minus 2 SD."""
    seen = prepare(visits, n_baseline)
    z = seen.changes / seen.own_sd[..., np.newaxis]
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


OTHERS: Mapping[str, Rule] = {
    "two visits running outside the band": two_running,
    "mean of the last four, every week": mean_of_last(4),
    "mean of the last four, week 12 only": one_look(4),
    "CUSUM, slack 0.5 SD": cusum(0.5),
    "mixture of lasting shifts (e-value)": mixture(1.0),
    "mixture of even growth (e-value)": ramp_mixture(3.0),
    "running mean, 0.3, growing limit": weighted(0.3, growing=True),
    "running mean, 0.3, flat limit": weighted(0.3, growing=False),
    "running mean, 0.2, flat limit": weighted(0.2, growing=False),
}


def combined(first: Floats, last: Floats, share: float, price: float) -> tuple[float, float]:
    """Return limits of two statistics used together, from those of unchanged people.

    Parameters
    ----------
    first, last : ndarray, shape (n,)
        Sizes of both in unchanged people.
    share : float
        Part of the price spent on the first.
    price : float
        Part of unchanged people that may exceed one or the other.
    """
    limit = float(np.quantile(first, 1 - share * price))
    left = np.sort(last[first <= limit])
    n_more = round(price * len(first)) - (len(first) - len(left))
    return limit, float(left[-n_more])
