"""The error band: how far one visit may lie from baseline without anything having changed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit

from norms.autocorrelation import mean_factor
from norms.limits import Behind, Kind
from norms.pooled import pool
from norms.scatter import NOBODY, OutsideSem, Prior, moderate, transform
from norms.spread import spread

# Of one look at one visit. Many looks at many lines meet it, so it says "possible" at most, and
# by kind of line it is so wide that unchanged people meet it on one page in six at most.
LEVELS: Mapping[Kind, float] = {"headline": 0.96, "line": 0.985, "alone": 0.985}


@dataclass(frozen=True, slots=True)
class Band:
    """Baseline plus and minus measurement error of one visit, in the measure's unit.

    Parameters
    ----------
    centre, low, high : float
    log_scale : bool
        Whether it was computed on logarithms; then it is wider upwards.
    df : float
        Degrees of freedom behind the scatter when the baseline was complete.
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
        Visits behind the scatter, everybody's together; 0 for an outside one.
    more_df : float
        Degrees of freedom that the person's later visits added.
    weights : tuple of float
        How much each baseline visit counts, 0 to 1: one far from the others counts less.
    level : float
        Part of single visits of an unchanged person that lie inside.
    shifts, sds : tuple of float
        What centre and scatter were known to be at each look, the centre as its difference
        from today's on the scale of comparison.
    behind : tuple of Behind
        What stood behind the limits at each look.
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
    more_df: float = 0.0
    weights: tuple[float, ...] = ()
    level: float = LEVELS["line"]
    shifts: tuple[float, ...] = ()
    sds: tuple[float, ...] = ()
    behind: tuple[Behind, ...] = ()

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
        """Return the standard error of a mean of later visits against the baseline."""
        rho = self.autocorrelation
        factors = mean_factor(self.n_baseline, rho) + mean_factor(n_visits, rho)
        return self.sd * math.sqrt(float(factors))

    def half_width(self, n_visits: int, level: float) -> float:
        """Return how far a mean of later visits may lie, on the scale of comparison."""
        t = float(stdtrit(self.df + self.more_df, (1 + level) / 2))
        return t * self.error_of_mean(n_visits)


def band(
    baseline: Sequence[float],
    prior: Prior | None,
    *,
    log_scale: bool,
    outside: OutsideSem | None = None,
    later: Sequence[float] = (),
    days: Sequence[float] = (),
    kind: Kind = "line",
    level: float | None = None,
) -> Band:
    """Compute the band of a person's baseline visits.

    Half width: ``t * s * sqrt(1 + 1/k)`` with k baseline visits, on the scale of comparison;
    s moderated, t of its degrees of freedom. A baseline visit far from the others weighs less.
    Where visits are known to depend on each other, the scatter of the baseline is too small for
    one visit and its mean too unsteady; both are made up for. An outside standard error of
    measurement takes the place of s and of the prior.

    Parameters
    ----------
    later : sequence of float
        The looks after the baseline; from their differences the scatter becomes better known.
    days : sequence of float, optional
        When they were, in days since 1970: each is judged by what was known in its week. Left
        out, or nan, by what is known now.
    kind : {"headline", "line", "alone"}
        Which part of single visits lies inside.
    level : float, optional
        The part itself, in place of the kind's.

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
    after = transform(later, log_scale=log_scale)
    everybody = prior or NOBODY
    by_look = [everybody.on(day) for day in days or (math.nan,) * max(1, len(later))]
    known = by_look[-1]
    variances, worths, rhos = np.array(
        [(own.variance, own.df, own.autocorrelation) for own in by_look]
    ).T
    seen = spread(values, after, prior_variance=variances, prior_df=worths, rho=rhos)
    sd, more_df = float(seen.sd[-1]), float(seen.more_df[-1])
    n_visits = known.n_visits or k + len(after)
    source, n_people = "", known.n_people
    behind = tuple(
        Behind(df, own.autocorrelation, own.n_people)
        for df, own in zip(_df_behind(k, by_look), by_look, strict=True)
    )
    if outside is not None:
        sd, more_df = outside.sem, 0.0
        n_people, source, n_visits = outside.n_people, outside.source, 0
        behind = (Behind(math.inf),) * len(behind)
    if outside is None and (sd <= 0 or (not known.df and np.ptp(values) == 0)):
        msg = f"the {k} baseline visits are all equal, so their scatter says nothing"
        raise ValueError(msg)
    own = Band(
        float(seen.centre[-1]),
        math.nan,
        math.nan,
        log_scale=False,
        df=behind[-1].df,
        n_baseline=k,
        n_people=n_people,
        sd=sd,
        autocorrelation=behind[-1].autocorrelation,
        source=source,
        n_visits=n_visits,
        more_df=more_df,
        weights=tuple(float(w) for w in seen.weights[-1]),
        level=LEVELS[kind] if level is None else level,
        shifts=tuple((seen.centre - seen.centre[-1]).tolist()),
        sds=tuple(np.broadcast_to(sd, seen.sd.shape).tolist())
        if outside is not None
        else tuple(seen.sd.tolist()),
        behind=behind,
    )
    half = own.half_width(1, own.level)
    ends = [own.centre, own.centre - half, own.centre + half]
    centre, low, high = (math.exp(end) for end in ends) if log_scale else ends
    return replace(own, centre=centre, low=low, high=high, log_scale=log_scale)


def _df_behind(n_baseline: int, by_look: Sequence[Prior]) -> list[float]:
    """Return the degrees of freedom behind a complete baseline's scatter at each look."""
    worth, people, of_person = np.array(
        [(own.df, own.n_people, own.df_of_person) for own in by_look]
    ).T
    with np.errstate(divide="ignore", invalid="ignore"):
        df = moderate(1.0, n_baseline - 1.0, 1.0, worth, people, of_person)[1]
    found: list[float] = np.where(worth > 0, df, n_baseline - 1.0).tolist()
    return found


__all__ = ["LEVELS", "Band", "OutsideSem", "Prior", "band", "moderate", "pool", "transform"]
