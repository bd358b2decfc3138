"""Makes the table of limits of the running mean: ``python -m norms.calibration.calibrate``.

Unchanged people are drawn as the moderated scatter supposes them (normal visits, variances
scaled inverse chi-squared between people, first-order autoregression between visits), judged
over a year of looks by the functions that judge people, and the limits read off as quantiles.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from norms.autocorrelation import correlation
from norms.limits import PRICES, TABLE, Kind, Price
from norms.running import (
    MAX_CHANGE_SD,
    MIN_LOOKS,
    N_LOOKS,
    NEWEST_WEIGHT,
    RULE_VERSION,
    YEAR_LOOKS,
    Limits,
    running_mean,
)
from norms.spread import differences, spread

SEED = 20261126
N_PEOPLE = 40_000
# Of the price until the look named beforehand, the part spent on the weekly watch before it.
WATCH = 0.35
# Here everybody's scatter and the autocorrelation are known; in a clinic they are estimated,
# which moves small prices up and, where degrees of freedom are paid for it, larger ones down.
# What whole clinics were measured to spend is aimed at by so many times the price, with nobody
# to pool and with people to pool.
AIMS: Mapping[Kind, tuple[float, float]] = {
    "headline": (0.96, 1.17),
    "line": (0.99, 1.00),
    "alone": (0.82, 0.80),
}
N_BASELINE = (2, 3, 4, 6, 8)
AUTOCORRELATION = (0.0, 0.1, 0.2, 0.3, 0.45, 0.6, 0.7)
PRIOR_DF = (0.0, 1.0, 3.0, 8.0, 20.0, 1e6)


def paths(
    generator: np.random.Generator, n_people: int, n_visits: int, rho: float
) -> NDArray[np.float64]:
    """Draw unchanged people's visits of variance 1, shape (n_people, n_visits)."""
    half = np.linalg.cholesky(correlation(n_visits, rho))
    return np.asarray(generator.standard_normal((n_people, n_visits)) @ half.T)


def running_means(
    visits: NDArray[np.float64],
    n_baseline: int,
    prior_df: float,
    rho: float,
    *,
    told: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
) -> NDArray[np.float64]:
    """Return the running mean after each look, in standard deviations.

    The prior is known: its variance is 1. Shape (n_people, n_looks).
    """
    baseline, later = visits[:, :n_baseline], visits[:, n_baseline:]
    own = spread(baseline, later, prior_variance=1.0, prior_df=prior_df, rho=rho, told=told)
    return running_mean((later - own.centre) / own.sd)


def limits_at(told: NDArray[np.float64], price: Price) -> Limits:
    """Read off the limits that so many of the unchanged leave."""
    size = np.abs(told)
    n_people = len(size)
    before = size[:, MIN_LOOKS - 1 : N_LOOKS - 1].max(axis=1)
    named = size[:, N_LOOKS - 1]
    after = size[:, N_LOOKS:].max(axis=1)
    early = _exceeded_by(before, WATCH * price.to_named * n_people)
    inside = before <= early
    left = price.to_named * n_people - (~inside).sum()
    inner = _exceeded_by(named[inside], left)
    inside &= named <= inner
    late = _exceeded_by(after[inside], price.year * n_people - (~inside).sum())
    return Limits(early, inner, late)


def _exceeded_by(sizes: NDArray[np.float64], count: float) -> float:
    """Return the value that so many of the sizes exceed, between two of them if need be."""
    return float(np.quantile(sizes, np.clip(1 - count / len(sizes), 0, 1)))


def limits_by_prior(
    n_baseline: int, rho: float, *, n_people: int = N_PEOPLE, seed: int = SEED
) -> list[tuple[float, Kind, Limits]]:
    """Return (degrees of freedom, price, limits) for each worth of the prior.

    The prior degrees of freedom d0 and its variance are known here; a person's variance is
    then ``d0/chi²(d0)``.
    """
    generator = np.random.default_rng([seed, n_baseline, round(1000 * rho)])
    visits = paths(generator, n_people, n_baseline + YEAR_LOOKS, rho)
    squares, more_df = differences(visits[:, n_baseline:])
    rows = []
    for d0 in PRIOR_DF:
        sd = np.sqrt(d0 / generator.chisquare(d0, n_people)) if d0 else np.ones(n_people)
        sd = sd[:, np.newaxis]
        told = running_means(visits * sd, n_baseline, d0, rho, told=(squares * sd**2, more_df))
        for kind, price in PRICES.items():
            aim = AIMS[kind][d0 > 0]
            aimed = Price(aim * price.to_named, aim * price.year)
            rows.append((d0 + n_baseline - 1.0, kind, limits_at(told, aimed)))
    return rows


def smoothed(
    found: Mapping[tuple[float, float, Kind], Limits],
) -> dict[tuple[float, float, Kind], NDArray[np.float64]]:
    """Take chance out of limits that change evenly from place to place.

    Logarithms of each limit are fitted by a polynomial of second degree in the autocorrelation
    and in 1/df with their products, for each kind by itself: nine numbers for 42 places.
    """
    smooth: dict[tuple[float, float, Kind], NDArray[np.float64]] = {}
    for kind in PRICES:
        places = [place for place in found if place[2] == kind]
        rho = np.array([place[0] for place in places])
        inverse = np.array([1 / place[1] for place in places])
        basis = np.column_stack([rho**i * inverse**j for i in range(3) for j in range(3)])
        values = np.log(np.array([[float(np.asarray(x)) for x in found[p]] for p in places]))
        fitted = np.exp(basis @ np.linalg.lstsq(basis, values, rcond=None)[0])
        smooth |= dict(zip(places, fitted, strict=True))
    return {place: smooth[place] for place in found}


def table_text(*, n_people: int = N_PEOPLE) -> str:
    """Return the whole table with the lines that say how it was made."""
    prices = "; ".join(
        f"{kind} {price.to_named:.2%} in {N_LOOKS} looks, {price.year:.2%} in {YEAR_LOOKS}"
        for kind, price in PRICES.items()
    )
    aims = "; ".join(f"{kind} {x:g} and {y:g}" for kind, (x, y) in AIMS.items())
    head = (
        f"# Rule version {RULE_VERSION}: limits of the running mean of changes since baseline, "
        f"in standard deviations of a visit; newest visit weighs {NEWEST_WEIGHT}, changes are "
        f"cut at {MAX_CHANGE_SD:g}.\n"
        f"# Unchanged people who leave them in a clinic: {prices}. Aimed at here, times that, "
        f"nobody to pool and pooled: {aims}.\n"
        f"# early: looks {MIN_LOOKS} to {N_LOOKS - 1}; named: look {N_LOOKS}; late: after "
        "it.\n"
        f"# Simulated by python -m norms.calibration.calibrate with {n_people} people a row, "
        f"seed {SEED}, then smoothed.\n"
        "n_baseline,autocorrelation,df,kind,early,named,late\n"
    )
    lines = []
    for k in N_BASELINE:
        found = {
            (rho, df, kind): made
            for rho in AUTOCORRELATION
            for df, kind, made in limits_by_prior(k, rho, n_people=n_people)
        }
        lines += [
            f"{k},{rho},{df:g},{kind},{','.join(f'{x:.3f}' for x in made)}\n"
            for (rho, df, kind), made in smoothed(found).items()
        ]
    return head + "".join(lines)


def main() -> int:
    """Write the table where the program reads it."""
    path = Path(__file__).parents[1] / "tables" / TABLE
    text = table_text()
    path.write_text(text, encoding="utf-8")
    sys.stdout.write(f"{path.name}: {text.count(chr(10)) - 5} rows\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
