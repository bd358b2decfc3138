"""How far the running mean may go when nothing has changed: the calibrated limits.

The table is made by ``python -m norms.calibration.calibrate``; its first lines say how.
"""

from __future__ import annotations

import csv
from functools import cache, lru_cache
from importlib.resources import files
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from norms.running import Limits

Floats = NDArray[np.float64]

TABLE = "running_mean_limits.csv"

# What a line is on the page, which sets its part of the page's price.
Kind = Literal["headline", "line", "alone"]


class Price(NamedTuple):
    """Part of unchanged people that may ever leave the limits.

    Parameters
    ----------
    to_named, year : float
        In twelve looks, and in fifty-two.
    """

    to_named: float
    year: float


# A page has ten lines: two headlines, and four tasks beneath each. A headline carries most of
# the page's price; a task is told at the price of a line beneath a headline that moved, and
# for the rest by itself at a small share of the page's.
PRICES: dict[Kind, Price] = {
    "headline": Price(0.028, 0.043),
    "line": Price(0.034, 0.0485),
    "alone": Price(0.0008, 0.0015),
}
# What the prices come to for the ten lines of a page together: measured, not added up
# (`norms/verdict-rule.md`).
PAGE_PRICE = Price(0.06, 0.10)


# In a clinic estimates of scatter and autocorrelation keep limits a little wide of themselves;
# the table takes that into account as it is with 30 people. With few they do it less, and with
# 100 and more no longer, so that limits are wider by this (measured on whole clinics).
SIZES, WIDER = (1, 3, 10, 30, 100), (1.0, 1.01, 1.005, 1.0, 1.03)


def wider(n_people: ArrayLike) -> Floats:
    """Return by how much the limits of a clinic of so many pooled people are wider."""
    return np.asarray(np.interp(np.log(np.maximum(n_people, 1)), np.log(SIZES), WIDER))


class Behind(NamedTuple):
    """What stands behind the limits of a look.

    Parameters
    ----------
    df : float
        Behind the moderated standard deviation when the baseline is complete.
    autocorrelation : float
        Of one visit with the next; beyond the table its edge is taken.
    n_people : int
        Pooled; 0 with nobody.
    """

    df: float
    autocorrelation: float = 0.0
    n_people: int = 0


@lru_cache(maxsize=1024)  # people of one pool share theirs
def limits_by_look(behind: tuple[Behind, ...], n_baseline: int, kind: Kind) -> Floats:
    """Read the limit of the running mean at each look, shape (n_looks,)."""
    df, rho, people = np.array(behind, dtype=np.float64).T
    found = limits_of(df, n_baseline=n_baseline, autocorrelation=rho, kind=kind)
    allowed = wider(people) * found.over(len(behind))
    allowed.flags.writeable = False
    return allowed


def limits(
    df: float,
    *,
    n_baseline: int,
    autocorrelation: float = 0.0,
    kind: Kind = "line",
    n_people: int = 0,
) -> Limits:
    """Read the limits for a person.

    Parameters
    ----------
    df : float
        Behind the moderated standard deviation when the baseline is complete.
    n_baseline : int
        Baseline visits; of more than tabulated the last row is taken, which is a little wide.
    autocorrelation : float
        Of one visit with the next; beyond the table its edge is taken.
    kind : {"headline", "line", "alone"}
        Which price the limits keep.
    n_people : int
        Pooled; 0 with nobody.

    Raises
    ------
    ValueError
        If there are fewer baseline visits than the table begins with, or no degree of freedom.
    """
    found = limits_of(
        df, n_baseline=n_baseline, autocorrelation=autocorrelation, kind=kind, n_people=n_people
    )
    return Limits(*(float(np.asarray(limit)) for limit in found))


def limits_of(
    df: ArrayLike,
    *,
    n_baseline: int,
    autocorrelation: ArrayLike = 0.0,
    kind: Kind = "line",
    n_people: int = 0,
) -> Limits:
    """Read the limits for arrays of people; the shapes are broadcast."""
    tables = _tables()
    usable = [k for k, own in tables if own == kind and k <= n_baseline]
    if not usable or not np.all(np.asarray(df) > 0):
        least = min(k for k, _ in tables)
        msg = f"{n_baseline=} must be at least {least} and {df=} above 0"
        raise ValueError(msg)
    table = tables[max(usable), kind]
    rho, inverse_df = np.broadcast_arrays(
        np.clip(autocorrelation, *table.rhos[[0, -1]]),
        np.clip(1 / np.asarray(df, dtype=float), *table.inverse_dfs[[0, -1]]),
    )
    found = wider(n_people) * between(table, rho, inverse_df)
    return Limits(found[..., 0], found[..., 1], found[..., 2])


class Table(NamedTuple):
    """Limits over a grid of autocorrelation and 1/df.

    Parameters
    ----------
    rhos : array, shape (m,)
        Increasing.
    inverse_dfs : array, shape (n,)
        Increasing.
    limits : array, shape (m, n, k)
    """

    rhos: Floats
    inverse_dfs: Floats
    limits: Floats


def between(table: Table, rho: Floats, inverse_df: Floats) -> Floats:
    """Interpolate a table linearly in both directions, inside its edges.

    The same bits as `scipy.interpolate.RegularGridInterpolator`, which loads optimisers and
    sparse matrices: half of what a list took to start.

    Returns
    -------
    array of the shape of `rho`, and k
    """
    places = []
    for grid, value in ((table.rhos, rho), (table.inverse_dfs, inverse_df)):
        below = np.clip(np.searchsorted(grid, value) - 1, 0, len(grid) - 2)
        share = (value - grid[below]) / (grid[below + 1] - grid[below])
        places.append(((below, 1 - share), (below + 1, share)))
    found = np.zeros((*np.shape(rho), table.limits.shape[-1]))
    for i, of_rho in places[0]:
        for j, of_df in places[1]:
            found = found + table.limits[i, j] * (of_rho * of_df)[..., np.newaxis]
    return found


@cache
def _tables() -> dict[tuple[int, str], Table]:
    """Return tables over autocorrelation and 1/df, by number of baseline visits and price."""
    text = (files("norms") / "tables" / TABLE).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    found: dict[tuple[int, str], dict[tuple[float, float], list[float]]] = {}
    for row in csv.DictReader(lines):
        own = found.setdefault((int(row["n_baseline"]), row["kind"]), {})
        place = float(row["autocorrelation"]), 1 / float(row["df"])
        own[place] = [float(row[name]) for name in ("early", "named", "late")]
    tables = {}
    for key, own in found.items():
        rhos, inverse = (np.array(sorted(set(axis))) for axis in zip(*own, strict=True))
        values = np.array([[own[rho, i] for i in inverse] for rho in rhos])
        tables[key] = Table(rhos, inverse, values)
    return tables
