"""How much a person's visits scatter when nothing has changed: own, pooled, moderated.

Four baseline visits say little about one person's scatter, so it is shrunk towards that of
everybody in the same store (empirical Bayes for variances [1]_). Two things are added for small
clinics: the spread between people starts from a guess that counts like ten people, and the
moderated degrees of freedom pay for the prior being an estimate itself.

References
----------
.. [1] Smyth GK (2004). Linear models and empirical Bayes methods for assessing differential
   expression in microarray experiments. Stat Appl Genet Mol Biol 3:3.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import digamma, polygamma

from norms.autocorrelation import autocorrelation
from norms.spread import spread_of_person

Floats = NDArray[np.float64]

MIN_PEOPLE = 3
# Where nothing is known, people's scatter is taken to differ like 6 degrees of freedom allow
# (most standard deviations within a factor of 1.5 of the typical one); that guess counts like
# 10 people.
GUESSED_DF = 6.0
GUESS_WEIGHT = 10.0
# Below this excess of log variances people do not differ measurably (some 2,000 degrees of
# freedom); it keeps the equations finite.
MIN_EXCESS = 1e-3


@dataclass(frozen=True, slots=True)
class Prior:
    """Scatter of everybody: a variance and how many degrees of freedom it is worth.

    Parameters
    ----------
    variance : float
        On the scale of comparison.
    df : float
        Large when people differ little in scatter.
    n_people, n_visits : int
        What stands behind it.
    autocorrelation : float
        Of one visit with the next within a person, 0 where it cannot be estimated.
    df_of_person : float
        Degrees of freedom behind one person's own scatter, on average, later visits among them;
        0 where only baselines were pooled.
    """

    variance: float
    df: float
    n_people: int
    n_visits: int
    autocorrelation: float = 0.0
    df_of_person: float = 0.0


@dataclass(frozen=True, slots=True)
class OutsideSem:
    """A standard error of measurement from a reliability study, entered by hand.

    Parameters
    ----------
    sem : float
        On the scale of comparison: for a measure compared on logarithms the standard deviation
        of the logarithms.
    source : str
        Where it was published or measured; shown beside the band.
    n_people : int
        People in that study; 0 where unknown.

    Raises
    ------
    ValueError
        If `sem` is not above 0 or the source is empty.
    """

    sem: float
    source: str
    n_people: int = 0

    def __post_init__(self) -> None:
        if not self.sem > 0 or not math.isfinite(self.sem):
            msg = f"sem={self.sem} must be a number above 0"
            raise ValueError(msg)
        if not self.source.strip():
            msg = "an outside standard error of measurement needs its source"
            raise ValueError(msg)

    @classmethod
    def from_percent(cls, percent: float, source: str, n_people: int = 0) -> OutsideSem:
        """Take a within-person coefficient of variation, percent, for the log scale.

        The exact standard deviation of the logarithms of a log-normal value.
        """
        return cls(math.sqrt(math.log1p((percent / 100) ** 2)), source, n_people)


def transform(values: ArrayLike, *, log_scale: bool) -> Floats:
    """Bring values to the scale on which they are compared.

    Raises
    ------
    ValueError
        If the logarithm of a value that is not positive is asked for.
    """
    array = np.asarray(values, dtype=float)
    if not log_scale:
        return array
    if np.any(array <= 0):
        msg = f"{float(array.min())} has no logarithm; values must be above 0"
        raise ValueError(msg)
    return np.asarray(np.log(array))


def inverse_trigamma(y: ArrayLike) -> Floats:
    """Solve trigamma(x) = y for x, both above 0.

    Newton's method on the reciprocal, which is nearly linear, from below: it converges
    steadily (Smyth 2004, appendix).
    """
    target = np.asarray(y, dtype=float)
    x = 0.5 + 1 / target
    for _ in range(50):
        now = polygamma(1, x)
        step = now * (1 - now / target) / polygamma(2, x)
        x = x + step
        if np.all(-step < 1e-12 * x):
            break
    return np.asarray(x)


def fit_prior(
    variances: Floats, df: ArrayLike, *, guess_weight: float = GUESS_WEIGHT
) -> tuple[Floats, Floats]:
    """Estimate the scatter of everybody from people's own sample variances.

    Parameters
    ----------
    variances : ndarray, shape (..., n_people)
        Sample variances; the last axis is pooled, others are separate clinics.
    df : array_like
        Their degrees of freedom, of the same shape or one for all.
    guess_weight : float
        How many people the guess about their differences counts for; 0 gives the plain moment
        estimates.

    Returns
    -------
    variance, df : ndarray, shape (...)

    Notes
    -----
    Smyth (2004), section 6.2: with ``e = log s² - digamma(d/2) + log(d/2)`` the spread of e
    beyond ``trigamma(d/2)`` gives the prior degrees of freedom, its mean the prior variance.
    Variances of 0 are raised to a hundred-thousandth of the median, so that two equal visits
    neither break nor vanish.
    """
    d = np.broadcast_to(np.asarray(df, dtype=float), variances.shape)
    floor = 1e-5 * np.median(variances, axis=-1, keepdims=True)
    e = np.log(np.maximum(variances, floor)) - digamma(d / 2) + np.log(d / 2)
    n = variances.shape[-1]
    excess = e.var(axis=-1, ddof=1) - polygamma(1, d / 2).mean(axis=-1)
    guess = float(polygamma(1, GUESSED_DF / 2))
    excess = ((n - 1) * excess + guess_weight * guess) / (n - 1 + guess_weight)
    prior_df = 2 * inverse_trigamma(np.maximum(excess, MIN_EXCESS))
    log_variance = e.mean(axis=-1) + digamma(prior_df / 2) - np.log(prior_df / 2)
    return np.asarray(np.exp(log_variance)), np.asarray(prior_df)


def moderate(
    own_variance: ArrayLike,
    own_df: ArrayLike,
    prior_variance: ArrayLike,
    prior_df: ArrayLike,
    n_people: int,
    df_of_person: float = 0.0,
) -> tuple[Floats, Floats]:
    """Combine people's own scatter with everybody's.

    Parameters
    ----------
    own_variance, own_df : array_like
        Of the baseline.
    df_of_person : float
        Behind each person's scatter when the prior was estimated, where later visits told of it
        too; 0 for `own_df`.

    Returns
    -------
    variance, df : ndarray
        The mean of both variances weighted by their degrees of freedom. Were the prior known,
        it would be worth the sum of both degrees of freedom. It is estimated from `n_people`,
        so the variance of that estimate is added, by the delta method:
        ``1/df = 1/(d0 + d) + (d0/(d0 + d))² (1/p + 1/d0) / n``, p of each person pooled.
    """
    d = np.asarray(own_df, dtype=float)
    d0 = np.asarray(prior_df, dtype=float)
    variance = (d0 * prior_variance + d * own_variance) / (d0 + d)
    share = d0 / (d0 + d)
    pooled = np.maximum(d, df_of_person)
    df = 1 / (1 / (d0 + d) + share**2 * (1 / pooled + 1 / d0) / n_people)
    return np.asarray(variance), np.asarray(df)


def pool(
    groups: Sequence[Sequence[float]],
    *,
    log_scale: bool,
    series: Sequence[Sequence[float] | Floats] = (),
    n_people: int | None = None,
) -> Prior | None:
    """Estimate the scatter of everybody from their baseline visits and those that followed.

    Parameters
    ----------
    groups : sequence of sequences
        The baseline values, one group a person. Groups of fewer than two are passed over.
    series : sequence of sequences, optional
        For each group all comparable visits of that person in order, the baseline first: how
        much one visit resembles the next and how later visits scatter is estimated from them.
        Left out, visits are taken as independent.
    n_people : int, optional
        People behind the groups, where one may stand there with both hands.

    Returns
    -------
    Prior or None
        With fewer than three people, or where nobody's visits differ at all, its `df` is 0: it
        knows no scatter, only the autocorrelation. None with nobody at all.
    """
    useful = [i for i, group in enumerate(groups) if len(group) >= 2]
    if not useful:
        return None
    whole = _transformed([(series or groups)[i] for i in useful], log_scale=log_scale)
    k = [len(groups[i]) for i in useful]
    rho = autocorrelation(whole, k) if series else 0.0
    nobody = Prior(0.0, 0.0, 0, 0, rho)
    people = min(n_people or len(useful), len(useful))
    if people < MIN_PEOPLE:
        return nobody
    variances, df = _own_scatter(k, whole, rho)
    if np.median(variances) <= 0:
        return nobody
    variance, prior_df = fit_prior(variances, df)
    n_visits = sum(len(w) for w in whole)
    return Prior(float(variance), float(prior_df), people, n_visits, rho, float(df.mean()))


def _transformed(
    series: Sequence[Sequence[float] | Floats], *, log_scale: bool
) -> list[Floats]:
    """Bring series to the scale of comparison; those of one length go together."""
    alike: dict[int, list[int]] = {}
    for i, values in enumerate(series):
        alike.setdefault(len(values), []).append(i)
    found: list[Floats] = [np.empty(0)] * len(series)
    for places in alike.values():
        rows = transform(np.array([series[i] for i in places]), log_scale=log_scale)
        for i, row in zip(places, rows, strict=True):
            found[i] = row
    return found


def _own_scatter(
    n_baseline: Sequence[int], series: Sequence[Floats], rho: float
) -> tuple[Floats, Floats]:
    """Return everybody's own variance and its degrees of freedom; series alike go together."""
    alike: dict[tuple[int, int], list[int]] = {}
    for i, (k, whole) in enumerate(zip(n_baseline, series, strict=True)):
        alike.setdefault((k, len(whole)), []).append(i)
    variances, df = np.empty(len(series)), np.empty(len(series))
    for (k, _), places in alike.items():
        stacked = np.array([series[i] for i in places])
        variances[places], df[places] = spread_of_person(
            stacked[:, :k], stacked[:, k:], rho=rho
        )
    return variances, df
