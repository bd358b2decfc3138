"""Words of the page that join what the norms say to numbers, units and hands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from battery import cautions
from battery.answers import STOP_RISE
from battery.loop_delay import loop_words
from battery.recording import Hand
from battery.report import shapes
from battery.report.combined import COMPOSITE, TITLES
from battery.report.judged import Page
from battery.report.lines import Line
from battery.report.points import role
from battery.report.trend import scale_of
from battery.scoring import PRIMARY, Measure
from norms import sentences
from norms.baseline import BaselineRule
from norms.goals import goal_t
from norms.verdict import Verdict

DASH = "\N{EN DASH}"
UNITS = {"mm2": "mm²", "um": "µm"}
ROLES = {"affected": "more affected", "other": "less affected"}
NOT_A = (
    "Not a diagnosis, not an alarm, no advice on treatment or dose; the clinician and local "
    "rules decide."
)
STOP = cautions.stop_words()
EMERGENCY = cautions.call_words()
ASK_FIRST = cautions.contraindication_words()
INTENDED = cautions.INTENDED_USE
SEATED = (
    "Test seated in a firm chair without wheels, feet flat, tablet on a stand on a table; "
    "never standing, walking, driving or in bed; somebody near if unsteady."
)


def role_words(hand: Hand, page: Page) -> str:
    """Say which hand it is for the person; empty where that is not known."""
    return ROLES.get(role(hand, page.rows.person), "")


def value_words(measure: Measure, value: float, *, unit: bool = True) -> str:
    """Write a value with its unit; a dash where there is none."""
    if math.isnan(value):
        return DASH
    counted = measure.name.split(".")[-1].startswith("n_") and value == int(value)
    text = f"{value:.0f}" if counted else shapes.number(value)
    return f"{text} {unit_words(measure)}" if unit and unit_words(measure) else text


def unit_words(measure: Measure) -> str:
    """Write a measure's unit; empty for a plain number."""
    return "" if measure.unit == "1" else UNITS.get(measure.unit, measure.unit)


def short_words(verdict: Verdict) -> str:
    """Say the verdict in the few words a table has room for; without the reason."""
    if verdict.word == "withheld":
        return "no verdict yet"
    if verdict.word == "within error":
        return "within error: no change shown"
    if verdict.better is None:
        return verdict.word
    side = "worse"
    if verdict.better:
        side = "better or learnt" if verdict.learning else "better"
    return f"{side}: {verdict.word}" if "," in verdict.word else f"{side}, {verdict.word}"


def cell_words(line: Line) -> str:
    """Say the verdict as the table does, with the reason where it is withheld."""
    if line.verdict.word == "withheld":
        return f"withheld: {line.verdict.reason}"
    said = short_words(line.verdict)
    if said.endswith(", beyond error"):  # so that neither half is broken in a narrow column
        said = f"beyond error, {said.removesuffix(', beyond error')}"
    return said


def since_words(line: Line) -> str:
    """Say at which visit the running mean left its limits; empty while it has not."""
    average = line.verdict.average
    if line.verdict.word != "beyond error" or average is None or not average.since_visit:
        return ""
    return f"since visit {average.since_visit}"


def recent_words(line: Line) -> str:
    """Say the mean of the last visits against baseline; empty before there are two."""
    recent = line.verdict.recent
    if recent is None or recent.n_visits < 2 or math.isnan(recent.change_percent):
        return ""
    return f"last {recent.n_visits}: {shapes.signed(recent.change_percent)} %"


def change_words(line: Line) -> str:
    """Say how far the latest visit is from baseline.

    In percent where the measure is compared on logarithms, else in its own unit: percent of a
    value that may lie near 0 says nothing.
    """
    verdict = line.verdict
    if verdict.band is None or verdict.latest is None:
        return ""
    if line.measure.log_scale and verdict.change_percent is not None:
        return f"{shapes.signed(verdict.change_percent)} %"
    change = verdict.latest.value - verdict.band.centre
    return ("+" if change > 0 else "") + value_words(line.measure, change, unit=False)


def band_words(line: Line) -> str:
    """Say how far the error band of one visit reaches, in percent or from where to where."""
    own = line.verdict.band
    if own is None:
        return ""
    low, high = own.percent
    if line.measure.log_scale and not math.isnan(low):
        return f"{shapes.signed(low)} to {shapes.signed(high)} %"
    return f"{shapes.number(own.low)} to {shapes.number(own.high)}"


