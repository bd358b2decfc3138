"""Makes the table of limits of the running mean: ``python -m norms.calibration.calibrate``.

Unchanged people are drawn as the moderated scatter supposes them (normal visits, variances
scaled inverse chi-squared between people, first-order autoregression between visits), judged
over twelve looks, and the limits read off as quantiles.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from norms.autocorrelation import baseline_factors, correlation
from norms.limits import TABLE
from norms.running import MIN_LOOKS, N_LOOKS, NEWEST_WEIGHT, running_mean

SEED = 20261125
N_PEOPLE = 400_000
# Aimed at 4.5 % in all, so that 5 % hold where the prior is an estimate; 3 of 5 parts go to the
# weekly watch, the rest to the look named beforehand.
ALL_LOOKS = 0.045
WATCH = 0.6 * ALL_LOOKS
N_BASELINE = (2, 3, 4, 5, 6, 8)
AUTOCORRELATION = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7)
PRIOR_DF = (0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 40.0, 1e6)


def paths(
    generator: np.random.Generator, n_people: int, n_visits: int, rho: float
) -> NDArray[np.float64]:
    """Draw unchanged people's visits of variance 1, shape (n_people, n_visits)."""
    half = np.linalg.cholesky(correlation(n_visits, rho))
    return np.asarray(generator.standard_normal((n_people, n_visits)) @ half.T)


def limits_by_prior(
    n_baseline: int, rho: float, *, n_people: int = N_PEOPLE, seed: int = SEED
) -> list[tuple[float, float, float]]:
    """Return (degrees of freedom, outer limit, inner limit) for each worth of the prior.

    The prior degrees of freedom d0 and its variance are known here. A person's variance is
    then ``d0/chi²(d0)``, and what is judged by is ``(d0 + (k-1) s²)/(d0 + k-1)``.
    """
    generator = np.random.default_rng([seed, n_baseline, round(1000 * rho)])
    visits = paths(generator, n_people, n_baseline + N_LOOKS, rho)
    baseline = visits[:, :n_baseline]
    means = running_mean(visits[:, n_baseline:] - baseline.mean(axis=1, keepdims=True))
    furthest = np.abs(means[:, MIN_LOOKS - 1 :]).max(axis=1)
    last = np.abs(means[:, -1])
    own, own_df = baseline.var(axis=1, ddof=1), n_baseline - 1
    expected, _ = baseline_factors(n_baseline, rho)
    rows = []
    for d0 in PRIOR_DF:
        person = d0 / generator.chisquare(d0, n_people) if d0 else np.ones(n_people)
        variance = (d0 * expected + own_df * own * person) / (d0 + own_df)
        scale = np.sqrt(person / variance)
        outer = float(np.quantile(furthest * scale, 1 - WATCH))
        unseen = np.sort((last * scale)[furthest * scale <= outer])
        n_left = round(ALL_LOOKS * n_people) - (n_people - len(unseen))
        rows.append((d0 + own_df, outer, float(unseen[-n_left])))
    return rows


def table_text() -> str:
    """Return the whole table with the lines that say how it was made."""
    head = (
        "# Limits of the running mean of changes since baseline, in moderated standard "
        f"deviations; newest visit weighs {NEWEST_WEIGHT}.\n"
        f"# {ALL_LOOKS:.1%} of unchanged people leave them in {N_LOOKS} looks: {WATCH:.1%} the "
        "outer limit at any look, the others the inner one at the last look.\n"
        f"# Simulated by python -m norms.calibration.calibrate with {N_PEOPLE} people a row, "
        f"seed {SEED}.\n"
        "n_baseline,autocorrelation,df,outer,inner\n"
    )
    lines = [
        f"{k},{rho},{df:g},{outer:.3f},{inner:.3f}\n"
        for k in N_BASELINE
        for rho in AUTOCORRELATION
        for df, outer, inner in limits_by_prior(k, rho)
    ]
    return head + "".join(lines)


def main() -> int:
    """Write the table where the program reads it."""
    path = Path(__file__).parents[1] / "tables" / TABLE
    text = table_text()
    path.write_text(text, encoding="utf-8")
    sys.stdout.write(f"{path.name}: {text.count(chr(10)) - 4} rows\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
