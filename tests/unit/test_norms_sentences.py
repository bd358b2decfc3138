"""Every sentence that can be said of a series, and words that never are."""

import ast
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import norms
from norms import sentences
from norms.asymmetry import asymmetry
from norms.band import OutsideSem, Prior
from norms.baseline import BaselineRule, Point
from norms.composite import composite
from norms.series import SeriesKey, series_of
from norms.trend import trend
from norms.verdict import judge

PRIOR = Prior(variance=0.01, df=40.0, n_people=30, n_visits=120)  # scatter of 10 %
LEVEL = [1.0, 1.05, 0.96, 1.04, 0.97, 1.03]
# Modules whose texts only developers meet.
FOR_DEVELOPERS = {
    "calibrate.py", "compare.py", "first_rule.py", "judged.py", "rules.py", "simulate_rules.py",
    "simulated.py",
}  # fmt: skip


def told(*later, level=LEVEL, prior=PRIOR, direction="lower", **more):
    values = [10 * v for v in (*level, *later)]
    points = [Point(i + 1, v) for i, v in enumerate(values)]
    return judge(points, prior, log_scale=True, direction=direction, **more)


def said(*later, **more):
    return sentences.statement("End-point error", told(*later, **more))


def test_better():
    assert said(*np.linspace(0.95, 0.6, 12)) == (
        "End-point error: 35 % below baseline (mean of the last 4 visits), better, larger than "
        f"measurement error over the visits since baseline. {sentences.LEARNING}"
    )


def test_worse():
    assert said(*np.linspace(1, 1.6, 12)) == (
        "End-point error: 52 % above baseline (mean of the last 4 visits), worse, larger than "
        "measurement error over the visits since baseline."
    )


def test_unchanged():
    assert said(1.02, 0.97, 1.1, 0.93) == (
        "End-point error: within measurement error: no change shown."
    )


def test_one_visit_out():
    assert said(1.0, 0.7) == (
        "End-point error: 30 % below baseline, better, possible change; repeat the visit "
        f"within 4 days, both then count as one by their mean. {sentences.LEARNING}"
    )


def test_a_repeat_visit_that_agrees_asks_for_no_further_one():
    values = [10 * v for v in (*LEVEL, 1.0, 0.68, 0.7)]
    days = {8: 0.0, 9: 2.0}
    points = [Point(i + 1, v, day=days.get(i + 1, math.nan)) for i, v in enumerate(values)]
    verdict = judge(points, PRIOR, log_scale=True, direction="lower")
    assert "the repeat visit agrees; go on weekly" in sentences.statement("Error", verdict)


def test_better_says_what_the_other_hand_did():
    better, still, worse = told(*[0.6] * 6), told(1.0), told(*[1.6] * 6)
    for other, words in (
        (still, "The other hand: no change shown."),
        (better, "The other hand: better too."),
        (worse, "The other hand: worse."),
        (
            judge([], PRIOR, log_scale=True, direction="lower"),
            "The other hand: no verdict yet.",
        ),
    ):
        assert sentences.statement("Error", better, other_hand=other).endswith(words)
        assert "other hand" not in sentences.statement("Error", worse, other_hand=other)


def test_what_decided_is_said_with_its_limits_and_since_when():
    verdict = told(*[1.6] * 6)
    mean = verdict.average
    assert sentences.decided_words(verdict) == (
        f"running mean +{mean.change_percent:.0f} %, limits \N{MINUS SIGN}"
        f"{-mean.low_percent:.0f} to +{mean.high_percent:.0f} %, since visit {mean.since_visit}"
    )
    assert mean.change_percent > mean.high_percent
    assert sentences.decided_words(told(1.0)) == ""
    held = told(*[1.4] * 8, 1.0, 1.0, 1.0)
    assert held.average.held
    assert "not yet back within" in sentences.decided_words(held)
    assert "not yet back within" in sentences.average_words(held)


def test_a_verdict_that_stands_from_earlier_says_that_the_latest_visit_shows_nothing_of_it():
    went = told(*[1.4] * 8, 1.0, 1.0, 1.0)
    assert sentences.statement("Error", went).endswith(sentences.BACK)
    still_out = told(*[1.4] * 8, 1.0, 1.0, 1.4)
    for other in (told(*[1.4] * 8), told(*[1.4] * 8, 1.0), still_out, told(1.0)):
        assert sentences.BACK not in sentences.statement("Error", other)
    assert "at baseline (mean of the last 4 visits), worse" in sentences.statement(
        "Error", told(*[1.4] * 8, 1.0, 1.0, 1.0, 1.0)
    )


