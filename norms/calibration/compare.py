"""What the rules do on simulated clinics: false verdicts, what they find, and how soon."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from norms.calibration.rules import (
    OTHERS,
    Rule,
    combined,
    outside_two_sd,
    prepare,
    shipped,
    two_running,
)
from norms.calibration.simulated import Clinic, draw, late, learning, ramp, rounding_off, step
from norms.running import running_mean
from norms.verdict import LEARNING_LEVEL, LEARNING_UNTIL_VISIT

Floats = NDArray[np.float64]
Sides = Callable[[Floats, int], Floats]

PRICE = 0.05
REFERENCE = Clinic()
# Name, shape over the looks, size in within-person standard deviations.
CHANGES: Sequence[tuple[str, Callable[[], Floats], float]] = (
    ("grows to 1 SD", ramp, 1.0),
    ("2 SD", ramp, 2.0),
    ("3 SD", ramp, 3.0),
    ("4 SD", ramp, 4.0),
    ("fast, rounds off at 2 SD", rounding_off, 2.0),
    ("at once 1 SD", step, 1.0),
    ("at once 2 SD", step, 2.0),
    ("second half, to 2 SD", late, 2.0),
)


class Found(NamedTuple):
    """How many people a rule flags.

    Parameters
    ----------
    ever : float
        Part of people flagged at any look on the side asked for.
    median_look : float
        Of those found, the look at which half of them had been; nan if nobody was.
    """

    ever: float
    median_look: float


def found(sides: Floats, *, side: int = 0) -> Found:
    """Count the flagged; on one side only if `side` is 1 or -1."""
    out = sides != 0 if side == 0 else sides == side
    ever = out.any(axis=-1)
    looks = out.argmax(axis=-1)[ever] + 1
    return Found(float(ever.mean()), float(np.median(looks)) if looks.size else float("nan"))


def seed_of(*numbers: int) -> np.random.Generator:
    """Return the generator of one table; each table has its own."""
    return np.random.default_rng([20261125, *numbers])


def changed(
    clinic: Clinic, n_people: int, shape: Floats, size: float, seed: int
) -> tuple[Floats, Floats]:
    """Draw people of one task whose later visits are lower by `size` own deviations.

    Returns
    -------
    visits : ndarray, shape (n_clinics, n_people, n_visits)
    sd : ndarray, shape (n_clinics, n_people)
    """
    visits, sd = draw(clinic, n_people, seed_of(seed))
    visits[..., clinic.n_baseline :] -= size * sd[..., np.newaxis] * shape
    return visits[:, :, 0], sd[:, :, 0]


def composite_visits(
    clinic: Clinic, n_people: int, shape: Floats, size: float, seed: int
) -> Floats:
    """Draw people of several tasks that all change alike; return their composite.

    Every task weighs the same, as their scatters are of one typical size here; the people's own
    differ from it.
    """
    visits, sd = draw(clinic, n_people, seed_of(seed))
    visits[..., clinic.n_baseline :] -= size * sd[..., np.newaxis] * shape
    return np.asarray(visits.mean(axis=2))


def standardised(visits: Floats, clinic: Clinic) -> Floats:
    """Return changes from baseline in moderated standard deviations."""
    seen = prepare(visits, clinic.n_baseline)
    return np.asarray(seen.changes / seen.sd[..., np.newaxis])


def equal_price(n_people: int) -> dict[str, list[float]]:
    """Compare rules at one price: limits set so that 5 % of the unchanged are ever flagged.

    Returns
    -------
    dict
        By rule: what it finds of each of `CHANGES`; then what it flags of the unchanged, with
        the same limit, where errors have heavy tails and where weeks depend on each other.
    """
    clinic = REFERENCE
    zero = np.zeros(clinic.n_looks)
    still = standardised(changed(clinic, n_people, zero, 0, 1)[0], clinic)
    moved = [
        standardised(changed(clinic, n_people, shape(), size, 1)[0], clinic)
        for _, shape, size in CHANGES
    ]
    odd = [
        standardised(changed(other, n_people, zero, 0, 2)[0], other)
        for other in (replace(clinic, heavy_df=5.0), replace(clinic, autocorrelation=0.4))
    ]

    def row(rule: Rule) -> list[float]:
        k = clinic.n_baseline
        limit = np.quantile(np.abs(rule(still, k)).max(axis=-1), 1 - PRICE)
        finds = [float((rule(z, k) < -limit).any(axis=-1).mean()) for z in moved]
        return finds + [float((np.abs(rule(z, k)) > limit).any(axis=-1).mean()) for z in odd]

    rows = {name: row(rule) for name, rule in OTHERS.items()}
    rows["running mean, 0.25, flat limit and a look named beforehand"] = _two_limits(
        still, moved, odd
    )
    return rows


def _two_limits(still: Floats, moved: Sequence[Floats], odd: Sequence[Floats]) -> list[float]:
    means = np.abs(running_mean(still))
    outer, inner = combined(means.max(axis=-1).ravel(), means[..., -1].ravel(), 0.6, PRICE)

    def sizes(z: Floats, sign: float) -> NDArray[np.bool_]:
        mean = sign * running_mean(z)
        return np.asarray((mean > outer).any(axis=-1) | (mean[..., -1] > inner))

    finds = [float(sizes(z, -1.0).mean()) for z in moved]
    return finds + [float((sizes(z, 1.0) | sizes(z, -1.0)).mean()) for z in odd]


def plain_two_running(visits: Floats, n_baseline: int) -> Floats:
    """Return the side of two visits running outside 1.96 moderated standard errors."""
    seen = prepare(visits, n_baseline)
    z = two_running(seen.changes / seen.sd[..., np.newaxis], n_baseline)
    return np.asarray(np.sign(z) * (np.abs(z) > 1.959964 * np.sqrt(1 + 1 / n_baseline)))


RULES: Mapping[str, Sides] = {
    "shipped": shipped,
    "shipped, weeks taken as independent": lambda v, k: shipped(v, k, remedy=False),
    "two visits running, 1.96": plain_two_running,
    "outside mean ± 2 SD": outside_two_sd,
}


def false_verdicts(n_people: int) -> dict[tuple[str, float, str], float]:
    """Count false verdicts by clinic, autocorrelation of weeks and rule."""
    rows = {}
    for size in (1, 3, 10, 30, 100):
        for rho in (0.0, 0.2, 0.4):
            clinic = replace(REFERENCE, n_people=size, autocorrelation=rho)
            visits, _ = changed(clinic, n_people, np.zeros(clinic.n_looks), 0, 10 + size)
            for name, rule in RULES.items():
                rows[_people(size), rho, name] = found(rule(visits, clinic.n_baseline)).ever
    return rows


def _people(size: int) -> str:
    return "nobody to pool" if size == 1 else f"{size} people"


def odd_clinics(n_people: int) -> dict[str, float]:
    """Count the shipped rule's false verdicts where its suppositions do not hold."""
    few = replace(REFERENCE, n_people=3)
    cases = {
        "people differ much in scatter (4 degrees of freedom), 3 people": replace(
            few, scatter_df=4.0
        ),
        "people differ much in scatter, 30 people": replace(REFERENCE, scatter_df=4.0),
        "people all alike in scatter, 3 people": replace(few, scatter_df=np.inf),
        "people all alike in scatter, 30 people": replace(REFERENCE, scatter_df=np.inf),
        "heavy tails (t with 5 degrees of freedom)": replace(REFERENCE, heavy_df=5.0),
        "2 baseline visits": replace(REFERENCE, n_baseline=2),
        "8 baseline visits": replace(REFERENCE, n_baseline=8),
        "26 looks instead of 12": replace(REFERENCE, n_looks=26),
        "52 looks instead of 12": replace(REFERENCE, n_looks=52),
    }
    rows = {}
    for i, (name, clinic) in enumerate(cases.items()):
        visits, _ = changed(clinic, n_people, np.zeros(clinic.n_looks), 0, 200 + i)
        rows[name] = found(shipped(visits, clinic.n_baseline)).ever
    return rows


