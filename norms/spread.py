"""A person's level and scatter from baseline and later visits, on many people at once.

Everything here takes arrays, so that the page and the simulation call the same functions.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, stdtrit

from norms.autocorrelation import variance_factor

Floats = NDArray[np.float64]

# Expected sample variance of normal visits without the one farthest from their mean, by the
# number of visits, in units of their variance (simulated, a million baselines each).
_WITHOUT_FARTHEST = {
    4: 0.363, 5: 0.458, 6: 0.522, 7: 0.567, 8: 0.604, 9: 0.633, 10: 0.657, 11: 0.678, 12: 0.696
}  # fmt: skip
MIN_FOR_ROBUST = min(_WITHOUT_FARTHEST)
# A baseline visit weighs in full up to the first of these standard deviations from the middle
# of the baseline, less beyond it, nothing beyond the second (a descending weight, Hampel 1974,
# J Am Stat Assoc 69:383-393, from memory); of a scatter that is itself uncertain, Student's t
# in its place.
FULL_WEIGHT_SD, NO_WEIGHT_SD = 2.5, 3.5
# Later visits tell scatter by differences two visits apart, which a slow change hardly enters
# and the resemblance of neighbours less than differences one visit apart. Such differences
# overlap: each is worth about two thirds of a degree of freedom.
LAG = 2
DF_OF_DIFFERENCE = 2 / 3
# No difference counts for more than so many times the typical one.
MAX_DIFFERENCE_SD = 3.0
_MEDIAN_OF_NORMAL = 0.6745
_ROWS = 500  # people at a time: every look needs its own middle


class Spread(NamedTuple):
    """Level and scatter of people as they were known at each look.

    Parameters
    ----------
    centre : ndarray, shape (..., n_looks)
        Of the baseline, visits far from the others weighing less.
    sd : ndarray, shape (..., n_looks)
        Moderated standard deviation of a visit.
    more_df : ndarray, shape (n_looks,)
        Degrees of freedom that later visits had added.
    weights : ndarray, shape (..., n_looks, n_baseline)
        Of the baseline visits, 0 to 1.
    """

    centre: Floats
    sd: Floats
    more_df: Floats
    weights: Floats


def spread(
    baseline: Floats,
    later: Floats,
    *,
    prior_variance: ArrayLike = 0.0,
    prior_df: ArrayLike = 0.0,
    rho: ArrayLike = 0.0,
    told: tuple[Floats, Floats] | None = None,
) -> Spread:
    """Combine a person's baseline, later visits and everybody's scatter, look by look.

    Parameters
    ----------
    baseline : ndarray, shape (..., n_baseline)
        At least two visits, on the scale of comparison.
    later : ndarray, shape (..., n_looks)
        The looks after it. With none, what the baseline alone tells is returned as one look.
    prior_variance, prior_df, rho : array_like, broadcast to shape (..., n_looks)
        Scatter of everybody, what it is worth, and the autocorrelation of visits, as they were
        known at each look; a number holds throughout.
    told : tuple of ndarray, optional
        `differences` of `later`, where they are known already.

    Returns
    -------
    Spread
        Where nothing at all differs, `sd` is 0.

    Notes
    -----
    Sums of squares of three sources are added and divided by their degrees of freedom: the
    prior, the baseline, and differences of later visits two visits apart. Each is freed of what
    the autocorrelation takes from it. The later ones let an uncertain scatter become known
    while the person is watched; a lasting change enters no more than two of them.
    """
    k = baseline.shape[-1]
    rho, prior_df, prior_variance = (
        np.asarray(x, dtype=float) for x in (rho, prior_df, prior_variance)
    )
    factor = variance_factor(k, rho)
    added, more_df = differences(later) if told is None else told
    if not later.shape[-1]:
        added, more_df = np.zeros((*later.shape[:-1], 1)), np.zeros(1)
    known = prior_df * prior_variance + added / (1 - rho**LAG)
    known_df = prior_df + more_df
    weights = baseline_weights(baseline, known, known_df, factor)
    total = weights.sum(axis=-1)
    visits = baseline[..., np.newaxis, :]
    centre = (weights * visits).sum(axis=-1) / total
    squares = (weights * (visits - centre[..., np.newaxis]) ** 2).sum(axis=-1)
    variance = (known + squares / factor) / (known_df + np.maximum(total - 1, 0.5))
    return Spread(centre, np.sqrt(variance), more_df, weights)


def differences(later: Floats, *, from_look: int = 0) -> tuple[Floats, Floats]:
    """Return what differences of later visits had said of scatter at each look.

    Parameters
    ----------
    later : ndarray, shape (..., n_looks)
    from_look : int
        Of looks before this one the squares are not asked for, and are left 0.

    Returns
    -------
    squares : ndarray, shape (..., n_looks)
        Sum of squares that stands for `df` degrees of freedom.
    df : ndarray, shape (n_looks,)
        0 at the first two looks.
    """
    n_looks = later.shape[-1]
    n = n_looks - LAG
    before = max(from_look - LAG, 0)
    squares = np.zeros(later.shape)
    df = DF_OF_DIFFERENCE * np.maximum(np.arange(n_looks) + 1 - LAG, 0)
    if n <= before or later.size == 0:
        return squares, df
    size = np.abs(later[..., LAG:] - later[..., :-LAG]) / np.sqrt(2)
    flat = size.reshape(-1, n)
    capped = [_capped_sums(flat[i : i + _ROWS], before) for i in range(0, len(flat), _ROWS)]
    shape = (*size.shape[:-1], n - before)
    squares[..., LAG + before :] = DF_OF_DIFFERENCE * np.concatenate(capped).reshape(shape)
    return squares, df


def _capped_sums(size: Floats, before: int) -> Floats:
    """Sum the squares of the first differences, none above the cap of that many.

    Of `before` + 1 of them, of one more, and so on.
    """
    n = size.shape[1]
    first = np.tril(np.ones((n, n), dtype=bool))[before:]
    prefixes = np.where(first, size[:, np.newaxis, :], np.inf)
    ordered = np.sort(prefixes, axis=-1)
    counts = np.arange(before + 1, n + 1)
    places = np.stack([(counts - 1) // 2, counts // 2], axis=-1)[np.newaxis]
    middle = np.take_along_axis(ordered, places, axis=-1).mean(axis=-1)
    cap = np.where(middle > 0, MAX_DIFFERENCE_SD * middle / _MEDIAN_OF_NORMAL, np.inf)
    # Added one after another, so that no sum hangs on how many differences follow.
    within = np.minimum(size[:, :, np.newaxis], cap[:, np.newaxis, :])
    return np.asarray((np.where(first.T, within, 0.0) ** 2).cumsum(axis=1)[:, -1])


def baseline_weights(
    baseline: Floats, known: Floats, known_df: ArrayLike, factor: Floats | float
) -> Floats:
    """Return how much each baseline visit counts, 0 to 1.

    Parameters
    ----------
    known, known_df : array_like, shape (..., n_looks)
        Sum of squares and degrees of freedom from elsewhere, freed of autocorrelation.
    factor : array_like, shape (..., n_looks)
        What autocorrelation leaves of the baseline's own variance.

    Returns
    -------
    ndarray, shape (..., n_looks, n_baseline)
        All 1 with fewer than four visits: of three nobody can say which is odd.
    """
    k = baseline.shape[-1]
    if k < MIN_FOR_ROBUST:
        return np.ones((*known.shape, k))
    away = (baseline - baseline.mean(axis=-1, keepdims=True)) ** 2
    total = away.sum(axis=-1)
    left = total - k / (k - 1) * away.max(axis=-1)
    left = np.where(left > 1e-9 * total, left, 0.0)  # visits alike but for one
    constant = _WITHOUT_FARTHEST[min(k, max(_WITHOUT_FARTHEST))]
    df = np.asarray(known_df, dtype=float) + k - 2
    reference = np.sqrt((known + left[..., np.newaxis] / constant / factor) / df)
    full, none = (_student(z, df) * reference for z in (FULL_WEIGHT_SD, NO_WEIGHT_SD))
    far = np.abs(baseline - np.median(baseline, axis=-1, keepdims=True))[..., np.newaxis, :]
    # Compared without dividing by the scatter, as visits may be all alike.
    room = np.where(none > full, none - full, 1.0)[..., np.newaxis]
    weights = np.where(
        far <= full[..., np.newaxis],
        1.0,
        np.clip((none[..., np.newaxis] - far) / room, 0, 1),
    )
    enough = (weights.sum(axis=-1) >= k / 2) & (reference > 0)
    return np.where(enough[..., np.newaxis], weights, 1.0)


def _student(z: float, df: ArrayLike) -> Floats:
    """Return what Student's t exceeds as rarely as a normal value exceeds z; df from 2 up."""
    inverse, values = _student_table(z)
    return np.asarray(np.interp(1 / np.asarray(df, dtype=float), inverse, values))