def test_a_worsening_told_with_doubtful_visits_says_so():
    doubtful = replace(told(*[1.6] * 6), doubt="visit 9 (a symptom rose)")
    assert sentences.statement("Error", doubtful).endswith(
        "Counted though doubtful: visit 9 (a symptom rose)."
    )
    withdrawn = replace(told(1.0), doubt="visit 9 (a symptom rose)")
    assert sentences.statement("Error", withdrawn).endswith(
        "no change shown. Counted though doubtful: visit 9 (a symptom rose)."
    ), "what took good news away is named too"


def test_the_price_said_is_the_pages_and_the_years():
    assert "Of 100 unchanged people about 6 would get such a line by chance" in sentences.RULE
    assert "in 12 weekly visits, about 10 in 52 (rule version 4)" in sentences.RULE


def test_no_minus_before_a_zero():
    assert sentences._signed(-0.3) == "0"
    assert sentences._signed(-0.04, 1) == "0"
    assert sentences._signed(-0.6) == "\N{MINUS SIGN}1"


def test_learning():
    """The visits left out were far worse, and it goes on: the note stands with the verdict."""
    learned = [1.6, 1.35, 1.1, 1.02, 0.97, 0.93]
    assert said(*[0.72] * 8, level=learned).endswith(
        f"over the visits since baseline. {sentences.LEARNING}"
    )
    assert "Learning" not in said(*[1.4] * 8, level=learned), "nobody gets worse by learning"


def test_both_hands_worse():
    worse, better, still = told(*[1.6] * 6), told(*[0.6] * 6), told(1.0)
    assert sentences.both_hands_words([worse, worse]).startswith(
        "Both hands moved to the worse"
    )
    assert sentences.both_hands_words([better, better]).startswith(
        "Both hands moved to the better"
    )
    for pair in ([worse, better], [worse, still], [worse]):
        assert sentences.both_hands_words(pair) == ""


def test_faster_but_less_exact():
    speed, accuracy = told(*[0.6] * 6), told(*[1.6] * 6)
    assert sentences.pair_words(speed.better, accuracy.better) == "faster but less exact"
    assert sentences.pair_words(accuracy.better, speed.better) == "more exact but slower"
    assert sentences.pair_words(speed.better, None) == ""


def test_a_new_device_in_week_7():
    keys = [SeriesKey(device="maple")] * 9 + [SeriesKey(device="birch")]
    points = [Point(i + 1, 1.0 + 0.01 * i) for i in range(10)]
    current = series_of(list(zip(points, keys, strict=True)))[-1]
    verdict = judge(
        current.points, PRIOR, log_scale=True, direction="lower", new_series=current.reason
    )
    assert sentences.statement("Tracking error", verdict) == (
        "Tracking error: not enough comparable visits (new series, another device (maple to "
        "birch): 1 of the 6 visits that make the baseline)."
    )


def test_missed_weeks():
    assert sentences.gap_words(5) == "5 weeks without a visit before the latest."
    assert sentences.gap_words(1) == ""


def test_only_two_visits():
    points = [Point(1, 10.0), Point(2, 9.0)]
    verdict = judge(points, PRIOR, log_scale=True, direction="lower")
    assert sentences.statement("Time per link", verdict) == (
        "Time per link: not enough comparable visits (2 of the 6 visits that make the "
        "baseline)."
    )


def test_nobody_to_pool():
    verdict = told(*[0.5] * 12, prior=None)
    words = sentences.band_words(verdict)
    assert words.startswith("error band of one visit \N{MINUS SIGN}")
    assert words.endswith("provisional and wide: this person's 4 visits alone")


def test_all_flagged():
    points = [Point(i, 10.0, comparable=False, reason="someone helped") for i in range(8)]
    verdict = judge(points, PRIOR, log_scale=True, direction="lower")
    assert sentences.statement("Jitter", verdict) == (
        "Jitter: not enough comparable visits (no visit that counts (someone helped))."
    )
    assert sentences.set_aside_words(8, [p.reason for p in points]) == (
        "8 visits set aside (someone helped); shown, not counted."
    )
    assert sentences.set_aside_words(1, [""]) == "1 visit set aside; shown, not counted."
    assert sentences.set_aside_words(0, []) == ""


def test_a_value_without_logarithm_is_no_lack_of_visits():
    assert said(0.0) == "End-point error: no verdict yet (a value of 0 has no logarithm)."


