"""The words: what a verdict is called on the page. All of them stand here."""

from __future__ import annotations

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
    "no progress",
    "fail",
    "poor",
)

WITHIN = "within measurement error: no change shown"
POSSIBLE = "possible change; repeat next week"
BEYOND = "larger than measurement error in two visits running"
WITHHELD = "no verdict yet"
LEARNING = "Learning the test may explain this."
LIMITS = (
    "A change can come from learning the test, medication, tiredness, mood, light or the "
    "device. Larger than error does not mean important: compare it with the person's own goals."
)
PAIRS = {
    (True, False): "faster but less exact",
    (False, True): "more exact but slower",
    (True, True): "faster and more exact",
    (False, False): "slower and less exact",
}


def change_words(verdict: Verdict) -> str:
    """Say what the verdict allows, without the measure's name."""
    if verdict.word == "withheld":
        return f"{WITHHELD} ({verdict.reason})"
    if verdict.word == "within error":
        return WITHIN
    words = BEYOND if verdict.word == "beyond error" else POSSIBLE
    if verdict.better is None:
        return words
    return f"{'better' if verdict.better else 'worse'}, {words}"


def percent_words(verdict: Verdict) -> str:
    """Say how large the change is against baseline; empty when there is none to say."""
    if verdict.change_percent is None:
        return ""
    size = abs(verdict.change_percent)
    way = "above" if verdict.change_percent > 0 else "below"
    return f"{size:.0f} % {way} baseline"


def band_words(verdict: Verdict) -> str:
    """Say how wide the band is and what stands behind it."""
    own = verdict.band
    if own is None:
        return ""
    low, high = own.percent
    width = f"error band {low:+.0f} to {high:+.0f} %".replace("-", "\N{MINUS SIGN}")
    if own.provisional:
        return f"{width}, provisional and wide: this person's {own.n_baseline} visits alone"
    return f"{width}, pooled from {own.n_people} people"


def pair_words(speed_better: bool | None, accuracy_better: bool | None) -> str:
    """Say how speed and accuracy moved together; empty unless both moved."""
    if speed_better is None or accuracy_better is None:
        return ""
    return PAIRS[(speed_better, accuracy_better)]
