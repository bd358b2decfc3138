"""The composite of a hand's primary measures."""

import math

import pytest

from norms.baseline import Point
from norms.composite import TYPICAL_SCATTER, composite
from norms.verdict import judge
from tasks.registry import TASKS


def series(*values):
    return [Point(i + 1, v) for i, v in enumerate(values)]


def test_every_task_has_a_typical_scatter():
    assert set(TYPICAL_SCATTER) == set(TASKS)


def test_weights_are_the_inverse_of_the_scatter():
    """Scatter 0.1 and 0.2 weigh 2 to 1: (8² · 1)^(1/3) = 4."""
    made = composite({"a": series(8.0), "b": series(1.0)}, scatter={"a": 0.1, "b": 0.2})
    assert made[0].value == pytest.approx(4.0)


def test_a_common_change_keeps_its_percent():
    """All tasks fall to 80 %: so does the composite, whatever the weights."""
    made = composite(
        {t: series(v, 0.8 * v) for t, v in zip(TASKS, (3, 7, 0.2, 1), strict=True)}
    )
    assert made[1].value / made[0].value == pytest.approx(0.8)


def test_a_measure_that_is_better_when_higher_enters_upside_down():
    made = composite(
        {"tapping": series(2.0, 1.0), "trail": series(1.0, 2.0 ** (0.10 / 0.12))},
        higher_is_better=frozenset({"trail"}),
    )
    assert made[1].value / made[0].value == pytest.approx(
        math.exp(-2 * math.log(2) / 0.12 / (1 / 0.12 + 1 / 0.10))
    )


def test_a_visit_counts_only_whole_and_says_what_is_missing():
    tapping = series(1.0, 1.0, 1.0)
    trail = [
        Point(1, 1.0),
        Point(2, 1.0, comparable=False, reason="interrupted"),
        Point(4, 1.0),
    ]
    made = composite({"tapping": tapping, "trail": trail})
    assert [(p.visit, p.counts, p.reason) for p in made] == [
        (1, True, ""),
        (2, False, "trail: interrupted"),
        (3, False, "trail not done"),
        (4, False, "tapping not done"),
    ]


def test_one_task_alone_makes_no_composite():
    assert composite({"tapping": series(1.0), "trail": []}) == ()


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ({"tapping": series(1.0), "juggling": series(1.0)}, "no typical scatter"),
        ({"tapping": series(1.0), "trail": series(0.0)}, "must be above 0"),
    ],
)
def test_unusable_input_is_an_error(points, said):
    with pytest.raises(ValueError, match=said):
        composite(points)


def test_the_composite_is_judged_like_a_measure():
    """Twelve visits 30 % lower in all four tasks, 4 % scatter: beyond error, and better."""
    level = [1.04, 0.96, 1.0, 1.04, 0.96, 1.0]
    values = [*level, *[0.7 * v for v in level * 2]]
    made = composite({task: series(*values) for task in TASKS})
    told = judge(made, None, log_scale=True, direction="lower")
    assert (told.word, told.better) == ("beyond error", True)
    assert told.recent.change_percent == pytest.approx(-30, abs=2)