def several_lines(n_people: int) -> dict[str, float]:
    """Count false verdicts of four tasks and their composite together, one hand."""
    clinic = replace(REFERENCE, n_tasks=4)
    visits, _ = draw(clinic, n_people, seed_of(300))
    k = clinic.n_baseline
    lines = [(shipped(visits[:, :, i], k) != 0).any(axis=-1) for i in range(clinic.n_tasks)]
    together = (shipped(visits.mean(axis=2), k) != 0).any(axis=-1)
    single = np.any(lines, axis=0)
    return {
        "one task's primary": float(np.mean(lines)),
        "the composite of four": float(together.mean()),
        "at least one of the four primaries": float(single.mean()),
        "at least one of the five lines": float((single | together).mean()),
    }


def power(n_people: int) -> dict[tuple[str, str], Found]:
    """Say what the shipped rule finds of even growth, by clinic and line."""
    rows = {}
    for n_sd in (1.0, 2.0, 3.0, 4.0):
        change = f"{n_sd:.0f} SD"
        for size in (3, 30):
            clinic = replace(REFERENCE, n_people=size)
            visits, _ = changed(clinic, n_people, ramp(), n_sd, 400)
            four = replace(clinic, n_tasks=4)
            both = composite_visits(four, n_people, ramp(), n_sd, 401)
            name = _people(size)
            rows[f"one primary, {name}", change] = found(shipped(visits, 4), side=-1)
            rows[f"composite of four, {name}", change] = found(shipped(both, 4), side=-1)
            usual = found(outside_two_sd(visits, 4), side=-1)
        rows["one primary, outside mean ± 2 SD", change] = usual
        weeks = replace(REFERENCE, autocorrelation=0.4)
        visits, _ = changed(weeks, n_people, ramp(), n_sd, 402)
        rows["one primary, 30 people, weeks depend (0.4)", change] = found(
            shipped(visits, 4), side=-1
        )
    return rows


