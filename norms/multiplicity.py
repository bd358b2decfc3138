"""Many measures at once: which of the secondary ones still stand out.

Secondary measures get no verdict on the page. Whoever looks at all of them all the same should
let chance count: of twenty unchanged measures one is beyond a 5 % limit at most visits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from norms.verdict import Verdict

RATE = 0.05


def discoveries(p: Sequence[float], *, rate: float = RATE) -> NDArray[np.bool_]:
    """Tell which of several tests stand out, at most `rate` of them by chance.

    References
    ----------
    .. [1] Benjamini Y, Hochberg Y (1995). Controlling the false discovery rate. J R Stat Soc B
       57:289-300.
    """
    if not len(p):
        return np.zeros(0, dtype=bool)
    from scipy.stats import false_discovery_control  # slow to load

    return np.asarray(false_discovery_control(p, method="bh") <= rate)


def change_p(verdict: Verdict) -> float:
    """Return the two-sided probability of the recent mean in an unchanged person.

    For one look planned beforehand; looked at every week it promises too much. nan without a
    visit after baseline.
    """
    own, recent = verdict.band, verdict.recent
    if own is None or recent is None:
        return math.nan
    t = own.change(recent.value) / own.error_of_mean(recent.n_visits)
    return float(2 * stdtr(own.df + own.more_df, -abs(t)))


def standing_out(
    verdicts: Mapping[str, Verdict], *, rate: float = RATE
) -> tuple[tuple[str, ...], int]:
    """Name the secondary measures whose recent mean stands out, and how many were looked at."""
    p = {name: change_p(verdict) for name, verdict in verdicts.items()}
    usable = {name: value for name, value in p.items() if not math.isnan(value)}
    found = discoveries(list(usable.values()), rate=rate)
    return tuple(n for n, out in zip(usable, found, strict=True) if out), len(usable)
