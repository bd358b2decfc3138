"""The composite of a hand's primary measures."""

import math

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from norms.baseline import BaselineRule, Point
from norms.composite import MAX_APART, TYPICAL_SCATTER, composite
from norms.verdict import judge
from tasks.registry import TASKS

BEFORE = (1.0,) * 6
TOTAL = sum(1 / s for s in TYPICAL_SCATTER.values())


def series(*values, first=1):
    return [Point(first + i, v) for i, v in enumerate(values)]


def after_baseline(**values):
    """Composite of the seventh visit over that of the six before, all of which are 1."""
    made = composite({task: series(*BEFORE, *([v] if v else [])) for task, v in values.items()})
    return made[6].value / made[0].value


def test_every_task_has_a_typical_scatter():
    assert set(TYPICAL_SCATTER) == set(TASKS)


def test_weights_are_the_inverse_of_the_scatter():
    """Scatter 0.1 and 0.2 weigh 2 to 1: (8² · 1)^(1/3) = 4."""
    made = composite({"a": series(8.0), "b": series(1.0)}, scatter={"a": 0.1, "b": 0.2})
    assert made[0].value == pytest.approx(4.0)


def test_a_common_change_keeps_its_percent():
    """All tasks fall to 80 %: so does the composite, whatever the weights."""
    made = composite(
        {t: series(*[v] * 6, 0.8 * v) for t, v in zip(TASKS, (3, 7, 0.2, 1), strict=True)}
    )
    assert made[6].value / made[0].value == pytest.approx(0.8)


def test_within_two_typical_scatters_parts_enter_as_they_are():
    """Weighted mean of logarithms, by hand: (.10/.12 - .05/.10) / (1/.12 + 1/.10)."""
    whole = {"tapping": 0.10, "pursuit": -0.05, "slide": 0.02, "trail": 0.0}
    found = math.log(after_baseline(**{task: math.exp(d) for task, d in whole.items()}))
    by_hand = sum(d / TYPICAL_SCATTER[task] for task, d in whole.items()) / TOTAL
    assert found == pytest.approx(by_hand)


def test_a_measure_that_is_better_when_higher_enters_upside_down():
    made = composite(
        {"tapping": series(*BEFORE, 0.9), "trail": series(*BEFORE, 1 / 0.9)},
        higher_is_better=frozenset({"trail"}),
    )
    assert made[6].value / made[0].value == pytest.approx(0.9)


def test_a_stray_part_enters_two_scatters_from_the_middle():
    """Slide falls to a hundredth, the rest stays: -2 of its scatters, -2 / sum of weights."""
    told = after_baseline(tapping=1.0, pursuit=1.0, slide=0.01, trail=1.0)
    assert math.log(told) == pytest.approx(-MAX_APART / TOTAL)


def test_values_below_the_floor_are_equal():
    made = composite(
        {"slide": series(0.5, 0.02), "trail": series(1.0, 1.0)}, min_compared={"slide": 0.5}
    )
    assert made[1].value == made[0].value


def test_a_visit_without_a_task_has_the_composite_of_the_others():
    """By its own baseline: that the missing part was the largest number does not matter."""
    trail = [*series(*[9.0] * 6), Point(7, math.nan, comparable=False, reason="interrupted")]
    made = composite(
        {
            "tapping": series(*[2.0] * 7), "pursuit": series(*[7.0] * 7),
            "slide": series(*[0.6] * 7), "trail": trail,
        }
    )  # fmt: skip
    assert made[6].value == pytest.approx(made[5].value)
    assert made[6].counts
    assert made[5].error == 1.0
    # By hand: sqrt(3) / (1/.12 + 1/.10 + 1/.18) over sqrt(4) / (that + 1/.10)
    three = 1 / 0.12 + 1 / 0.10 + 1 / 0.18
    assert made[6].error == pytest.approx(math.sqrt(3) / three / (2 / (three + 10)))


def test_with_one_task_left_there_is_none_and_it_says_what_is_missing():
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


def test_a_task_without_a_baseline_of_its_own_is_left_out():
    late = series(5.0, 50.0, first=7)
    made = composite(
        {"tapping": series(*[1.0] * 8), "pursuit": series(*[1.0] * 8), "trail": late}
    )
    assert [p.value for p in made] == [1.0] * 8


def test_a_new_baseline_is_the_one_parts_are_set_against():
    values = [1.0] * 6 + [2.0] * 6
    points = {task: series(*values) for task in TASKS}
    made = composite(points, restart_visit=7)
    assert made[6].value / made[0].value == pytest.approx(2.0)
    assert composite({**points, "slide": series(*values[:-1], 400.0)}, restart_visit=7)[
        11
    ].value == pytest.approx(made[10].value * math.exp(MAX_APART / TOTAL))


def test_one_task_alone_makes_no_composite():
    assert composite({"tapping": series(1.0), "trail": []}) == ()


def test_the_part_that_leads_is_named():
    made = composite({"tapping": series(*BEFORE, 1.2), "trail": series(*BEFORE, 1.01)})
    assert (made[5].leads, made[6].leads) == ("", "tapping")
    assert made[6].lead_share > 0.5


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


@settings(max_examples=300, phases=[Phase.explicit, Phase.generate])
@given(
    st.sampled_from(sorted(TASKS)), st.floats(-6, 6),
    st.lists(st.floats(0.08, 1.0), min_size=3, max_size=3), st.sampled_from([-1.0, 1.0]),
)  # fmt: skip
def test_no_single_part_turns_the_sign_of_the_other_three(one, stray, others, sign):
    """Three parts moved by 8 % or more one way, the fourth by any factor from 1/400 to 400."""
    rest = [task for task in TASKS if task != one]
    values = {t: math.exp(sign * d) for t, d in zip(rest, others, strict=True)}
    told = math.log(after_baseline(**values, **{one: math.exp(stray)}))
    assert told * sign > 0


def scattered(random, n_visits, change=0.0):
    """One unchanged person's visits on the log scale, with a change after the sixth."""
    logs = {t: random.normal(0, TYPICAL_SCATTER[t], size=n_visits) for t in TASKS}
    for own in logs.values():
        own[6:] += change
    return logs


def test_three_tasks_worse_and_no_tremor_left_is_never_better():
    """15 % worse in three tasks, jitter from 0.5 to 0.02 mm: 300 of 300 were "better"."""
    random = np.random.default_rng(3)
    words = []
    for _ in range(300):
        logs = scattered(random, 18, math.log(1.15))
        values = {t: np.exp(own) for t, own in logs.items()}
        values["slide"] = 0.5 * np.exp(logs["slide"] - math.log(1.15))
        values["slide"][6:] = 0.02
        made = composite(
            {t: series(*v) for t, v in values.items()}, min_compared={"slide": 0.1}
        )
        told = judge(made, None, log_scale=True, direction="lower", rule=BaselineRule())
        words.append((told.word, told.better))
    assert ("beyond error", True) not in words
    assert words.count(("possible, repeat", True)) <= 3  # one visit by chance


def test_the_bound_costs_little_where_nothing_strays():
    """Scatter of unchanged people against that of the plain mean: hardly narrower."""
    random = np.random.default_rng(4)
    bounded, plain = [], []
    for _ in range(400):
        logs = scattered(random, 7)
        made = composite({t: series(*np.exp(own)) for t, own in logs.items()})
        bounded.append(math.log(made[6].value / made[5].value))
        steps = [(own[6] - own[5]) / TYPICAL_SCATTER[t] for t, own in logs.items()]
        plain.append(sum(steps) / TOTAL)
    assert 0.9 < np.std(bounded) / np.std(plain) < 1.02
