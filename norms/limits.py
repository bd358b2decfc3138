"""How far the running mean may go when nothing has changed: the calibrated limits.

The table is made by ``python -m norms.calibrate``; its first lines say how.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

TABLE = "running_mean_limits.csv"
# Of each new visit in the running mean of the visits since baseline.
NEWEST_WEIGHT = 0.25
# Visits since baseline for which the limits hold; at the last of them comes the look named
# beforehand, with the inner limit.
N_LOOKS = 12
LEAST_LOOKS = 2


class Limits(NamedTuple):
    """Limits of the running mean, in units of the moderated standard deviation.

    Parameters
    ----------
    outer : float
        Holds at every visit since baseline.
    inner : float
        Holds at the look named beforehand, the twelfth visit since baseline.
    """

    outer: float
    inner: float


class _Table(NamedTuple):
    n_baseline: NDArray[np.float64]
    autocorrelation: NDArray[np.float64]
    inverse_df: dict[int, NDArray[np.float64]]  # by number of baseline visits
    limits: dict[int, NDArray[np.float64]]  # (autocorrelation, inverse df, outer and inner)


@cache
def _table() -> _Table:
    text = (files("norms") / "tables" / TABLE).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    rows = [{k: float(v) for k, v in row.items()} for row in csv.DictReader(lines)]
    n_baseline = sorted({int(row["n_baseline"]) for row in rows})
    rhos = sorted({row["autocorrelation"] for row in rows})
    inverse: dict[int, NDArray[np.float64]] = {}
    limits: dict[int, NDArray[np.float64]] = {}
    for k in n_baseline:
        own = [row for row in rows if row["n_baseline"] == k]
        inverse[k] = np.array(sorted({1 / row["df"] for row in own}))
        found = {(row["autocorrelation"], 1 / row["df"]): row for row in own}
        limits[k] = np.array(
            [
                [[found[rho, i][name] for name in Limits._fields] for i in inverse[k]]
                for rho in rhos
            ]
        )
    return _Table(np.array(n_baseline, float), np.array(rhos), inverse, limits)


def limits(df: float, *, n_baseline: int, autocorrelation: float = 0.0) -> Limits:
    """Read the limits for a person's degrees of freedom.

    Parameters
    ----------
    df : float
        Behind the moderated standard deviation.
    n_baseline : int
        Baseline visits; of more than tabulated the last row is taken, which is a little wide.
    autocorrelation : float
        Of one visit with the next; beyond the table its edge is taken.

    Raises
    ------
    ValueError
        If there are fewer baseline visits than the table begins with, or no degree of freedom.
    """
    table = _table()
    usable = table.n_baseline[table.n_baseline <= n_baseline]
    if not usable.size or not df > 0:
        msg = f"{n_baseline=} must be at least {table.n_baseline[0]:.0f} and {df=} above 0"
        raise ValueError(msg)
    k = int(usable[-1])
    by_rho = [
        [
            np.interp(1 / df, table.inverse_df[k], table.limits[k][i, :, column])
            for i in range(len(table.autocorrelation))
        ]
        for column in range(2)
    ]
    outer, inner = (
        float(np.interp(autocorrelation, table.autocorrelation, values)) for values in by_rho
    )
    return Limits(outer, inner)


def limits_of(
    df: NDArray[np.float64],
    *,
    n_baseline: int,
    autocorrelation: NDArray[np.float64] | float = 0.0,
) -> NDArray[np.float64]:
    """Read the limits for arrays of the same shape; the last axis is outer, inner."""
    pairs = np.broadcast_arrays(df, autocorrelation)
    flat = [
        limits(float(d), n_baseline=n_baseline, autocorrelation=float(rho))
        for d, rho in zip(pairs[0].ravel(), pairs[1].ravel(), strict=True)
    ]
    return np.array(flat).reshape(*pairs[0].shape, 2)


def running_mean(changes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Average changes from baseline, the newest weighing most, from 0 at baseline.

    Parameters
    ----------
    changes : ndarray, shape (..., n_visits)
        Differences from the baseline mean, in order of visits.

    Returns
    -------
    ndarray, shape (..., n_visits)
        Exponentially weighted moving average [1]_ after each visit. It starts at 0, so that
        few visits move it little: divide by `weight_so_far` for a mean.

    References
    ----------
    .. [1] Roberts SW (1959). Control chart tests based on geometric moving averages.
       Technometrics 1:239-250.
    """
    out = np.empty_like(changes, dtype=float)
    now = np.zeros(changes.shape[:-1])
    for i in range(changes.shape[-1]):
        now = (1 - NEWEST_WEIGHT) * now + NEWEST_WEIGHT * changes[..., i]
        out[..., i] = now
    return out


def weight_so_far(n_visits: int) -> float:
    """Return how much of the running mean has been filled by n visits, 0 to 1."""
    return float(1 - (1 - NEWEST_WEIGHT) ** n_visits)