@cache
def _student_table(z: float) -> tuple[Floats, Floats]:
    """Tabulate it, as it is asked for every person and look."""
    inverse = np.linspace(0.0, 0.5, 1001)
    values = np.concatenate([[z], stdtrit(1 / inverse[1:], ndtr(z))])
    return inverse, values


def spread_of_person(
    baseline: Floats, told: tuple[Floats, Floats], *, rho: ArrayLike = 0.0
) -> tuple[Floats, Floats]:
    """Return people's own variance and its degrees of freedom by look, for pooling.

    The plain variance of the baseline together with the differences of later visits, freed of
    the autocorrelation.

    Parameters
    ----------
    baseline : ndarray, shape (..., n_baseline)
    told : tuple of ndarray, shapes (..., n_looks) and (n_looks,)
        What `differences` had said of scatter by some looks, and its degrees of freedom.
    rho : array_like, broadcast to shape (..., n_looks)

    Returns
    -------
    variance : ndarray, shape (..., n_looks)
    df : ndarray, shape (n_looks,)
    """
    k = baseline.shape[-1]
    rho = np.asarray(rho, dtype=float)
    added, more_df = told
    own = (k - 1) * baseline.var(axis=-1, ddof=1)[..., np.newaxis] / variance_factor(k, rho)
    df = k - 1 + np.asarray(more_df, dtype=float)
    return np.asarray(own + added / (1 - rho**LAG)) / df, df
