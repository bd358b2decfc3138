"""Rules, and ways to judge a page, compared at one and the same rate of false verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from norms.calibration import judged
from norms.calibration.found_changes import PERCENTS
from norms.calibration.hand_verdicts import (
    PAGE,
    REFERENCE,
    Bools,
    Floats,
    Share,
    seed_of,
    share,
)
from norms.calibration.rules import NAMED_LOOK, STATISTICS, flagged
from norms.calibration.simulated import draw, ramp, step
from norms.limits import PRICES, Kind
from norms.running import N_LOOKS

KINDS: tuple[Kind, ...] = ("headline", "line", "alone")


def equal_price(n_people: int) -> dict[tuple[str, int], list[Share]]:
    """Compare rules at one price in twelve looks: that of a line.

    Returns
    -------
    dict
        By rule and size of clinic (30: everybody's scatter known, worth 8 degrees of freedom;
        1: nobody's): found of 2 SD at once, of 2 SD grown, of 30 % at once after a baseline
        with one bad visit; then unchanged people flagged with heavy tails, upward skew, and
        weeks that depend 0.4 where nobody knows.
    """
    k = REFERENCE.n_baseline
    zero, one = np.zeros(N_LOOKS), REFERENCE
    cases = {
        "still": (one, zero, 0.0),
        "step": (one, step(), 2.0),
        "ramp": (one, ramp(), 2.0),
        "bad": (replace(one, bad_baseline=True), step(), PERCENTS["+30 %"]),
        "heavy": (replace(one, heavy_df=4.0), zero, 0.0),
        "skewed": (replace(one, skew=0.6), zero, 0.0),
        "depend": (replace(one, autocorrelation=0.4), zero, 0.0),
    }
    drawn = {}
    for number, (name, (clinic, shape, size)) in enumerate(cases.items()):
        visits, sd = draw(replace(clinic, n_people=1), n_people, seed_of(50, number))
        visits[..., k:] += size * sd[..., np.newaxis] * shape
        drawn[name] = visits[:, 0, 0]
    rows = {}
    for rule, statistic in STATISTICS.items():
        for size, prior_df in ((30, REFERENCE.scatter_df), (1, 0.0)):
            told = {name: statistic(visits, k, prior_df) for name, visits in drawn.items()}
            sides = flagged(told["still"], told, PRICES["line"], named=rule in NAMED_LOOK)
            rows[rule, size] = [
                *(share((sides[c] > 0).any(axis=-1)) for c in ("step", "ramp", "bad")),
                *(share((sides[c] != 0).any(axis=-1)) for c in ("heavy", "skewed", "depend")),
            ]
    return rows


ALIKE = "one joint limit for the largest of all ten lines"
GATE = "gate: tasks beneath a headline only"
SPLIT = "gate and a small share for a task alone: shipped"
EACH = "every line for itself, at the price of a line"


def prices_of_a_page(n_people: int) -> dict[str, list[Share]]:
    """Compare ways to share out the price of a page, clinics of 30 people.

    All but the last keep the price of a page that the shipped way was measured to keep.

    Returns
    -------
    dict
        By way: pages of unchanged people with any verdict in 12 looks; then hands found by look
        12 where all tasks grow by 30 %, and where one task is 30 % worse at once: anywhere, and
        on that very task.
    """
    k = PAGE.n_baseline
    clinic = replace(PAGE, n_looks=N_LOOKS)
    still, _ = draw(clinic, 2 * n_people, seed_of(60))
    grown, _ = draw(clinic, n_people, seed_of(61))
    single = grown.copy()
    grown[..., k:] += PERCENTS["+30 %"] * ramp()
    single[:, :, 0, k:] += PERCENTS["+30 %"]
    hands = [_farthest(visits, k) for visits in (still[: len(still) // 2 * 2], grown, single)]
    split = _page(_out(hands[0], SPLIT, 1.0))
    rows = {}
    for way in (SPLIT, ALIKE, GATE, EACH):
        size = 1.0
        if way in (ALIKE, GATE):  # as wide as keeps the same price
            alike = hands[0]["line"] if way == ALIKE else hands[0]["headline"][..., :1]
            size = float(np.quantile(_page(alike), 1 - split.mean()))
        up = [_out(hand, way, size, side=1) for hand in hands[1:]]
        rows[way] = [
            share(_page(_out(hands[0], way, size))),
            share(up[0].any(axis=-1)),
            share(up[1].any(axis=-1)),
            share(up[1][..., 1]),
        ]
    return rows


def _farthest(visits: Floats, k: int) -> dict[str, Floats]:
    """Return how far lines ever were over their limits, shape (..., 1 + n_tasks), by price.

    The headline comes first; with a sign the way up alone is looked at.
    """
    lines = [visits.mean(axis=2), *(visits[:, :, i] for i in range(visits.shape[2]))]
    found = [judged.ratios(line, k, kinds=KINDS) for line in lines]
    far: dict[str, Floats] = {}
    for kind in KINDS:
        stacked = np.stack([line[kind] for line in found], axis=-1)
        far[kind] = np.abs(stacked).max(axis=2)
        far[f"{kind} up"] = stacked.max(axis=2)
    return far


def _out(far: Mapping[str, Floats], way: str, size: float, *, side: int = 0) -> Bools:
    """Say which lines were ever out, limits being `size` times as wide."""
    up = " up" if side else ""
    head, line, alone = (far[f"{kind}{up}"] > size for kind in KINDS)
    if way in (ALIKE, EACH):
        return line
    moved = far["headline"][..., :1] > size
    beneath = far[f"line{up}"] > 1.0
    tasks = moved & beneath if way == GATE else (moved & beneath) | alone
    return np.concatenate([head[..., :1], tasks[..., 1:]], axis=-1)


def _page(lines: ArrayLike) -> Floats:
    """Return the most of all lines of a page: two hands, the last axis being lines."""
    hand = np.asarray(lines, dtype=np.float64).max(axis=-1)
    half = len(hand) // 2
    return np.asarray(np.maximum(hand[:half], hand[half:])).ravel()
