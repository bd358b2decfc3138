"""How much of a true change each rule finds, how soon, and whether it is kept."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from norms.calibration import judged
from norms.calibration.hand_verdicts import (
    BAD_TIMES,
    PAGE,
    RULES,
    Floats,
    Hand,
    Share,
    hand_told,
    seed_of,
    share,
)
from norms.calibration.simulated import draw, ramp, step
from norms.running import N_LOOKS

# Usual within-person standard deviation of the logarithm, to size changes in percent.
TYPICAL_SD = 0.12


class Found(NamedTuple):
    """What is found of a change by a look.

    Parameters
    ----------
    headline, own, page : Share
        Hands told on the right side: all tasks together; a task that changed; any line.
    median_look : float
        Of hands found anywhere, the look by which half of them had been; nan if none was.
    """

    headline: Share
    own: Share
    page: Share
    median_look: float


SHAPES: Mapping[str, Callable[[int], Floats]] = {"at once": step, "grows until look 12": ramp}
# Name and size: in a person's own standard deviations, or in typical ones (percent).
SD_SIZES: Mapping[str, float] = {"1 SD": 1.0, "2 SD": 2.0, "3 SD": 3.0}
PERCENTS: Mapping[str, float] = {
    f"{percent:+d} %".replace("-", "−"): float(np.log1p(percent / 100)) / TYPICAL_SD
    for percent in (10, 20, 30, -10, -20, -30)
}


def power(
    n_people: int,
    *,
    sizes: Sequence[int] = (1, 30),
    rules: Sequence[str] = ("before", "now"),
    n_looks: int = N_LOOKS,
) -> dict[tuple[str, str, int, str, str], Found]:
    """Say what is found by look 12, by shape, size, clinic, how many tasks change, and rule."""
    rows = {}
    for size in sizes:
        clinic = replace(PAGE, n_people=size, n_looks=n_looks)
        visits, sd = draw(clinic, n_people, seed_of(20, size))
        for shape, grow in SHAPES.items():
            for name, n_sd in (*SD_SIZES.items(), *PERCENTS.items()):
                unit = sd if name in SD_SIZES else np.ones(sd.shape)
                change = n_sd * unit[..., np.newaxis] * grow(n_looks)
                for which, n_tasks in (("all tasks", 4), ("one task", 1)):
                    moved = visits.copy()
                    moved[:, :, :n_tasks, clinic.n_baseline :] += change[:, :, :n_tasks]
                    for rule in rules:
                        hand = hand_told(moved, clinic.n_baseline, RULES[rule])
                        rows[shape, name, size, which, rule] = _found(hand, np.sign(n_sd))
    return rows


def _found(hand: Hand, side: float) -> Found:
    here = hand.somewhere(int(side))
    ever = here.any(axis=-1)
    looks = here.argmax(axis=-1)[ever] + 1
    return Found(
        share((hand.headline == side).any(axis=-1)),
        share((hand.tasks[0] == side).any(axis=-1)),
        share(ever),
        float(np.median(looks)) if looks.size else float("nan"),
    )


def growth(n_hands: int, size: int, *, at_once: int = 4_000) -> Share:
    """Say how many composites that grow by 30 % until look 12 are told by then."""
    clinic = replace(PAGE, n_people=size, n_looks=N_LOOKS)
    generator, told = seed_of(90, size), []
    for _ in range(max(1, round(n_hands / at_once))):  # to need little memory
        visits, _ = draw(clinic, min(n_hands, at_once), generator)
        together = visits.mean(axis=2)
        together[..., clinic.n_baseline :] += PERCENTS["+30 %"] * ramp()
        own = judged.told(together, clinic.n_baseline, kinds=("headline",))
        told.append((own.beyond["headline"] > 0).any(axis=-1).ravel())
    return share(np.concatenate(told))


def kept(
    n_people: int, *, n_looks: int = 26
) -> dict[tuple[str, int, str], tuple[Share, Share, Share]]:
    """Say how many of those found lose a true change while it lasts.

    Returns
    -------
    dict
        By change, size of clinic and rule: hands whose headline was told by look 26; the part
        of them told at a look, on average over the looks from the first on; the part told at
        every look from then on.
    """
    rows: dict[tuple[str, int, str], tuple[Share, Share, Share]] = {}
    for size in (1, 3, 30):
        clinic = replace(PAGE, n_people=size, n_looks=n_looks)
        visits, _ = draw(clinic, n_people, seed_of(30, size))
        for name, grow in SHAPES.items():
            for percent in ("+20 %", "+30 %"):
                together = visits.mean(axis=2)
                together[..., clinic.n_baseline :] += PERCENTS[percent] * grow(n_looks)
                for rule in ("before", "now"):
                    told = RULES[rule](together, clinic.n_baseline, kinds=("headline",))
                    out = told.beyond["headline"] > 0
                    ever = out.any(axis=-1)
                    after = np.maximum.accumulate(out, axis=-1)
                    stood = (out == after).all(axis=-1)
                    rows[f"{percent} {name}", size, rule] = (
                        share(ever),
                        share(out[after]),
                        share(stood[ever]),
                    )
    return rows


def together(n_people: int) -> dict[tuple[str, int, str], list[Share]]:
    """Say how many are told at looks 4, 8 and 12 where everybody changes by 30 % at once.

    Returns
    -------
    dict
        By baseline, size of clinic and rule: of the composite at each of these looks; then of
        one task by look 12.
    """
    rows = {}
    for size in (1, 3, 10, 30):
        for name, bad in (("clean baseline", False), ("one baseline visit 4 SD off", True)):
            clinic = replace(PAGE, n_people=size, n_looks=N_LOOKS, bad_baseline=bad)
            visits, _ = draw(clinic, (BAD_TIMES if bad else 1) * n_people, seed_of(40, size))
            visits[..., clinic.n_baseline :] += PERCENTS["+30 %"]
            for rule, tell in RULES.items():
                hand = hand_told(visits, clinic.n_baseline, tell)
                if bad:
                    hand = hand.first(clinic.n_bad)
                rows[name, size, rule] = [
                    *(share(hand.headline[..., n - 1] > 0) for n in (4, 8, 12)),
                    share((hand.tasks[0] > 0).any(axis=-1)),
                ]
    return rows
