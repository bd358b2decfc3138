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
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import digamma, polygamma

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

    A person is judged at each look by what everybody's visits up to the end of its week tell,
    so that what later visits tell never takes back what was said.

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
    first_week : int
        Number of the week in which anything was known first (`week_of`).
    by_week : tuple of Prior
        What was known at the end of that week and each after it; the last of them holds from
        there on. Empty where the same is taken as known throughout.
    """

    variance: float
    df: float
    n_people: int
    n_visits: int
    autocorrelation: float = 0.0
    df_of_person: float = 0.0
    first_week: int = 0
    by_week: tuple[Prior, ...] = ()

    def on(self, day: float) -> Prior:
        """Return what was known at the end of a day's week; of no known day all there is."""
        return self.in_week(week_of(day)) if math.isfinite(day) else self

    def in_week(self, week: int) -> Prior:
        """Return what was known at the end of a week."""
        if not self.by_week:
            return self
        if week < self.first_week:
            return NOBODY
        return self.by_week[min(week - self.first_week, len(self.by_week) - 1)]

    def with_autocorrelation_of(self, other: Prior) -> Prior:
        """Return it with how much one visit resembles the next as another tells it."""
        by_week = tuple(
            replace(own, autocorrelation=other.in_week(week).autocorrelation)
            for week, own in enumerate(self.by_week, start=self.first_week)
        )
        return replace(self, autocorrelation=other.autocorrelation, by_week=by_week)


NOBODY = Prior(0.0, 0.0, 0, 0)


def week_of(day: float) -> int:
    """Return the number of the week of a day, counted from 1970; it begins on Monday."""
    return math.floor((day + 3) / 7)


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
    found = np.zeros(x.shape, dtype=bool)  # each stands on itself, whatever else is asked
    for _ in range(50):
        now = polygamma(1, x)
        step = now * (1 - now / target) / polygamma(2, x)
        x = np.where(found, x, x + step)
        found |= -step < 1e-12 * x
        if found.all():
            break
    return np.asarray(x)


def fit_prior(
    variances: Floats,
    df: ArrayLike,
    *,
    guess_weight: float = GUESS_WEIGHT,
    there: ArrayLike = True,
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
    there : array_like of bool, broadcast to shape (..., n_people)
        Who is there; of the others nothing is taken.

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
    here = np.broadcast_to(there, variances.shape)
    d = np.where(here, df, 1.0)
    floor = 1e-5 * np.nanmedian(np.where(here, variances, np.nan), axis=-1, keepdims=True)
    e = np.log(np.maximum(variances, floor)) - digamma(d / 2) + np.log(d / 2)
    n = here.sum(axis=-1)
    middle = np.where(here, e, 0.0).sum(axis=-1) / n
    away = np.where(here, e - middle[..., np.newaxis], 0.0)
    chance = np.where(here, polygamma(1, d / 2), 0.0).sum(axis=-1) / n
    excess = (away**2).sum(axis=-1) / (n - 1) - chance
    guess = float(polygamma(1, GUESSED_DF / 2))
    excess = ((n - 1) * excess + guess_weight * guess) / (n - 1 + guess_weight)
    prior_df = 2 * inverse_trigamma(np.maximum(excess, MIN_EXCESS))
    log_variance = middle + digamma(prior_df / 2) - np.log(prior_df / 2)
    return np.asarray(np.exp(log_variance)), np.asarray(prior_df)


def moderate(
    own_variance: ArrayLike,
    own_df: ArrayLike,
    prior_variance: ArrayLike,
    prior_df: ArrayLike,
    n_people: ArrayLike,
    df_of_person: ArrayLike = 0.0,
) -> tuple[Floats, Floats]:
    """Combine people's own scatter with everybody's.

    Parameters
    ----------
    own_variance, own_df : array_like
        Of the baseline.
    df_of_person : array_like
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
