"""What is said of a hand in plain words: how much, to which side, and what limits it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from battery.recording import Hand
from battery.report import words
from battery.report.combined import COMPOSITE, TITLES
from battery.report.judged import Page
from battery.report.lines import Line
from battery.scoring import PRIMARY, Measure
from norms import sentences
from norms.verdict import Verdict


@dataclass(frozen=True, slots=True)
class Plain:
    """How a main measure is said in plain words."""

    what: str
    better: str
    worse: str


# By measure; any other is said by its own title, better or worse.
PLAIN: Mapping[str, Plain] = {
    "tapping.radial_error_mm": Plain(
        "millimetres from the middle of the target", "more exact", "less exact"
    ),
    "slide.jitter_across_mm": Plain(
        "millimetres of shake across the path", "steadier", "shakier"
    ),
    "pursuit.tracking_rmse_mm": Plain(
        "millimetres from the moving disc", "more exact", "less exact"
    ),
    "trail.time_per_link_s": Plain("seconds from circle to circle", "faster", "slower"),
}


@dataclass(frozen=True, slots=True)
class HandTold:
    """What is said of a hand.

    Parameters
    ----------
    title : str
        Which hand it is.
    big : str
        How much and to which side.
    sentences : tuple of str
        The verdict and what limits it.
    strong : bool
        Whether anything is beyond error.
    """

    hand: Hand
    title: str
    big: str
    sentences: tuple[str, ...] = ()
    strong: bool = False


def hands_told(page: Page) -> list[HandTold]:
    """Say of each hand what changed, whole, whatever room there is."""
    return [told_of(page, hand) for hand in page.hands]


def told_of(page: Page, hand: Hand) -> HandTold:
    """Say of one hand what changed, whole."""
    line = page.headline(hand)
    side = words.role_words(hand, page)
    title = f"{hand.capitalize()} hand" + (f", {side}" if side else "")
    if line is None:
        return HandTold(hand, title, "Not tested yet")
    big = direction_words(line)
    alone = _moved_alone(page, hand, line)
    if alone:
        big = f"{big} together; {alone}"
    return HandTold(
        hand,
        title,
        f"{big[:1].upper()}{big[1:]}",
        tuple(_sentences(page, hand, line)),
        bool(alone) or line.verdict.word == "beyond error",
    )


def _moved_alone(page: Page, hand: Hand, lead: Line) -> str:
    """Name the tasks beyond error where all together show no change: none is swallowed."""
    if lead.told:
        return ""
    moved = []
    for task in page.tasks:
        line = page.line(PRIMARY[task].name, hand)
        if line is not None and line.verdict.word == "beyond error":
            side = {True: "better", False: "worse", None: "changed"}[line.verdict.better]
            moved.append(f"{TITLES[task].lower()} {side}")
    return ", ".join(moved)


def _sentences(page: Page, hand: Hand, line: Line) -> list[str]:
    """Say the verdict under the large words, with what limits it."""
    verdict = line.verdict
    since = words.since_words(line)
    said = [f"{line.measure.title}: {sentences.change_words(verdict)}"]
    said[0] += f", {since}." if since else "."
    if back := sentences.back_words(verdict):
        said.append(back)
    if verdict.doubt:
        said.append(sentences.doubt_words(verdict))
    if verdict.learning and line.told and verdict.better is not False:
        said.append(sentences.LEARNING)
    latest = line.latest
    if line.told and latest is not None and latest.reason:
        said.append(f"{latest.reason[:1].upper()}{latest.reason[1:]}.")
    said += [
        f"{TITLES[task]}: {pair}."
        for task in page.tasks
        if (pair := page.pair_words(task, hand))
    ]
    return said


def direction_words(line: Line) -> str:
    """Say how much and to which side in plain words: "35 % slower, worse".

    Without a verdict that tells a side it says so; a size whose side is not the verdict's is
    left out.
    """
    verdict = line.verdict
    if verdict.word == "withheld":
        return "no verdict yet"
    if verdict.word == "within error":
        return "no change shown"
    possibly = "possibly " if verdict.word == "possible, repeat" else ""
    if verdict.better is None:
        return f"{possibly}changed"
    side = "better" if verdict.better else "worse"
    plain = PLAIN.get(line.measure.name)
    percent = _percent(line.measure, verdict)
    if plain is None:
        return f"{possibly}{percent}{side}"
    return f"{possibly}{percent}{plain.better if verdict.better else plain.worse}, {side}"


def _percent(measure: Measure, verdict: Verdict) -> str:
    recent = verdict.recent
    change = verdict.change_percent
    if verdict.word == "beyond error" and recent is not None:
        change = recent.change_percent
    if (
        change is None
        or math.isnan(change)
        or not round(change)
        or (not measure.log_scale and measure is not COMPOSITE)
    ):
        return ""
    if measure.direction in ("lower", "higher"):
        to_better = (change < 0) == (measure.direction == "lower")
        if to_better != verdict.better:
            return ""
    return f"{abs(change):.0f} % "
