"""How far the running mean may go when nothing has changed: the calibrated limits.

The table is made by ``python -m norms.calibration.calibrate``; its first lines say how.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RegularGridInterpolator

TABLE = "running_mean_limits.csv"


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
    outer, inner = limits_of(df, n_baseline=n_baseline, autocorrelation=autocorrelation)
    return Limits(float(outer), float(inner))


def limits_of(
    df: ArrayLike, *, n_baseline: int, autocorrelation: ArrayLike = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Read outer and inner limits for arrays of people; the shapes are broadcast."""
    tables = _tables()
    usable = [k for k in tables if k <= n_baseline]
    if not usable or not np.all(np.asarray(df) > 0):
        msg = f"{n_baseline=} must be at least {min(tables)} and {df=} above 0"
        raise ValueError(msg)
    table = tables[max(usable)]
    rho, inverse_df = np.broadcast_arrays(
        np.clip(autocorrelation, *table.grid[0][[0, -1]]),
        np.clip(1 / np.asarray(df, dtype=float), *table.grid[1][[0, -1]]),
    )
    found = np.asarray(table(np.stack([rho, inverse_df], axis=-1)))
    found = found.reshape(*rho.shape, 2)
    return found[..., 0], found[..., 1]


@cache
def _tables() -> dict[int, RegularGridInterpolator]:
    """Return one table per number of baseline visits, over autocorrelation and 1/df."""
    text = (files("norms") / "tables" / TABLE).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    rows = [{k: float(v) for k, v in row.items()} for row in csv.DictReader(lines)]
    tables = {}
    for k in sorted({int(row["n_baseline"]) for row in rows}):
        own = {
            (row["autocorrelation"], 1 / row["df"]): [row["outer"], row["inner"]]
            for row in rows
            if row["n_baseline"] == k
        }
        rhos, inverse = (np.array(sorted(set(axis))) for axis in zip(*own, strict=True))
        values = np.array([[own[rho, i] for i in inverse] for rho in rhos])
        tables[k] = RegularGridInterpolator((rhos, inverse), values)
    return tables
