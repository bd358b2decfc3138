"""How long a verdict stands, by the part of the limit within which it ends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from norms.calibration import judged
from norms.calibration.found_changes import PERCENTS, SHAPES
from norms.calibration.hand_verdicts import PAGE, Floats, Share, seed_of, share
from norms.calibration.simulated import draw
from norms.running import N_LOOKS, YEAR_LOOKS, follow

# Parts of the limit; at 0 a verdict ends where the running mean crosses the baseline.
SHARES = (0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.0)
SIZES = (1, 3, 30)
LASTS = 26  # looks


class Stays(NamedTuple):
    """Looks at which a verdict is still told.

    Parameters
    ----------
    half, tenth : float
        After which half of the verdicts have ended, and all but a tenth.
    n : int
        Verdicts.
    """

    half: float
    tenth: float
    n: int


def never_withdrawn(
    n_people: int, *, shares: Sequence[float] = SHARES
) -> dict[tuple[str, int], list[Share]]:
    """Say how many headlines told stay told while the change lasts, 26 looks in all.

    Returns
    -------
    dict
        By change and size of clinic: of those told on the right side, the part told at every
        look from then on, for each share.
    """
    rows = {}
    for size in SIZES:
        clinic = replace(PAGE, n_people=size, n_looks=LASTS)
        visits, _ = draw(clinic, n_people, seed_of(31, size))
        for percent in ("+20 %", "+30 %"):
            for name, grow in SHAPES.items():
                change = PERCENTS[percent] * grow(LASTS)
                found = []
                for sides in _sides(visits, change, shares):
                    out = sides > 0
                    stood = (out == np.maximum.accumulate(out, axis=-1)).all(axis=-1)
                    found.append(share(stood[out.any(axis=-1)]))
                rows[f"{percent} {name}", size] = found
    return rows


def stays(
    n_people: int, *, shares: Sequence[float] = SHARES
) -> dict[tuple[str, int], list[Stays]]:
    """Say how long a verdict stays that is false, or about a change that went away.

    Returns
    -------
    dict
        By what happens and size of clinic, for each share: looks at which a headline of
        unchanged people is told, from the telling on, of those told in the first half of a
        year; and looks after a change that went away wholly after look 12, of those told then.
    """
    rows = {}
    for size in SIZES:
        clinic = replace(PAGE, n_people=size, n_looks=YEAR_LOOKS)
        visits, _ = draw(clinic, n_people, seed_of(32, size))
        still = np.zeros(YEAR_LOOKS)
        rows["false", size] = [_of_false(sides) for sides in _sides(visits, still, shares)]
        for percent in ("+20 %", "+30 %"):
            gone = still.copy()
            gone[:N_LOOKS] = PERCENTS[percent]
            rows[f"{percent} for {N_LOOKS} looks, then gone", size] = [
                _after(sides > 0) for sides in _sides(visits, gone, shares)
            ]
    return rows


def _sides(
    visits: Floats, change: Floats, shares: Sequence[float]
) -> Iterator[NDArray[np.int64]]:
    together = visits.mean(axis=2)
    together[..., PAGE.n_baseline :] += change
    far = judged.ratios(together, PAGE.n_baseline, kinds=("headline",))["headline"]
    for kept in shares:
        yield follow(far, np.ones(far.shape), kept_share=kept)[0]


def _of_false(sides: NDArray[np.int64]) -> Stays:
    flat = sides.reshape(-1, sides.shape[-1])
    first = (flat != 0).argmax(axis=-1)
    told = (flat != 0).any(axis=-1) & (first < flat.shape[-1] // 2)
    same = [
        (row[start:] == row[start]).argmin() or len(row) - start
        for row, start in zip(flat[told], first[told], strict=True)
    ]
    return _half_and_tenth(np.array(same, dtype=float))


def _after(out: NDArray[np.bool_]) -> Stays:
    flat = out.reshape(-1, out.shape[-1])
    later = flat[flat[:, N_LOOKS - 1], N_LOOKS:]
    still = np.minimum.accumulate(later, axis=-1)
    return _half_and_tenth(still.sum(axis=-1).astype(float))


def _half_and_tenth(looks: Floats) -> Stays:
    if not looks.size:
        return Stays(float("nan"), float("nan"), 0)
    half, tenth = np.quantile(looks, [0.5, 0.9], method="higher")
    return Stays(float(half), float(tenth), len(looks))
