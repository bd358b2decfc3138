"""How far goals were reached, put together: a person's own goals, each rated from -2 to 2."""

from __future__ import annotations

import math
from collections.abc import Sequence

# How much the ratings of one person's goals are taken to go together.
GOAL_CORRELATION = 0.3


def goal_t(levels: Sequence[float], weights: Sequence[float] | None = None) -> float:
    """Return the weighted ratings as one T score: 50 is "all as hoped for".

    ``50 + 10 Σ(w x) / sqrt(0.7 Σw² + 0.3 (Σw)²)``

    Parameters
    ----------
    levels : sequence of float, shape (n_goals,)
        -2 much less than hoped for, 0 as hoped for, 2 much more.
    weights : sequence of float, optional
        Above 0; all alike when left out.

    Returns
    -------
    float
        Without unit. It sums up ratings by people, not measurements, and says nothing about
        this test.

    Raises
    ------
    ValueError
        If there is no goal, a level is outside -2 to 2, or a weight not above 0.

    References
    ----------
    .. [1] Kiresuk TJ, Sherman RE (1968). Goal attainment scaling: a general method for
       evaluating comprehensive community mental health programs. Community Ment Health J
       4:443-453.
    .. [2] Turner-Stokes L (2009). Goal attainment scaling (GAS) in rehabilitation: a practical
       guide. Clin Rehabil 23:362-370, with its erratum: the formula first printed there lacks
       the square of the sum.
    """
    used = [1.0] * len(levels) if weights is None else list(weights)
    if not levels or len(used) != len(levels):
        msg = f"{len(levels)} levels, {len(used)} weights: say one weight for each goal"
        raise ValueError(msg)
    if any(not -2 <= level <= 2 for level in levels):
        msg = f"levels {list(levels)} must lie between -2 and 2"
        raise ValueError(msg)
    if any(not weight > 0 for weight in used):
        msg = f"weights {used} must be above 0"
        raise ValueError(msg)
    total = sum(w * x for w, x in zip(used, levels, strict=True))
    squares, whole = sum(w * w for w in used), sum(used)
    spread = (1 - GOAL_CORRELATION) * squares + GOAL_CORRELATION * whole**2
    return 50 + 10 * total / math.sqrt(spread)
