"""The words: what a verdict is called on the page. All of them stand here."""

from __future__ import annotations

import math
from collections.abc import Sequence

from norms.asymmetry import Asymmetry
from norms.band import Band
from norms.baseline import REPEAT_DAYS
from norms.limits import PAGE_PRICE
from norms.reference import ReferenceValue
from norms.running import KEPT_SHARE, MAX_CHANGE_SD, N_LOOKS, RULE_VERSION, YEAR_LOOKS
from norms.trend import Trend
from norms.verdict import Verdict

# Never said: they claim more than a series can show, or a cause, or a comparison with others.
BANNED = (
    "significant",
    "stable",
    "because of",
    "normal",
    "plateau",
    "trending",
    "recovered",
    "recovery",
    "no progress",
    "fail",
    "poor",
    "improved",
    "impaired",
    "deficit",
    "abnormal",
    "healthy",
    "diagnos",
    "dose should",
    "proves",
)

WITHIN = "within measurement error: no change shown"
POSSIBLE = (
    f"possible change; repeat the visit within {REPEAT_DAYS:.0f} days, both then count as one "
    "by their mean"
)
POSSIBLE_AGAIN = "possible change, and the repeat visit agrees; go on weekly"
BEYOND = "larger than measurement error over the visits since baseline"
WITHHELD = "no verdict yet"
TOO_FEW = "not enough comparable visits"
LEARNING = "Learning the test may explain this; no rule tells slow learning from change."
BOTH_HANDS = (
    "Both hands moved to the worse side: tiredness, medication, light or the way the test was "
    "done may explain it."
)
BOTH_HANDS_BETTER = (
    "Both hands moved to the better side: learning the test, medication or the way the test "
    "was done may explain it."
)
BACK = "This was reported earlier and still stands; the latest visit lies within error."
LIMITS = (
    "A change can come from learning the test, medication, tiredness, mood, light or the "
    "device. Larger than error does not mean important: compare it with the person's own goals."
)
RULE = (
    "A change is called larger than measurement error when the running mean of the visits "
    "since baseline, the newest weighing most (EWMA), leaves the limits drawn with it. Of 100 "
    f"unchanged people about {100 * PAGE_PRICE.to_named:.0f} would get such a line by chance "
    f"among the main measures of their page in {N_LOOKS} weekly visits, about "
    f"{100 * PAGE_PRICE.year:.0f} in {YEAR_LOOKS} (rule version {RULE_VERSION})."
)
RULE_DETAIL = (
    f"The limits narrow as visits add up; at the {N_LOOKS}th look since baseline, a look named "
    "beforehand, they are narrower still, and wider after it. They are narrowest for all "
    "tasks together; a single task has narrower limits where all tasks together have moved "
    "than where it moves alone. Each visit is judged by what was known in its week, so that "
    "no later visit takes back what was reported. A verdict stands until the running "
    f"mean is back within {100 * KEPT_SHARE:.0f} % of the limits: when a change has gone, "
    "for some three visits more, seldom more than nine; one that came by chance may stand for "
    f"months. One visit counts for {MAX_CHANGE_SD:g} standard deviations of a "
    "visit at most, so after a large change the running mean is smaller than the mean of the "
    f"last visits. A visit within {REPEAT_DAYS:.0f} days of the one before repeats "
    "it: both are one look, by their mean. Where visits were doubtful, a worsening is reported "
    "with them included, a change for the better with them left out."
)
COMPOSITE = "All tasks together"
COMPOSITE_MEANING = (
    "The main measure of each task, compared with its baseline on the log scale and averaged, "
    "each task weighing less the more it usually scatters from week to week, and none speaking "
    "for the others; a visit without one task has that of the others. Lower is better."
)
PAIRS = {
    (True, False): "faster but less exact",
    (False, True): "more exact but slower",
    (True, True): "faster and more exact",
    (False, False): "slower and less exact",
}
REFERENCE = (
    "From the literature, other tests and devices: context only, never a score of this test."
)
MINUS = "\N{MINUS SIGN}"
UNITS = {"s/a": "s a year", "ms/a": "ms a year", "um": "\N{MICRO SIGN}m"}