def baseline_words(line: Line, *, unit: bool = True) -> tuple[str, int]:
    """Return the baseline as the table writes it, and its number of visits."""
    baseline = line.of("baseline")
    own = line.verdict.band
    if own is None:
        return DASH, len(baseline)
    return value_words(line.measure, own.centre * scale_of(line), unit=unit), len(baseline)


def latest_words(line: Line, *, unit: bool = True) -> str:
    """Return the latest value as the table writes it."""
    latest = line.latest
    if latest is None:
        return DASH
    return value_words(line.measure, latest.value * scale_of(line), unit=unit)


def headline(page: Page, hand: Hand) -> tuple[str, str]:
    """Return the sentence about a hand, and what stands below it in smaller letters."""
    line = page.headline(hand)
    if line is None:
        return "Not tested yet.", ""
    name = line.measure.title
    beside = next((page.headline(h) for h in page.hands if h != hand), None)
    said = sentences.statement(
        name, line.verdict, other_hand=beside.verdict if beside is not None else None
    )
    return said, " ".join(_below(page, hand, line))


def _below(page: Page, hand: Hand, lead: Line) -> list[str]:
    said = []
    if decided := sentences.decided_words(lead.verdict):
        said.append(f"{decided[:1].upper()}{decided[1:]}.")
    beyond = lead.verdict.word == "beyond error"
    if beyond and (interval := sentences.interval_words(lead.verdict)):
        said.append(f"{interval[:1].upper()}{interval[1:]}.")
    said.append(_by_task(page, hand, lead))
    pairs = [
        f"{TITLES[task]}: {words}."
        for task in page.tasks
        if (words := page.pair_words(task, hand))
    ]
    return [words for words in said + pairs if words]


def _by_task(page: Page, hand: Hand, lead: Line) -> str:
    """Say which tasks carry the sentence above; empty where there is nothing to add."""
    groups: dict[str, list[str]] = {}
    for task in page.tasks:
        line = page.line(PRIMARY[task].name, hand)
        if line is not None and line is not lead:
            groups.setdefault(_group(line.verdict), []).append(line.measure.title.lower())
    if not groups or set(groups) == {_group(lead.verdict)}:
        return "Each task by itself: the same." if groups and lead.verdict.band else ""
    order = sorted(groups, key=lambda words: ("beyond" not in words, "possible" not in words))
    told = "; ".join(f"{words}: {joined(groups[words])}" for words in order)
    return f"{told[:1].upper()}{told[1:]}."


def _group(verdict: Verdict) -> str:
    if verdict.word in ("withheld", "within error"):
        return "no verdict yet" if verdict.word == "withheld" else "within error"
    side = {True: "better", False: "worse", None: "changed"}[verdict.better]
    return f"{side} ({verdict.word})"


def joined(names: Sequence[str]) -> str:
    """Join names as one speaks them."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def both_hands(page: Page) -> str:
    """Point at causes outside the hand when both hands moved to one side."""
    lines = [line for hand in page.hands if (line := page.headline(hand))]
    return sentences.both_hands_words([line.verdict for line in lines])


def goals(page: Page) -> str:
    """Say the person's goals with the latest rating of each; empty without any."""
    told = []
    rated = []
    for row in page.rows.goals:
        said = "not rated yet"
        if row.levels:
            day, level = row.levels[-1]
            said = f"{level:+d}".replace("-", sentences.MINUS) if level else "0"
            said += f" on {day}"
            rated.append((level, row.weight))
        told.append(f"{row.goal}: {said}")
    if not told:
        return ""
    score = ""
    if rated and len(rated) == len(told):
        together = goal_t([x for x, _ in rated], [w for _, w in rated])
        score = f" Together T {together:.0f}."
    return f"Goals (−2 to +2, 0 as hoped for): {'; '.join(told)}.{score}"


def state(page: Page) -> str:
    """Say whether the person is due for visits, since when and by whom."""
    row = page.rows.state
    if row is None:
        return "Active since enrolment."
    return f"{row.state.capitalize()} from {row.from_date}, by {row.author}: {row.reason}."


def asked_first(page: Page) -> str:
    """Say whether somebody asked for reasons not to start, and what was answered."""
    asked = page.rows.asked
    if not asked:
        return "Nobody has noted whether there is a reason not to start this test."
    last = max(asked, key=lambda row: row.at_utc)
    there = [cautions.CONTRAINDICATIONS.get(r.item, r.item) for r in asked if r.answer != "no"]
    missing = len(cautions.CONTRAINDICATIONS) - len(asked)
    open_ = f"; {missing} not asked" if missing > 0 else ""
    told = f"present or not known: {'; '.join(there)}" if there else "none"
    return f"Reasons not to start, asked by {last.author} on {last.at_utc[:10]}: {told}{open_}."


