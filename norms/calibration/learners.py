"""What is told of people who only learn the test."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from scipy.special import stdtrit

from norms.calibration import judged
from norms.calibration.found_changes import TYPICAL_SD
from norms.calibration.hand_verdicts import (
    PAGE,
    REFERENCE,
    Bools,
    Floats,
    Share,
    seed_of,
    share,
)
from norms.calibration.judged import prepare
from norms.calibration.rules import outside_two_sd
from norms.calibration.simulated import draw, learning
from norms.running import N_LOOKS
from norms.verdict import LEARNING_LEVEL


class Learners(NamedTuple):
    """How people who only learn the test fare: headlines told "better".

    Parameters
    ----------
    told : Share
    without_earlier : Share
        Told, where the visits left out were not worse than the baseline: nothing in the series
        itself speaks of learning.
    usual : Share
        Ever below the own baseline mean minus 2 SD, one task.
    """

    told: Share
    without_earlier: Share
    usual: Share


def learners(n_people: int) -> dict[str, Learners]:
    """Count headlines "better" in people who only learn the test, two and four visits apart."""
    left_out, k = 2, REFERENCE.n_baseline
    first = left_out + k
    clinic = replace(PAGE, n_baseline=first, n_looks=N_LOOKS)
    n_visits = first + N_LOOKS
    slow = -np.log1p(-0.02) / TYPICAL_SD * np.arange(n_visits - 1, -1, -1)
    curves = {
        "2 SD, gone in 6 visits": 2 * learning(n_visits, gone_in=6.0),
        "4 SD, gone in 6 visits": 4 * learning(n_visits, gone_in=6.0),
        "2 SD, gone in 12 visits": 2 * learning(n_visits, gone_in=12.0),
        "2 % a visit without end": slow,
    }
    rows = {}
    for name, curve in curves.items():
        visits, sd = draw(clinic, n_people, seed_of(70))
        unit = 1.0 if name.endswith("end") else sd[..., np.newaxis]
        visits = visits + unit * curve
        four = visits.mean(axis=2)
        told = judged.told(four[..., left_out:], k, kinds=("headline",)).beyond["headline"]
        better = (told == -1).any(axis=-1)
        lower = (outside_two_sd(visits[:, :, 0, left_out:], k) == -1).any(axis=-1)
        rows[name] = Learners(
            share(better), share(better & ~_was_worse(four, left_out, k)), share(lower)
        )
    return rows


def _was_worse(visits: Floats, left_out: int, n_baseline: int) -> Bools:
    """Say in whom the visits left out were worse (higher) than the baseline."""
    seen = prepare(visits[..., left_out:], n_baseline)
    centre = visits[..., -1] - seen.changes[..., -1]
    sd = seen.sd[..., -1]
    fell = visits[..., :left_out].mean(axis=-1) - centre
    error = sd * np.sqrt(1 / n_baseline + 1 / left_out)
    df = seen.df[..., -1] + seen.more_df[-1]
    return np.asarray(fell > stdtrit(df, LEARNING_LEVEL) * error)
