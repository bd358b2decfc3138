"""How often people who did not change are told that they did, by rule and kind of error."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from norms.calibration.hand_verdicts import (
    BAD_TIMES,
    PAGE,
    RULES,
    Bools,
    Hand,
    Share,
    hand_told,
    seed_of,
    share,
)
from norms.calibration.simulated import Clinic, draw
from norms.running import N_LOOKS, YEAR_LOOKS

SIZES = (1, 3, 10, 30, 100)
UNTIL = (N_LOOKS, 26, YEAR_LOOKS)
AT_ONCE = 1_000  # pages
ODD: Mapping[str, Callable[[Clinic], Clinic]] = {
    "normal errors": lambda c: c,
    "heavy tails, t(4)": lambda c: replace(c, heavy_df=4.0),
    "skewed upwards": lambda c: replace(c, skew=0.6),
    "skewed downwards": lambda c: replace(c, skew=-0.6),
    "weeks depend 0.2": lambda c: replace(c, autocorrelation=0.2),
    "weeks depend 0.4": lambda c: replace(c, autocorrelation=0.4),
    "weeks depend 0.6": lambda c: replace(c, autocorrelation=0.6),
    "scatter 3-fold after baseline": lambda c: replace(c, later_scatter=3.0),
    "10 % bad days of 4 SD": lambda c: replace(c, outliers=0.1),
    "one baseline visit 4 SD off": lambda c: replace(c, bad_baseline=True),
    "a quarter of weeks missed, depend 0.4": lambda c: replace(
        c, missed=0.25, autocorrelation=0.4
    ),
}


class Rates(NamedTuple):
    """Shares of unchanged people with any verdict up to a look.

    Parameters
    ----------
    line : Share
        On one task, at the price of a line.
    headline : Share
        On one hand's composite.
    page : Share
        Anywhere among the ten lines of a page.
    """

    line: Share
    headline: Share
    page: Share


def false_rates(
    n_pages: int,
    *,
    sizes: Sequence[int] = SIZES,
    odd: Sequence[str] = tuple(ODD),
    rules: Sequence[str] = tuple(RULES),
) -> dict[tuple[str, int, str], tuple[dict[int, Rates], Share]]:
    """Count false verdicts by errors, size of clinic and rule.

    Returns
    -------
    dict
        By errors, size and rule: rates by number of looks, and the share of pages that say
        "possible" and nothing more.

    Notes
    -----
    Two hands of a page are drawn independently, which meets false verdicts most often.
    """
    rows = {}
    for size in sizes:
        for number, name in enumerate(odd):
            clinic = replace(ODD[name](PAGE), n_people=size)
            more = BAD_TIMES if clinic.bad_baseline else 1
            generator, pages = seed_of(10, size, number), more * n_pages
            told: dict[str, list[Hand]] = {rule: [] for rule in rules}
            for _ in range(max(1, round(pages / AT_ONCE))):  # to need little memory
                visits, _ = draw(clinic, 2 * max(min(pages, AT_ONCE), size), generator)
                visits = visits[: max(len(visits) // 2 * 2, 2)]
                for rule in rules:
                    hand = hand_told(visits, clinic.n_baseline, RULES[rule])
                    told[rule].append(hand.first(clinic.n_bad) if more > 1 else hand)
            for rule, hands in told.items():
                rows[name, size, rule] = _rates(hands)
    return rows


def _rates(hands: Sequence[Hand]) -> tuple[dict[int, Rates], Share]:
    """Count over clinics; the first half of them are one hand of a page, the others the other.

    Tasks of a hand and looks of a page are alike, so the standard errors of lines and of
    "possible" are those of as many hands and pages, which is a little too much.
    """
    told: dict[int, list[list[Bools]]] = {n: [] for n in UNTIL}
    possible = []
    for hand in hands:
        half = len(hand.headline) // 2
        anywhere = hand.somewhere()
        page = anywhere[:half] | anywhere[half : 2 * half]
        for n in UNTIL:
            lines = np.mean([(line[..., :n] != 0).any(axis=-1) for line in hand.line], axis=0)
            headline = (hand.headline[..., :n] != 0).any(axis=-1)
            told[n].append([x.ravel() for x in (lines, headline, page[..., :n].any(axis=-1))])
        either = hand.possible[:half] | hand.possible[half : 2 * half]
        possible.append((either & ~page).mean(axis=-1).ravel())
    rates = {
        n: Rates(*(share(np.concatenate(x)) for x in zip(*told[n], strict=True))) for n in UNTIL
    }
    return rates, share(np.concatenate(possible))
