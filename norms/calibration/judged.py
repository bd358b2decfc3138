"""The shipped rule on whole clinics at once, by the functions that judge one person."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from norms.autocorrelation import mean_factor, pooled_autocorrelation
from norms.band import LEVELS
from norms.limits import Kind, limits_of
from norms.running import MIN_LOOKS, follow, running_mean
from norms.scatter import MIN_PEOPLE, fit_prior, moderate
from norms.spread import differences, spread, spread_of_person

Floats = NDArray[np.float64]
Ints = NDArray[np.int8]


class Judged(NamedTuple):
    """A clinic's visits as pages see them, each look by what was known then.

    Parameters
    ----------
    changes, sd : ndarray, shape (n_clinics, n_people, n_looks)
        Differences from the own baseline and moderated scatter.
    df : ndarray, shape (n_clinics, n_people, n_looks)
        Behind the scatter when the baseline was complete.
    more_df : ndarray, shape (n_looks,)
        What later visits had added.
    rho : ndarray, shape (n_clinics, 1, n_looks)
    """

    changes: Floats
    sd: Floats
    df: Floats
    more_df: Floats
    rho: Floats


def prepare(visits: Floats, n_baseline: int, *, remedy: bool = True) -> Judged:
    """Take baseline and scatter as `norms.scatter.pool` and `norms.band.band` take them.

    Parameters
    ----------
    visits : ndarray, shape (n_clinics, n_people, n_visits)
        With at least one look after the baseline.
    remedy : bool
        Whether the autocorrelation is estimated from what the clinic has seen so far.
    """
    baseline, later = visits[..., :n_baseline], visits[..., n_baseline:]
    n_clinics, n_people, n_looks = later.shape
    rho, variance, prior_df = (np.zeros((n_clinics, 1, n_looks)) for _ in range(3))
    df = np.full(later.shape, n_baseline - 1.0)
    squares, more_df = differences(later)
    if remedy:
        rhos = [
            pooled_autocorrelation([visits[..., : n_baseline + n]], [n_baseline])
            for n in range(1, n_looks + 1)
        ]
        rho[:, 0] = np.stack(rhos, axis=-1)
    if n_people >= MIN_PEOPLE:
        own, own_df = spread_of_person(baseline, (squares, more_df), rho=rho)
        found = fit_prior(np.swapaxes(own, 1, 2), own_df[:, np.newaxis])
        variance[:, 0], prior_df[:, 0] = found
        df = moderate(own, n_baseline - 1.0, variance, prior_df, n_people, own_df)[1]
        df = np.broadcast_to(df, later.shape)
    seen = spread(
        baseline,
        later,
        prior_variance=variance,
        prior_df=prior_df,
        rho=rho,
        told=(squares, more_df),
    )
    return Judged(later - seen.centre, seen.sd, df, seen.more_df, rho)


class Told(NamedTuple):
    """What a page says after each look, shape (n_clinics, n_people, n_looks).

    Parameters
    ----------
    beyond : dict of str to ndarray of int
        By kind of line: the side the running mean is out on, or 0.
    outside : dict of str to ndarray of int
        By kind of line: the side of the latest visit outside its band, or 0.
    """

    beyond: dict[Kind, Ints]
    outside: dict[Kind, Ints]


def told(
    visits: Floats,
    n_baseline: int,
    *,
    kinds: Sequence[Kind] = ("line",),
    remedy: bool = True,
) -> Told:
    """Return what the page made after each look would say of each person.

    Parameters
    ----------
    visits : ndarray, shape (n_clinics, n_people, n_visits)
    kinds : sequence of {"headline", "line", "alone"}
    remedy : bool
        Whether the autocorrelation is estimated from what the clinic has seen so far.
    """
    seen = prepare(visits, n_baseline, remedy=remedy)
    changes = seen.changes / seen.sd
    steps = running_mean(changes)
    error = np.sqrt(1 + mean_factor(n_baseline, seen.rho))
    beyond: dict[Kind, Ints] = {}
    outside: dict[Kind, Ints] = {}
    for kind in kinds:
        sides, _ = follow(steps, allowed(seen, n_baseline, kind))
        beyond[kind] = sides.astype(np.int8)
        half = stdtrit(seen.df + seen.more_df, (1 + LEVELS[kind]) / 2) * error
        outside[kind] = (np.sign(changes) * (np.abs(changes) > half)).astype(np.int8)
    return Told(beyond, outside)


def allowed(seen: Judged, n_baseline: int, kind: Kind) -> Floats:
    """Return the limit of the running mean at each look."""
    limits = limits_of(
        seen.df,
        n_baseline=n_baseline,
        autocorrelation=seen.rho,
        kind=kind,
        n_people=seen.changes.shape[1],
    )
    return limits.over(seen.changes.shape[-1])


def ratios(
    visits: Floats, n_baseline: int, *, kinds: Sequence[Kind] = ("line",)
) -> dict[Kind, Floats]:
    """Return the running mean over its limit after each look, with its sign.

    Above 1 or below -1 a line leaves its limits; what limits of another width would do is read
    off it. 0 at the first look, which makes no verdict.
    """
    seen = prepare(visits, n_baseline)
    steps = running_mean(seen.changes / seen.sd)
    steps[..., : MIN_LOOKS - 1] = 0.0
    return {kind: steps / allowed(seen, n_baseline, kind) for kind in kinds}


def shipped(visits: Floats, n_baseline: int, *, remedy: bool = True) -> Floats:
    """Return on which side the shipped rule puts a line after each look: 1, -1 or 0."""
    return told(visits, n_baseline, remedy=remedy).beyond["line"].astype(np.float64)
