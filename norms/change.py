"""Change of one person by the formulas of the literature, for research use.

None of it makes a verdict here: reliable change and regression need people who repeated this
very test without changing, and no such sample exists yet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
from scipy.special import stdtr

ErrorOf = Literal["jacobson_truax", "iverson", "temkin"]


class Cutoffs(NamedTuple):
    """Where a value counts as having moved from one group to another (Jacobson & Truax 1991).

    Parameters
    ----------
    a : float
        Two standard deviations beyond the first group's mean, toward the second's.
    b : float
        Within two standard deviations of the second group's mean.
    c : float
        Equally likely in both groups.
    """

    a: float
    b: float
    c: float


class Predicted(NamedTuple):
    """A second value against its prediction from the first.

    Parameters
    ----------
    expected, error : float
        Predicted value and standard error of one prediction.
    score : float
        Difference in units of the error.
    p : float
        Two-sided; nan where the regression is taken as known.
    """

    expected: float
    error: float
    score: float
    p: float


class Tau(NamedTuple):
    """Overlap of baseline and later visits.

    Parameters
    ----------
    nap : float
        Part of all pairs in which the later visit is higher, ties counting half.
    tau : float
        Pairs that rise minus pairs that fall, part of all pairs: ``2 nap - 1``.
    minus_trend : float
        The same less the baseline's own trend, over the same pairs [1]_. Authors differ in the
        denominator; it can leave -1 to 1.
    whole : float
        Both phases' trends included, over all pairs of visits.

    References
    ----------
    .. [1] Parker RI, Vannest KJ, Davis JL, Sauber SB (2011). Combining nonoverlap and trend for
       single-case research: Tau-U. Behav Ther 42:284-299.
    """

    nap: float
    tau: float
    minus_trend: float
    whole: float


def difference_error(
    sd_before: float,
    reliability: float,
    *,
    sd_after: float | None = None,
    method: ErrorOf = "jacobson_truax",
) -> float:
    """Return the standard error of a difference of two values.

    Parameters
    ----------
    sd_before, sd_after : float
        Spread between people at both times; the second defaults to the first.
    reliability : float
        Correlation of repeated values, 0 to 1.
    method : {"jacobson_truax", "iverson", "temkin"}
        ``s1 sqrt(2(1-r))`` [1]_; ``sqrt(SEM1² + SEM2²)`` [2]_, preferred;
        ``sqrt(s1² + s2² - 2 r s1 s2)`` [3]_.

    References
    ----------
    .. [1] Jacobson NS, Truax P (1991). Clinical significance. J Consult Clin Psychol 59:12-19.
    .. [2] Iverson GL (2001). Interpreting change on the WAIS-III/WMS-III in clinical samples.
       Arch Clin Neuropsychol 16:183-191.
    .. [3] Temkin NR, Heaton RK, Grant I, Dikmen SS (1999). Detecting significant change in
       neuropsychological test performance. J Int Neuropsychol Soc 5:357-369.
    """
    after = sd_before if sd_after is None else sd_after
    if not 0 <= reliability <= 1 or sd_before < 0 or after < 0:
        msg = f"{reliability=} must lie between 0 and 1 and spreads not be negative"
        raise ValueError(msg)
    if method == "jacobson_truax":
        return sd_before * math.sqrt(2 * (1 - reliability))
    if method == "iverson":
        return math.sqrt((sd_before**2 + after**2) * (1 - reliability))
    return math.sqrt(sd_before**2 + after**2 - 2 * reliability * sd_before * after)


def reliable_change(
    before: float, after: float, error: float, *, practice: float = 0.0
) -> float:
    """Return a change in units of its error, less what practice alone gives.

    Beyond 1.96 one unchanged person in twenty lies, at one look.

    References
    ----------
    .. [1] Chelune GJ, Naugle RI, Lüders H, Sedlak J, Awad IA (1993). Individual change after
       epilepsy surgery. Neuropsychology 7:41-52. (The term for practice.)
    """
    return (after - before - practice) / error


def cutoffs(
    mean_first: float, mean_second: float, sd_first: float, sd_second: float
) -> Cutoffs:
    """Return the three cut-offs between two groups."""
    toward = math.copysign(1, mean_second - mean_first)
    between = (sd_first * mean_second + sd_second * mean_first) / (sd_first + sd_second)
    return Cutoffs(
        mean_first + toward * 2 * sd_first, mean_second - toward * 2 * sd_second, between
    )


def against_regression(
    before: float,
    after: float,
    *,
    means: tuple[float, float],
    sds: tuple[float, float],
    correlation: float,
    n_people: int | None = None,
) -> Predicted:
    """Compare a second value with its prediction from the first.

    Parameters
    ----------
    means, sds, correlation
        Of a sample that repeated the test without changing.
    n_people : int, optional
        Its size; given, the prediction pays for it [2]_, else the regression is taken as known
        [1]_.

    References
    ----------
    .. [1] McSweeny AJ, Naugle RI, Chelune GJ, Lüders H (1993). "T scores for change". Clin
       Neuropsychol 7:300-312.
    .. [2] Crawford JR, Howell DC (1998). Regression equations in clinical neuropsychology. J
    Clin
       Exp Neuropsychol 20:755-762.
    """
    expected = means[1] + correlation * sds[1] / sds[0] * (before - means[0])
    error = sds[1] * math.sqrt(1 - correlation**2)
    if n_people is None:
        return Predicted(expected, error, (after - expected) / error, math.nan)
    n = n_people
    error *= math.sqrt((n - 1) / (n - 2))
    error *= math.sqrt(1 + 1 / n + (before - means[0]) ** 2 / (sds[0] ** 2 * (n - 1)))
    t = (after - expected) / error
    return Predicted(expected, error, t, float(2 * stdtr(n - 2, -abs(t))))


def single_case(value: float, mean: float, sd: float, n_people: int) -> tuple[float, float]:
    """Compare one person with a small group; return t and its one-sided probability.

    References
    ----------
    .. [1] Crawford JR, Howell DC (1998). Comparing an individual's test score against norms
       derived from small samples. Clin Neuropsychol 12:482-486.
    """
    t = (value - mean) / (sd * math.sqrt((n_people + 1) / n_people))
    return t, float(stdtr(n_people - 1, -abs(t)))


def tau_u(baseline: Sequence[float], later: Sequence[float]) -> Tau:
    """Compare the later visits with the baseline by pairs.

    Raises
    ------
    ValueError
        If a phase is empty.
    """
    if not baseline or not later:
        msg = f"{len(baseline)} baseline and {len(later)} later visits; both are needed"
        raise ValueError(msg)
    a, b = np.asarray(baseline, dtype=float), np.asarray(later, dtype=float)
    across = int(np.sign(b[np.newaxis, :] - a[:, np.newaxis]).sum())
    n_pairs, n = a.size * b.size, a.size + b.size
    return Tau(
        (1 + across / n_pairs) / 2,
        across / n_pairs,
        (across - _rise(a)) / n_pairs,
        (across - _rise(a) + _rise(b)) / (n * (n - 1) / 2),
    )


def _rise(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> int:
    first, second = np.triu_indices(values.size, 1)
    return int(np.sign(values[second] - values[first]).sum())