def new_baseline(page: Page) -> str:
    """Say that the baseline was begun anew, from which visit, by whom and why."""
    row, visit = page.rows.restart, page.rows.restart_visit
    if visit is None:
        return ""
    by = f", by {row.author} on {row.at_utc[:10]}: {row.reason}" if row else ""
    return f"New baseline from visit {visit}{by}. Change is against that."


def keep_in_mind(page: Page, rule: BaselineRule) -> list[str]:
    """List what limits the reading of the page, the most telling first."""
    said = [*_safety(page), _scatter(page), *outside_words(page), *_left_out(page), gap(page)]
    if rule.baseline < 4 or rule.familiarisation < 2:
        said.append(
            f"{rule.familiarisation} visits to get used to the test and {rule.baseline} of "
            "baseline: with fewer than 2 and 4 learning the test is not excluded."
        )
    return [*(words for words in said if words), sentences.LIMITS, NOT_A]


def _safety(page: Page) -> list[str]:
    """Name the visits at which a symptom rose so far that it stopped, or an emergency sign."""
    flagged = [str(v.number) for v in page.rows.visits if v.red_flags]
    told = []
    if flagged:
        told.append(f"A new sign of an emergency was reported at visit {joined(flagged)}.")
    rose = [
        f"{joined(names)} at visit {v.number}"
        for v in page.rows.visits
        if (names := [name for name, rise in v.rises.items() if rise >= STOP_RISE])
    ]
    if rose:
        told.append(f"Symptoms rose by {STOP_RISE} or more: {'; '.join(rose)}.")
    return told


def scatter_words(page: Page, line: Line) -> str:
    """Say what a line's error band stands on, counting people, not hands; empty without one."""
    own = line.verdict.band
    if own is None:
        return ""
    pooled = page.rows.pools.get((line.measure.name, line.hand))
    if not own.source and pooled is not None and pooled.n_people and own.n_people:
        own = replace(own, n_people=pooled.n_people)
    return sentences.scatter_words(own)


def _scatter(page: Page) -> str:
    lines = [line for hand in page.hands if (line := page.headline(hand))]
    told = list(dict.fromkeys(said for line in lines if (said := scatter_words(page, line))))
    if not told:
        return "No error band yet: none is given before the baseline is complete."
    return f"Error band {'; '.join(told)}."


def outside_words(page: Page) -> list[str]:
    """Name the studies that the bands of single measures rest on, beside those of headlines."""
    heads = [page.headline(hand) for hand in page.hands]
    told: dict[str, str] = {}
    for line in page.lines.values():
        own, measure = line.verdict.band, line.measure
        if own is not None and own.source and line not in heads:
            name = f"{measure.title.lower()} ({TITLES[measure.task].lower()})"
            told[name] = scatter_words(page, line)
    return [f"Error band of {name} {said}." for name, said in told.items()]


def _left_out(page: Page) -> list[str]:
    aside: dict[int, list[str]] = {}
    for line in page.lines.values():
        if line.measure.primary and line.measure.name != COMPOSITE.name:
            for reading in line.of("aside"):
                aside.setdefault(reading.visit, []).append(reading.aside or reading.reason)
    reasons = [reason for visit in sorted(aside) for reason in aside[visit]]
    said = sentences.set_aside_words(len(aside), reasons)
    told = [f"Whole or in part, {said}"] if said else []
    stopped = [v.number for v in page.rows.visits if any("stopped" in r for r in v.remarks)]
    if stopped:
        numbers = joined([str(n) for n in stopped])
        told.append(f"Stopped by the person at visit {numbers}: see the list of visits.")
    return told


def gap(page: Page) -> str:
    """Say that weeks are missing before the latest visit."""
    when = sorted(v.when for v in page.rows.visits)
    if len(when) < 2:
        return ""
    return sentences.gap_words(round((when[-1] - when[-2]).days / 7) - 1)


def loop_delay(page: Page) -> str:
    """Say beside the reaction time what its device adds to it, as far as that was filmed."""
    if not page.rows.visits:
        return ""
    device = page.rows.visits[-1].device
    taken = "It is in every reaction time on that device and is not subtracted."
    if not page.rows.loops:
        return f"The delay of {device} from a finger to light was not measured. {taken}"
    told = "; ".join(loop_words(check) for check in page.rows.loops)
    return f"Delay of {device}: {told}. {taken}"
