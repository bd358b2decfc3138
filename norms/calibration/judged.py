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
    """A clinic's visits as the page sees them after some look.

    Parameters
    ----------
    changes, sd : ndarray, shape (n_clinics, n_people, n_looks)
        Differences from the own baseline and moderated scatter, as known at each look.
    df : ndarray, shape (n_clinics, n_people)
        Behind the scatter when the baseline was complete.
    more_df : float
        What later visits added.
    rho : ndarray, shape (n_clinics, 1)
    """

    changes: Floats
    sd: Floats
    df: Floats
    more_df: float
    rho: Floats


def prepare(
    visits: Floats,
    n_baseline: int,
    *,
    remedy: bool = True,
    told: tuple[Floats, Floats] | None = None,
) -> Judged:
    """Take baseline and scatter as `norms.scatter.pool` and `norms.band.band` take them.

    Parameters
    ----------
    told : tuple of ndarray, optional
        `norms.spread.differences` of the later visits, where they are known already.
    """
    baseline, later = visits[..., :n_baseline], visits[..., n_baseline:]
    n_clinics, n_people = visits.shape[:2]
    rho = np.zeros((n_clinics, 1))
    if remedy:
        rho[:, 0] = pooled_autocorrelation([visits], [n_baseline])
    prior_variance = prior_df = np.zeros((n_clinics, 1))
    df = np.full((n_clinics, n_people), n_baseline - 1.0)
    told = told or differences(later)
    if n_people >= MIN_PEOPLE:
        own, own_df = spread_of_person(baseline, later, rho=rho, told=told)
        prior_variance, prior_df = (x[:, np.newaxis] for x in fit_prior(own, own_df))
        df = np.broadcast_to(
            moderate(own, n_baseline - 1.0, prior_variance, prior_df, n_people, own_df)[1],
            df.shape,
        )
    seen = spread(
        baseline,
        later,
        prior_variance=prior_variance,
        prior_df=prior_df,
        rho=rho,
        told=told,
    )
    return Judged(later - seen.centre, seen.sd, df, float(seen.more_df[-1]), rho)


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
    shape = (*visits.shape[:2], visits.shape[2] - n_baseline)
    beyond = {kind: np.zeros(shape, dtype=np.int8) for kind in kinds}
    outside = {kind: np.zeros(shape, dtype=np.int8) for kind in kinds}
    squares, df = differences(visits[..., n_baseline:])
    for n in range(1, shape[-1] + 1):
        seen = prepare(
            visits[..., : n_baseline + n],
            n_baseline,
            remedy=remedy,
            told=(squares[..., :n], df[:n]),
        )
        changes = seen.changes / seen.sd
        steps, latest = running_mean(changes), changes[..., -1]
        error = np.sqrt(1 + mean_factor(n_baseline, seen.rho))
        for kind in kinds:
            allowed = limits_of(
                seen.df,
                n_baseline=n_baseline,
                autocorrelation=seen.rho,
                kind=kind,
                n_people=visits.shape[1],
            )
            beyond[kind][..., n - 1] = follow(steps, allowed)[0][..., -1]
            half = stdtrit(seen.df + seen.more_df, (1 + LEVELS[kind]) / 2) * error
            outside[kind][..., n - 1] = np.sign(latest) * (np.abs(latest) > half)
    return Told(beyond, outside)


def ratios(
    visits: Floats, n_baseline: int, *, kinds: Sequence[Kind] = ("line",)
) -> dict[Kind, Floats]:
    """Return the running mean over its limit after each look, with its sign.

    Above 1 or below -1 a line leaves its limits; what limits of another width would do is read
    off it. 0 at the first look, which makes no verdict.
    """
    shape = (*visits.shape[:2], visits.shape[2] - n_baseline)
    found = {kind: np.zeros(shape) for kind in kinds}
    squares, df = differences(visits[..., n_baseline:])
    for n in range(MIN_LOOKS, shape[-1] + 1):
        seen = prepare(
            visits[..., : n_baseline + n], n_baseline, told=(squares[..., :n], df[:n])
        )
        newest = running_mean(seen.changes / seen.sd)[..., -1]
        for kind in kinds:
            allowed = limits_of(
                seen.df,
                n_baseline=n_baseline,
                autocorrelation=seen.rho,
                kind=kind,
                n_people=visits.shape[1],
            )
            found[kind][..., n - 1] = newest / np.asarray(allowed.at(n), dtype=np.float64)
    return found


def shipped(visits: Floats, n_baseline: int, *, remedy: bool = True) -> Floats:
    """Return on which side the shipped rule puts a line after each look: 1, -1 or 0."""
    return told(visits, n_baseline, remedy=remedy).beyond["line"].astype(np.float64)