def test_the_composite_is_told_like_a_measure():
    points = [Point(i, v) for i, v in enumerate([*LEVEL, *[0.7] * 8])]
    made = composite({"tapping": points, "trail": points})
    verdict = judge(made, PRIOR, log_scale=True, direction="lower")
    assert sentences.statement(sentences.COMPOSITE, verdict).startswith(
        "All tasks together: 30 % below baseline (mean of the last 4 visits), better, larger"
    )


def test_what_the_band_stands_on():
    own = told(1.0).band
    assert sentences.scatter_words(own) == "pooled from 30 people, 120 visits"
    assert sentences.scatter_words(replace(own, autocorrelation=0.32)) == (
        "pooled from 30 people, 120 visits; wider, as one week here resembles the "
        "next (autocorrelation 0.3)"
    )
    outside = told(1.0, outside=OutsideSem(0.1, "a retest of 2025", n_people=20)).band
    assert sentences.scatter_words(outside) == "from a retest of 2025, 20 people"


def test_the_running_mean_and_its_limits():
    """Changes of the logarithm of -0.2 twice: the mean of what there is falls by 18 %."""
    centre = math.exp(np.log(LEVEL[2:]).mean())
    verdict = told(*[centre * math.exp(-0.2)] * 2)
    words = sentences.average_words(verdict)
    assert words.startswith(
        "running mean of 2 visits since baseline \N{MINUS SIGN}18 %, limits"
    )
    named = told(*[1.0] * 12)
    assert sentences.average_words(named).endswith("look named beforehand")
    assert sentences.average_words(told()) == ""


def test_the_interval_of_the_size():
    words = sentences.interval_words(told(*[0.7] * 4))
    assert words.startswith("95 % interval \N{MINUS SIGN}")
    assert sentences.interval_words(told()) == ""
    assert sentences.percent_words(told()) == ""
    assert sentences.band_words(judge([], None, log_scale=True, direction="lower")) == ""


def test_trend_and_hands_are_described_only():
    drift = trend([10 * 0.98**w for w in range(6)], range(6), log_scale=True)
    assert sentences.trend_words(drift) == (
        "median drift \N{MINUS SIGN}2.0 % a week (95 % interval \N{MINUS SIGN}2.0 to "
        "\N{MINUS SIGN}2.0 %), 6 visits; a description, no verdict"
    )
    assert "at least 5" in sentences.trend_words(trend([1, 2], [0, 1], log_scale=True))
    assert sentences.asymmetry_words(asymmetry(6, 4), unit="mm") == (
        "more affected hand 6 mm, other hand 4 mm: 50 % above the other"
    )


def texts():
    """Every text of the modules a reader can meet, docstrings and the list itself left out."""
    for path in sorted(Path(norms.__file__).parent.glob("*.py")):
        if path.name in FOR_DEVELOPERS:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        skipped = set()
        for node in ast.walk(tree):
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
                skipped.add(node.value)
            if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "BANNED":
                skipped |= set(ast.walk(node))
        for node in ast.walk(tree):
            if (
                isinstance(node, ast.Constant)
                and isinstance(node.value, str)
                and node not in skipped
            ):
                yield path.name, node.value


def test_the_scan_sees_the_sentences():
    found = [text for _, text in texts()]
    assert any("possible change" in text for text in found)
    assert len(found) > 100


@pytest.mark.parametrize("word", sentences.BANNED)
def test_no_text_holds_a_banned_word(word):
    assert not [(name, text) for name, text in texts() if word in text.lower()]


def test_no_sentence_put_together_holds_a_banned_word():
    """A thousand made-up series, all there is to say of each."""
    generator = np.random.default_rng(4)
    for _ in range(1000):
        n = int(generator.integers(0, 20))
        kept = generator.choice([1, 0], n, p=[0.98, 0.02])
        values = np.exp(generator.normal(0, 0.3, n)) * kept
        counts = generator.random(n) > 0.1
        points = [Point(i, float(values[i]), bool(counts[i])) for i in range(n)]
        verdict = judge(
            points,
            PRIOR if generator.random() < 0.7 else None,
            log_scale=bool(generator.random() < 0.7),
            direction=str(generator.choice(["lower", "higher", "toward_one", "none"])),
            rule=BaselineRule(2, int(generator.choice([2, 4]))),
        )
        everything = [
            sentences.statement("Line", verdict),
            sentences.percent_words(verdict),
            sentences.interval_words(verdict),
            sentences.average_words(verdict),
            sentences.band_words(verdict),
        ]
        text = " ".join(everything).lower()
        assert not [word for word in sentences.BANNED if word in text], text
        assert "nan" not in text
        assert "inf" not in text
