"""What the rules do on simulated clinics: false verdicts, what they find, and how soon."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from norms.calibration import first_rule, judged
from norms.calibration.judged import Told, prepare
from norms.calibration.rules import NAMED_LOOK, STATISTICS, flagged, outside_two_sd
from norms.calibration.simulated import Clinic, draw, learning, ramp, step
from norms.limits import PRICES, Kind
from norms.running import N_LOOKS, YEAR_LOOKS
from norms.verdict import LEARNING_LEVEL

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Sides = NDArray[np.signedinteger]

REFERENCE = Clinic()
# A page: four tasks of each hand, and all of them together.
PAGE = replace(REFERENCE, n_tasks=4, n_looks=YEAR_LOOKS)
SIZES = (1, 3, 10, 30, 100)
UNTIL = (N_LOOKS, 26, YEAR_LOOKS)
# Usual within-person standard deviation of the logarithm that changes in percent are set
# against.
TYPICAL_SD = 0.12
# Only a tenth of a clinic have a bad baseline visit, and they alone are looked at.
BAD_TIMES = 3
AT_ONCE = 1_000  # pages
KINDS: tuple[Kind, ...] = ("headline", "line", "alone")
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


class Share(NamedTuple):
    """A share of people and its standard error."""

    value: float
    error: float


def share(people: ArrayLike) -> Share:
    """Return the mean of a yes, or of a part of a yes, with its standard error."""
    yes = np.asarray(people, dtype=float)
    part = float(yes.mean()) if yes.size else float("nan")
    return Share(part, float(yes.std() / np.sqrt(max(yes.size, 1))))


def seed_of(*numbers: int) -> np.random.Generator:
    """Return the generator of one table; each table has its own."""
    return np.random.default_rng([20261126, *numbers])


class Hand(NamedTuple):
    """What a rule says of a hand after each look: sides, shape (n_clinics, n_people, n_looks).

    Parameters
    ----------
    headline : ndarray
        All tasks together.
    tasks : tuple of ndarray
        Each task as the page tells it.
    line : tuple of ndarray
        Each task at the price of a single line.
    possible : ndarray of bool
        Whether any line's latest visit lies outside its band.
    """

    headline: NDArray[np.int8]
    tasks: tuple[NDArray[np.int8], ...]
    line: tuple[NDArray[np.int8], ...]
    possible: Bools

    def first(self, n_people: int) -> Hand:
        """Return the first people of each clinic."""
        return Hand(
            self.headline[:, :n_people],
            tuple(task[:, :n_people] for task in self.tasks),
            tuple(line[:, :n_people] for line in self.line),
            self.possible[:, :n_people],
        )

    def somewhere(self, side: int = 0) -> Bools:
        """Whether any line is told, on one side if `side` is 1 or -1."""
        lines = np.array([self.headline, *self.tasks])
        return np.asarray((lines != 0 if side == 0 else lines == side).any(axis=0))


Rule = Callable[..., Told]


def usual(visits: Floats, n_baseline: int, *, kinds: Sequence[Kind]) -> Told:
    """Tell by the usual rule: the latest visit outside the own mean plus and minus 2 SD."""
    sides = outside_two_sd(visits, n_baseline).astype(np.int8)
    return Told(dict.fromkeys(kinds, sides), dict.fromkeys(kinds, sides))


RULES: Mapping[str, Rule] = {
    "before": first_rule.told,
    "now": judged.told,
    "mean ± 2 SD": usual,
}


def hand_told(visits: Floats, n_baseline: int, rule: Rule = judged.told) -> Hand:
    """Judge a hand's four tasks and their composite as a page does.

    Parameters
    ----------
    visits : ndarray, shape (n_clinics, n_people, n_tasks, n_visits)
    """
    together = rule(visits.mean(axis=2), n_baseline, kinds=("headline",))
    headline = together.beyond["headline"]
    possible = together.outside["headline"] != 0
    tasks, lines = [], []
    for i in range(visits.shape[2]):
        own = rule(visits[:, :, i], n_baseline, kinds=("alone", "line"))
        lines.append(own.beyond["line"])
        tasks.append(np.where(headline != 0, own.beyond["line"], own.beyond["alone"]))
        possible |= own.outside["alone"] != 0
    return Hand(headline, tuple(tasks), tuple(lines), possible)


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
    n_pages: int, *, sizes: Sequence[int] = SIZES, odd: Sequence[str] = tuple(ODD)
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
            told: dict[str, list[Hand]] = {rule: [] for rule in RULES}
            for _ in range(max(1, round(pages / AT_ONCE))):  # to need little memory
                visits, _ = draw(clinic, 2 * max(min(pages, AT_ONCE), size), generator)
                visits = visits[: max(len(visits) // 2 * 2, 2)]
                for rule, tell in RULES.items():
                    hand = hand_told(visits, clinic.n_baseline, tell)
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
    return np.asarray(fell > stdtrit(seen.df + seen.more_df, LEARNING_LEVEL) * error)