def percent_changes(
    n_people: int, scatters: Sequence[float]
) -> dict[tuple[str, float, float], Found]:
    """Say what is found of true changes in percent, reached evenly over twelve looks.

    Parameters
    ----------
    scatters : sequence of float
        Within-person standard deviations of the logarithm.
    """
    rows = {}
    for scatter in scatters:
        for percent in (10.0, 20.0, 30.0, 50.0):
            # A fall of so many percent; it is the same for everybody, whatever their scatter.
            total = -np.log1p(-percent / 100) / scatter
            for name, n_tasks in (("one primary", 1), ("composite", 4)):
                clinic = replace(REFERENCE, n_tasks=n_tasks)
                visits, _ = draw(clinic, n_people, seed_of(500))
                visits[..., clinic.n_baseline :] -= total * ramp()
                rows[name, scatter, percent] = found(
                    shipped(visits.mean(axis=2), clinic.n_baseline), side=-1
                )
    return rows


class Learners(NamedTuple):
    """How people who only learn the test fare.

    Parameters
    ----------
    primary, composite : float
        Part with a verdict "better" on one primary, and on the composite of four tasks that are
        all learned alike.
    without_note : float
        Part with a verdict on the primary and no note that learning may explain it.
    usual : float
        Part ever below the own baseline mean minus 2 SD, one primary.
    """

    primary: float
    composite: float
    without_note: float
    usual: float


def learners(n_people: int) -> dict[tuple[str, str], Learners]:
    """Count verdicts "better" in people who only learn the test, by visits set apart."""
    rows = {}
    for left_out, k in ((0, 2), (0, 4), (2, 4), (4, 4)):
        for size, gone_in in ((2.0, 6.0), (4.0, 6.0), (2.0, 12.0)):
            first = left_out + k
            clinic = replace(REFERENCE, n_baseline=first, n_tasks=4)
            visits, sd = draw(clinic, n_people, seed_of(600))
            curve = size * learning(first + clinic.n_looks, gone_in=gone_in)
            visits = visits + sd[..., np.newaxis] * curve
            one, four = visits[:, :, 0], visits.mean(axis=2)
            told = (shipped(one[..., left_out:], k) == -1).any(axis=-1)
            both = (shipped(four[..., left_out:], k) == -1).any(axis=-1)
            silent = told & ~_noted(one, left_out, k)
            usual = (outside_two_sd(one[..., left_out:], k) == -1).any(axis=-1)
            name = f"{left_out} left out, {k} baseline"
            rows[name, f"{size:.0f} SD, gone in {gone_in:.0f} visits"] = Learners(
                float(told.mean()),
                float(both.mean()),
                float(silent.mean()),
                float(usual.mean()),
            )
    return rows


def _noted(visits: Floats, left_out: int, n_baseline: int) -> NDArray[np.bool_]:
    """Say who gets a learning note with a verdict "better" (lower)."""
    if left_out + n_baseline < LEARNING_UNTIL_VISIT:
        return np.ones(visits.shape[:-1], dtype=bool)
    seen = prepare(visits[..., left_out:], n_baseline)
    baseline = visits[..., left_out : left_out + n_baseline].mean(axis=-1)
    fell = visits[..., :left_out].mean(axis=-1) - baseline
    error = seen.sd * np.sqrt(1 / n_baseline + 1 / left_out)
    return np.asarray(fell > stdtrit(seen.df, LEARNING_LEVEL) * error)
