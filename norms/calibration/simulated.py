"""Made-up series of visits with known truth: whole clinics at once, as arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from norms.autocorrelation import correlation
from norms.running import N_LOOKS

Floats = NDArray[np.float64]

# How far a visit on a bad day lies from the others.
OUTLIER_SD = 4.0


@dataclass(frozen=True, slots=True)
class Clinic:
    """What a clinic's people are like.

    Parameters
    ----------
    n_people : int
        Pooled together.
    n_baseline, n_looks : int
        Visits of baseline, and after it. Familiarisation comes before and is not drawn.
    scatter_df : float
        How alike people are in scatter: variances are scaled inverse chi-squared with these
        degrees of freedom. 8: nine in ten standard deviations lie within a factor of 1.6 either
        way of the middle one. Infinite: all alike.
    autocorrelation : float
        Of one week with the next.
    heavy_df : float
        Student's t of these degrees of freedom in place of the normal errors; infinite: normal.
    skew : float
        Log-normal errors whose logarithm has this standard deviation; negative for the long
        tail downwards. 0: none.
    outliers : float
        Part of visits that lie 4 own standard deviations higher: a bad day where lower is
        better.
    bad_baseline : bool
        Whether one baseline visit of a tenth of the people (the first of each clinic, one at
        least: `n_bad`) lies so.
    later_scatter : float
        By how much visits after the baseline scatter more.
    missed : float
        Part of weeks without a visit; the visits are drawn from so many more weeks.
    n_tasks : int
        Tasks a visit, for a composite.
    between_tasks : float
        Correlation of the tasks' errors within a visit.
    """

    n_people: int = 30
    n_baseline: int = 4
    n_looks: int = N_LOOKS
    scatter_df: float = 8.0
    autocorrelation: float = 0.0
    heavy_df: float = np.inf
    skew: float = 0.0
    outliers: float = 0.0
    bad_baseline: bool = False
    later_scatter: float = 1.0
    missed: float = 0.0
    n_tasks: int = 1
    between_tasks: float = 0.3

    @property
    def n_bad(self) -> int:
        """People of a clinic with a bad baseline visit, where there are any."""
        return max(1, self.n_people // 10)


def draw(
    clinic: Clinic, n_people: int, generator: np.random.Generator
) -> tuple[Floats, Floats]:
    """Draw unchanged people.

    Parameters
    ----------
    n_people : int
        At least so many in all, in whole clinics.

    Returns
    -------
    visits : ndarray, shape (n_clinics, clinic.n_people, n_tasks, n_visits)
        Differences from each person's own level.
    sd : ndarray, shape (n_clinics, clinic.n_people, n_tasks)
        Each person's true standard deviation of a visit, around 1.
    """
    n_clinics = -(-n_people // clinic.n_people)
    n_visits = clinic.n_baseline + clinic.n_looks
    n_weeks = round(n_visits / (1 - clinic.missed))
    shape = (n_clinics, clinic.n_people, clinic.n_tasks)
    errors = generator.standard_normal((*shape, n_weeks))
    if clinic.n_tasks > 1:
        between = np.full((clinic.n_tasks, clinic.n_tasks), clinic.between_tasks)
        np.fill_diagonal(between, 1.0)
        errors = np.einsum("ij,cpjv->cpiv", np.linalg.cholesky(between), errors)
    if np.isfinite(clinic.heavy_df):
        scale = (clinic.heavy_df - 2) / generator.chisquare(clinic.heavy_df, errors.shape)
        errors = errors * np.sqrt(scale)
    if clinic.autocorrelation:
        half = np.linalg.cholesky(correlation(n_weeks, clinic.autocorrelation))
        errors = errors @ half.T
    if clinic.skew:
        errors = _skewed(errors, clinic.skew)
    if n_weeks > n_visits:
        kept = generator.random((n_clinics, n_weeks)).argsort(axis=1)[:, :n_visits]
        places = np.sort(kept, axis=1)[:, np.newaxis, np.newaxis]
        errors = np.take_along_axis(errors, places, axis=-1)
    errors[..., clinic.n_baseline :] *= clinic.later_scatter
    # A bad day is bad in every task.
    odd = generator.random((*shape[:2], 1, n_visits)) < clinic.outliers
    if clinic.bad_baseline:
        which = generator.integers(0, clinic.n_baseline, shape[:2])
        bad = (np.arange(n_visits) == which[..., np.newaxis])[:, :, np.newaxis]
        bad[:, clinic.n_bad :] = False
        odd |= bad
    errors += OUTLIER_SD * odd
    sd = np.ones(shape)
    if np.isfinite(clinic.scatter_df):
        sd = np.sqrt(clinic.scatter_df / generator.chisquare(clinic.scatter_df, shape))
    return errors * sd[..., np.newaxis], sd


def _skewed(normal: Floats, width: float) -> Floats:
    """Turn normal errors into log-normal ones of mean 0 and variance 1."""
    size = abs(width)
    raw = np.exp(np.sign(width) * size * normal)
    spread = np.sqrt(np.expm1(size**2)) * np.exp(size**2 / 2)
    return np.asarray(np.sign(width) * (raw - np.exp(size**2 / 2)) / spread)


def ramp(n_looks: int = N_LOOKS) -> Floats:
    """Return a change that grows evenly from 0 at baseline to 1 at look 12, and stays."""
    return np.minimum(np.arange(1, n_looks + 1) / N_LOOKS, 1.0)


def step(n_looks: int = N_LOOKS) -> Floats:
    """Return a change that is there in full from the first visit after baseline."""
    return np.ones(n_looks)


def rounding_off(n_looks: int = N_LOOKS) -> Floats:
    """Return a change that comes fast and rounds off: 63 % of it in the first third."""
    rise = 1 - np.exp(-np.arange(1, n_looks + 1) / (n_looks / 3))
    return np.asarray(rise / rise[-1])


def late(n_looks: int = N_LOOKS) -> Floats:
    """Return a change that begins half-way and then grows evenly."""
    return np.maximum(0, ramp(n_looks) - 0.5) * 2


def learning(n_visits: int, *, gone_in: float = 6.0) -> Floats:
    """Return what is still to be learned at each visit, from 1 at the first.

    Exponential; 95 % of it is gone after `gone_in` visits.
    """
    return np.asarray(np.exp(-3 * np.arange(n_visits) / gone_in))