def change_words(verdict: Verdict) -> str:
    """Say what the verdict allows, without the measure's name."""
    if verdict.word == "withheld":
        few = verdict.latest is None or verdict.learning
        return f"{TOO_FEW if few else WITHHELD} ({verdict.reason})"
    if verdict.word == "within error":
        return WITHIN
    words = BEYOND
    if verdict.word == "possible, repeat":
        words = POSSIBLE_AGAIN if verdict.n_repeats else POSSIBLE
    if verdict.better is None:
        return words
    return f"{'better' if verdict.better else 'worse'}, {words}"


def statement(name: str, verdict: Verdict, *, other_hand: Verdict | None = None) -> str:
    """Say all of one line: what, how much, verdict, what decided it, and its cautions.

    Parameters
    ----------
    name : str
        What the line is, as the page calls it.
    other_hand : Verdict, optional
        The same measure of the other hand, said beside anything that got better.
    """
    told = verdict.word in ("beyond error", "possible, repeat")
    size = percent_words(verdict) if told else ""
    said = ", ".join(part for part in (size, change_words(verdict)) if part)
    sentences = [f"{name}: {said}."]
    if back := back_words(verdict):
        sentences.append(back)
    if verdict.doubt:
        sentences.append(doubt_words(verdict))
    if told and verdict.better is not False and verdict.learning:
        sentences.append(LEARNING)
    if told and verdict.better and other_hand is not None:
        sentences.append(f"The other hand: {side_words(other_hand)}.")
    return " ".join(sentences)


def back_words(verdict: Verdict) -> str:
    """Say that a verdict stands from earlier while the latest visit shows nothing of it."""
    mean, own, latest = verdict.average, verdict.band, verdict.latest
    if verdict.word != "beyond error" or mean is None or own is None or latest is None:
        return ""
    return BACK if mean.held and own.side(latest.value) == 0 else ""


def doubt_words(verdict: Verdict) -> str:
    """Say which doubtful visits the verdict was told with; empty without any."""
    return f"Counted though doubtful: {verdict.doubt}." if verdict.doubt else ""


def side_words(verdict: Verdict) -> str:
    """Say a verdict in the fewest words."""
    if verdict.word == "withheld":
        return "no verdict yet"
    if verdict.word == "within error":
        return "no change shown"
    side = {True: "better too", False: "worse", None: "changed"}[verdict.better]
    return side if verdict.word == "beyond error" else f"possibly {side}"


def decided_words(verdict: Verdict) -> str:
    """Say what decided a verdict beyond error: the running mean, its limits, since when.

    Empty for any other verdict, and where there are no percents to say.
    """
    mean = verdict.average
    if verdict.word != "beyond error" or mean is None or math.isnan(mean.change_percent):
        return ""
    since = f"since visit {mean.since_visit}"
    reach = _range(mean.low_percent, mean.high_percent)
    where = f"not yet back within {reach}" if mean.held else f"limits {reach}"
    return f"running mean {_signed(mean.change_percent)} %, {where}, {since}"


def percent_words(verdict: Verdict) -> str:
    """Say how large the change is against baseline; empty when there is none to say.

    A change beyond error is told by the mean of the last visits since baseline, any other by
    the latest visit.
    """
    recent = verdict.recent
    if verdict.word == "beyond error" and recent is not None:
        if math.isnan(recent.change_percent):
            return ""
        told = f" (mean of the last {recent.n_visits} visits)" if recent.n_visits > 1 else ""
        return _against_baseline(recent.change_percent) + told
    if verdict.change_percent is None:
        return ""
    return _against_baseline(verdict.change_percent)


def _against_baseline(percent: float) -> str:
    if not round(percent):
        return "at baseline"
    way = "above" if percent > 0 else "below"
    return f"{abs(percent):.0f} % {way} baseline"


def interval_words(verdict: Verdict) -> str:
    """Say how exactly the size of the change is known; empty before there is one."""
    recent, own = verdict.recent, verdict.band
    if recent is None or own is None or not own.centre:
        return ""
    ends = [100 * (x - own.centre) / abs(own.centre) for x in (recent.low, recent.high)]
    return f"95 % interval {_range(*ends)}"


def band_words(verdict: Verdict) -> str:
    """Say how wide the band is and what stands behind it."""
    own = verdict.band
    if own is None:
        return ""
    width = "error band of one visit"
    if own.centre:
        width += f" {_range(*own.percent)} ({own.level:.1%} of visits)".replace(".0%", " %")
    return f"{width}, {scatter_words(own)}"


