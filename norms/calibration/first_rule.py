"""The first version of the rule, kept to be compared with: what pages said before.

Four baseline visits only. Changes were not cut, baseline and scatter were the plain mean and
variance, every line had one price for twelve looks, and a step at the end of the baseline could
be taken for dependence of weeks.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RegularGridInterpolator
from scipy.special import stdtrit

from norms.autocorrelation import pooled_autocorrelation
from norms.calibration.judged import Told
from norms.limits import Kind
from norms.running import MIN_LOOKS, N_LOOKS, ewma
from norms.scatter import MIN_PEOPLE, fit_prior, moderate

Floats = NDArray[np.float64]

WEIGHT = 0.25
MIN_SERIES_DF = 30
BAND_LEVEL = 0.95
TABLE = "first_rule_limits.csv"


def told(visits: Floats, n_baseline: int, *, kinds: tuple[Kind, ...] = ("line",)) -> Told:
    """Return what a page of the first rule made after each look would say.

    Parameters
    ----------
    visits : ndarray, shape (n_clinics, n_people, n_visits)
    kinds : tuple of {"headline", "line", "alone"}
        All lines had one price; every kind gets the same.

    Raises
    ------
    ValueError
        For another number of baseline visits than four.
    """
    if n_baseline != 4:
        msg = f"{n_baseline=}; the first rule is kept for 4 baseline visits only"
        raise ValueError(msg)
    baseline, later = visits[..., :n_baseline], visits[..., n_baseline:]
    n_people, n_looks = visits.shape[1], later.shape[-1]
    own = baseline.var(axis=-1, ddof=1)
    variance, df = own, np.full(own.shape, n_baseline - 1.0)
    if n_people >= MIN_PEOPLE:
        prior_variance, prior_df = fit_prior(own, n_baseline - 1.0)
        variance, df = moderate(
            own, n_baseline - 1.0, prior_variance[:, None], prior_df[:, None], n_people
        )
        df = np.broadcast_to(df, own.shape)
    sd = np.sqrt(variance)
    changes = (later - baseline.mean(axis=-1, keepdims=True)) / sd[..., np.newaxis]
    steps = ewma(changes, start=0.0, weight=WEIGHT)
    beyond = np.zeros(later.shape, dtype=np.int8)
    for n in range(1, n_looks + 1):
        rho = np.zeros((len(visits), 1))
        n_visits = n_baseline + n
        degree = 0 if n_visits < 6 else 1 if n_visits < 10 else 2
        series_df = n_people * (min(n_visits, 26) - degree - 1)
        if n_people >= MIN_PEOPLE and series_df >= MIN_SERIES_DF:
            rho[:, 0] = pooled_autocorrelation([visits[..., :n_visits]], guessed_mean=np.inf)
        outer, inner = _limits(df, rho)
        beyond[..., n - 1] = _follow(steps[..., :n], outer, inner)
    # Of the newest visit; what autocorrelation did to the band is left out.
    half = stdtrit(df, (1 + BAND_LEVEL) / 2) * np.sqrt(1 + 1 / n_baseline)
    out = (np.sign(changes) * (np.abs(changes) > half[..., np.newaxis])).astype(np.int8)
    return Told(dict.fromkeys(kinds, beyond), dict.fromkeys(kinds, out))


def _follow(steps: Floats, outer: Floats, inner: Floats) -> NDArray[np.int8]:
    side = np.zeros(steps.shape[:-1], dtype=np.int8)
    for n in range(1, steps.shape[-1] + 1):
        step = steps[..., n - 1]
        here = np.where(step < 0, -1, 1).astype(np.int8)
        back = (side != 0) & ((here != side) | (np.abs(step) <= inner))
        side = np.where(back, 0, side).astype(np.int8)
        limit = inner if n == N_LOOKS else outer
        leaves = (n >= MIN_LOOKS) & (np.abs(step) > limit) & (side == 0)
        side = np.where(leaves, here, side).astype(np.int8)
    return side


def _limits(df: ArrayLike, rho: ArrayLike) -> tuple[Floats, Floats]:
    table = _table()
    r, inverse = np.broadcast_arrays(
        np.clip(rho, *table.grid[0][[0, -1]]),
        np.clip(1 / np.asarray(df, dtype=float), *table.grid[1][[0, -1]]),
    )
    found = np.asarray(table(np.stack([r, inverse], axis=-1))).reshape(*r.shape, 2)
    return found[..., 0], found[..., 1]


@cache
def _table() -> RegularGridInterpolator:
    text = (files("norms") / "calibration" / TABLE).read_text(encoding="utf-8")
    rows = list(csv.DictReader(x for x in text.splitlines() if not x.startswith("#")))
    own = {
        (float(row["autocorrelation"]), 1 / float(row["df"])): (
            float(row["outer"]),
            float(row["inner"]),
        )
        for row in rows
    }
    rhos, inverse = (np.array(sorted(set(axis))) for axis in zip(*own, strict=True))
    values = np.array([[own[r, i] for i in inverse] for r in rhos])
    return RegularGridInterpolator((rhos, inverse), values)
