"""Regularity of repeated movements, and their slowing."""

from __future__ import annotations

import math

import numpy as np
from scipy.stats import theilslopes

from battery.scoring.signal.path import Floats
from battery.scoring.stats.intervals import NONE, Interval

CAP = 3.0  # an interval over so many medians holds an omission


def capped(intervals_s: Floats) -> tuple[Floats, int]:
    """Cut intervals at three times their median; say how many were cut."""
    cap_s = CAP * float(np.median(intervals_s))
    return np.minimum(intervals_s, cap_s), int(np.count_nonzero(intervals_s > cap_s))


def cv_percent(intervals_s: Floats) -> Floats:
    """Coefficient of variation (n - 1), %, along the last axis."""
    return np.asarray(100 * intervals_s.std(axis=-1, ddof=1) / intervals_s.mean(axis=-1))


def rmssd_percent(intervals_s: Floats) -> float:
    """Root mean square of successive differences over the mean, %: free of slow drift.

    nan for fewer than two intervals.
    """
    if len(intervals_s) < 2:
        return math.nan
    return float(100 * np.sqrt(np.mean(np.diff(intervals_s) ** 2)) / intervals_s.mean())


def slope(values: Floats, at: Floats) -> tuple[float, Interval]:
    """Median slope over all pairs, with the interval of Sen.

    References
    ----------
    Theil H (1950). Proc K Ned Akad Wet 53:386-392, 521-525, 1397-1412. Sen PK (1968).
    Estimates of the regression coefficient based on Kendall's tau. J Am Stat Assoc
    63:1379-1389.
    """
    if len(values) < 3 or np.ptp(at) == 0:
        return math.nan, NONE
    found = theilslopes(values, at, 0.95)
    return float(found.slope), (float(found.low_slope), float(found.high_slope))
