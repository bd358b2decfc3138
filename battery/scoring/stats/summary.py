"""From the values of trials to one score with its interval."""

from __future__ import annotations

import numpy as np

from battery.scoring.score import Score, missing
from battery.scoring.signal.path import Floats
from battery.scoring.stats import intervals


def _usable(values: Floats) -> Floats:
    return values[~np.isnan(values)]


def few(n: int, least: int, what: str) -> str:
    """Say that there are too few."""
    return f"{n} {what}; at least {least} are needed"


def mean_of(name: str, values: Floats, *, least: int, what: str) -> Score:
    """Mean of the values that there are, with Student's interval."""
    values = _usable(values)
    n = len(values)
    if n < least:
        return missing(name, few(n, least, what), n)
    return Score(name, float(values.mean()), n, *intervals.of_mean(values))


def median_of(name: str, values: Floats, *, least: int, what: str) -> Score:
    """Median of the values that there are, with its distribution-free interval."""
    values = _usable(values)
    n = len(values)
    if n < least:
        return missing(name, few(n, least, what), n)
    return Score(name, float(np.median(values)), n, *intervals.of_median(values))


def spread_of(name: str, values: Floats, *, least: int, what: str) -> Score:
    """Median of the values that there are, with the half of them in the middle."""
    values = _usable(values)
    n = len(values)
    if n < least:
        return missing(name, few(n, least, what), n)
    return Score(name, float(np.median(values)), n, *intervals.middle_half(values))


def mean_spread_of(name: str, values: Floats, *, least: int, what: str) -> Score:
    """Mean of the values that there are, with the half of them in the middle."""
    values = _usable(values)
    n = len(values)
    if n < least:
        return missing(name, few(n, least, what), n)
    mean = float(values.mean())
    low, high = intervals.middle_half(values)
    return Score(name, mean, n, min(low, mean), max(high, mean))


def share_of(name: str, count: int, n: int, *, least: int, what: str) -> Score:
    """Share with Wilson's interval."""
    if n < least:
        return missing(name, few(n, least, what), n)
    return Score(name, count / n, n, *intervals.wilson(count, n))


def count_of(name: str, count: int, n: int) -> Score:
    """Count with its Poisson interval."""
    return Score(name, float(count), n, *intervals.of_count(count))


def rate_of(name: str, count: int, time: float, *, n: int) -> Score:
    """Count per unit of time with its Poisson interval; missing where no time passed."""
    if time <= 0:
        return missing(name, "no time in which it could have happened", n)
    low, high = intervals.of_count(count)
    return Score(name, count / time, n, low / time, high / time)