def average_words(verdict: Verdict) -> str:
    """Say where the running mean is and what its limits are; empty before there is one."""
    mean = verdict.average
    if mean is None or math.isnan(mean.change_percent):
        return ""
    look = ", look named beforehand" if mean.named_look else ""
    said = (
        f"running mean of {_count(mean.n_visits, 'visit')} since baseline "
        f"{_signed(mean.change_percent)} %"
    )
    if not math.isfinite(mean.high):
        return f"{said}; one visit alone makes no verdict"
    reach = _range(mean.low_percent, mean.high_percent)
    if mean.held:
        return f"{said}, not yet back within {reach}"
    return f"{said}, limits {reach}{look}"


def scatter_words(own: Band) -> str:
    """Say what the error band stands on."""
    if own.source:
        people = f", {_count(own.n_people, 'person', 'people')}" if own.n_people else ""
        return f"from {own.source}{people}"
    if own.provisional:
        return f"provisional and wide: this person's {own.n_baseline} visits alone"
    said = f"pooled from {own.n_people} people, {own.n_visits} visits"
    if round(own.autocorrelation, 1) > 0:
        said += (
            "; wider, as one week here resembles the next "
            f"(autocorrelation {own.autocorrelation:.1f})"
        )
    return said


def pair_words(speed_better: bool | None, accuracy_better: bool | None) -> str:
    """Say how speed and accuracy moved together; empty unless both have a verdict."""
    if speed_better is None or accuracy_better is None:
        return ""
    return PAIRS[(speed_better, accuracy_better)]


def both_hands_words(verdicts: Sequence[Verdict]) -> str:
    """Point at causes outside the hand when both hands moved to the same side."""
    sides = [v.better for v in verdicts if v.word in ("beyond error", "possible, repeat")]
    if len(sides) != 2 or sides[0] is None or sides[0] != sides[1]:
        return ""
    return BOTH_HANDS_BETTER if sides[0] else BOTH_HANDS


def gap_words(n_weeks: int) -> str:
    """Say that visits are missing before the latest; empty for less than two weeks."""
    return f"{n_weeks} weeks without a visit before the latest." if n_weeks >= 2 else ""


def set_aside_words(n_visits: int, reasons: Sequence[str]) -> str:
    """Say how many visits do not count and why; empty when all do."""
    if not n_visits:
        return ""
    why = "; ".join(dict.fromkeys(r for r in reasons if r))
    said = f"{_count(n_visits, 'visit')} set aside" + (f" ({why})" if why else "")
    return said + "; shown, not counted."


def reference_words(value: ReferenceValue) -> str:
    """Say a value from the literature, with its people and source."""
    spread = f", standard deviation {value.sd:g}" if value.sd is not None else ""
    people = f", {value.n} people" if value.n is not None else ""
    unit = "" if value.unit == "1" else f" {UNITS.get(value.unit, value.unit)}"
    what = value.quantity[:1].upper() + value.quantity[1:]
    return f"{what}, {value.group}: {value.value:g}{unit}{spread}{people} ({value.source})."


def trend_words(drift: Trend) -> str:
    """Say how a series drifts over all its visits; never whether that is a change."""
    if drift.reason:
        return drift.reason
    slope = drift.per_week
    return (
        f"median drift {_signed(slope.value, 1)} % a week (95 % interval "
        f"{_signed(slope.low, 1)} to {_signed(slope.high, 1)} %), {drift.n_visits} visits; "
        "a description, no verdict"
    )


def asymmetry_words(hands: Asymmetry, *, unit: str) -> str:
    """Say how the hands differ, with both values."""
    way = "above" if hands.percent > 0 else "below"
    return (
        f"more affected hand {hands.affected:.3g} {unit}, other hand {hands.other:.3g} {unit}: "
        f"{abs(hands.percent):.0f} % {way} the other"
    )


def _count(n: int, one: str, many: str = "") -> str:
    return f"{n} {one if n == 1 else many or one + 's'}"


def _signed(percent: float, n_digits: int = 0) -> str:
    rounded = round(percent, n_digits) + 0.0  # no minus before a zero
    return f"{rounded:+.{n_digits}f}".replace("-", MINUS) if rounded else "0"


def _range(low: float, high: float) -> str:
    return f"{_signed(low)} to {_signed(high)} %"
