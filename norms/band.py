"""The error band: how far one visit may lie from baseline without anything having changed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from scipy.special import stdtrit

from norms.autocorrelation import baseline_factors
from norms.scatter import OutsideSem, Prior, moderate, pool, transform

# Of one look at one visit. Twelve looks meet it far more often, so it says "possible" at most.
LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Band:
    """Baseline plus and minus measurement error of one visit, in the measure's unit.

    Parameters
    ----------
    centre, low, high : float
    log_scale : bool
        Whether it was computed on logarithms; then it is wider upwards.
    df : float
        Degrees of freedom behind the scatter.
    n_baseline : int
    n_people : int
        People behind the pooled scatter; 0 when the person's own scatter stands alone, which
        is provisional and wide.
    sd : float
        Moderated standard deviation of a visit on the scale of comparison.
    autocorrelation : float
        Of one visit with the next, as far as it is known.
    source : str
        Of an outside standard error of measurement; empty where the scatter was measured here.
    n_visits : int
        Baseline visits behind the scatter, everybody's together; 0 for an outside one.
    """

    centre: float
    low: float
    high: float
    log_scale: bool
    df: float
    n_baseline: int
    n_people: int
    sd: float = math.nan
    autocorrelation: float = 0.0
    source: str = ""
    n_visits: int = 0

    @property
    def provisional(self) -> bool:
        """Whether the person's own scatter stands alone."""
        return self.n_people == 0 and not self.source

    @property
    def percent(self) -> tuple[float, float]:
        """How far down and up the band reaches, percent of the centre; nan if that is 0."""
        if self.centre == 0:
            return math.nan, math.nan
        size = abs(self.centre)
        return 100 * (self.low - self.centre) / size, 100 * (self.high - self.centre) / size

    def side(self, value: float) -> int:
        """1 above the band, -1 below it, 0 inside."""
        return int(value > self.high) - int(value < self.low)

    def change(self, value: float) -> float:
        """Return the difference from the centre on the scale of comparison."""
        return math.log(value / self.centre) if self.log_scale else value - self.centre

    def value_at(self, change: float) -> float:
        """Return the value that lies that difference from the centre."""
        return self.centre * math.exp(change) if self.log_scale else self.centre + change

    def error_of_mean(self, n_visits: int) -> float:
        """Return the standard error of a mean of later visits against the baseline mean."""
        variance_factor, mean_factor = baseline_factors(self.n_baseline, self.autocorrelation)
        later = baseline_factors(n_visits, self.autocorrelation)[1] if n_visits > 1 else 1.0
        return self.sd * math.sqrt((mean_factor + later) / variance_factor)


def band(
    baseline: Sequence[float],
    prior: Prior | None,
    *,
    log_scale: bool,
    outside: OutsideSem | None = None,
) -> Band:
    """Compute the band of a person's baseline visits.

    Half width: ``t * s * sqrt(1 + 1/k)`` with k baseline visits, on the scale of comparison;
    s moderated, t of its degrees of freedom. Where visits are known to depend on each other,
    the scatter of the baseline is too small for one visit and its mean too unsteady; both are
    made up for. An outside standard error of measurement takes the place of s and of the prior.

    Raises
    ------
    ValueError
        If there are fewer than two baseline visits, or they are all equal and nobody can be
        pooled.
    """
    k = len(baseline)
    if k < 2:
        msg = f"{k} baseline visits; at least 2 are needed for a band"
        raise ValueError(msg)
    values = transform(baseline, log_scale=log_scale)
    variance, df, n_people, rho, source = float(values.var(ddof=1)), k - 1.0, 0, 0.0, ""
    n_visits = k
    if outside is not None:
        variance, df = outside.sem**2, math.inf
        n_people, source, n_visits = outside.n_people, outside.source, 0
    elif prior is not None:
        moderated = moderate(variance, df, prior.variance, prior.df, prior.n_people)
        variance, df = float(moderated[0]), float(moderated[1])
        n_people, n_visits, rho = prior.n_people, prior.n_visits, prior.autocorrelation
    if variance <= 0:
        msg = f"the {k} baseline visits are all equal, so their scatter says nothing"
        raise ValueError(msg)
    own = Band(
        float(values.mean()),
        math.nan,
        math.nan,
        log_scale=False,
        df=df,
        n_baseline=k,
        n_people=n_people,
        sd=math.sqrt(variance),
        autocorrelation=rho,
        source=source,
        n_visits=n_visits,
    )
    half = float(stdtrit(df, (1 + LEVEL) / 2)) * own.error_of_mean(1)
    ends = [own.centre, own.centre - half, own.centre + half]
    centre, low, high = (math.exp(end) for end in ends) if log_scale else ends
    return replace(own, centre=centre, low=low, high=high, log_scale=log_scale)


__all__ = ["LEVEL", "Band", "OutsideSem", "Prior", "band", "moderate", "pool", "transform"]
