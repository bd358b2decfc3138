"""A tapping block lasts as long as a stated least number of trials takes, within a limit."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from battery.plan import SHORT, STANDARD, planned_blocks
from battery.recording import Screen
from battery.scoring import score_block
from battery.scoring.flags import Value, flag_measures, flags_of
from battery.simulate import Truth
from tasks import tapping
from tasks.contract import Contact, Tick, settings_from_dict, settings_to_dict
from tests import makers
from tests.blocks import simulated_block
from tests.people import events

SCREEN = Screen(1280, 800, 0.1, 0.1, "virtual")


def scored(block):
    return {s.measure.split(".", 1)[1]: s for s in score_block(block, screen=SCREEN)}


def test_the_plans_ask_for_as_many_trials_as_a_comparison_needs():
    for plan, least, practice in ((STANDARD, 20, 0), (SHORT, 15, 0)):
        blocks = [b for b in planned_blocks(plan, "right") if b.task == "tapping"]
        by_phase = {b.phase: b.options.min_trials for b in blocks}
        assert by_phase == {"test": least, "practice": practice}


@pytest.mark.parametrize(("movement_s", "seconds"), [(0.5, (60, 60)), (2.0, (62, 150))])
def test_the_slow_have_their_trials_and_the_quick_their_minute(movement_s, seconds):
    """Movement times of 2 s left under 15 trials in a minute, and the block set aside."""
    block = simulated_block("tapping", Truth(movement_s=movement_s, reaction_s=0.8), seed=2)
    over = len(events(block, "touch")) + len(events(block, "no_answer"))
    assert over >= 20
    low, high = seconds
    assert low <= events(block, "end")[0].t_ns / 1e9 <= high
    scores = score_block(block, screen=SCREEN)
    values = {s.measure: Value(s.value, s.n, s.reason) for s in scores}
    kept = {name: values[name] for name in flag_measures("tapping")}
    raised = flags_of(
        ending="finished", input_type="touch", scale_source="card", audit=block.audit,
        task="tapping", n_primary=next(iter(kept.values())).n, scores=kept,
    )  # fmt: skip
    assert not {"few_trials", "rather_few_trials"} & set(raised)


def test_it_ends_at_the_limit_all_the_same():
    block = makers.tapping(3, movement_s=11.0)
    assert events(block, "end")[0].t_ns == 150 * 10**9


def test_it_ends_with_the_last_trial_that_was_asked_for():
    block = makers.tapping(3, movement_s=3.0)
    touches = events(block, "touch")
    assert len(touches) == 20
    assert events(block, "end")[0].t_ns == touches[-1].t_ns > 60 * 10**9


@settings(max_examples=50, phases=[Phase.explicit, Phase.generate])
@given(st.lists(st.tuples(st.floats(0.01, 4.0), st.booleans()), min_size=1, max_size=60))
def test_without_a_least_number_it_is_the_task_of_before(steps):
    """The later settings left out of the text, and out of what happens."""
    bare = settings_from_dict(
        tapping.TappingSettings,
        makers.header_of("tapping", 1, min_trials=0, limit_s=0.0).settings,
    )
    assert "min_trials" not in settings_to_dict(bare)
    limited = dataclasses.replace(bare, limit_s=500.0)
    state, other, t_ns = tapping.start(bare), tapping.start(limited), 0
    for seconds, at_home in steps:
        t_ns += round(seconds * 1e9)
        x_mm, y_mm = (bare.home_x_mm, bare.home_y_mm) if at_home else bare.targets_mm[0]
        for signal in (
            Contact(t_ns, "down", x_mm, y_mm, 1),
            Tick(t_ns + 400_000_000),
            Contact(t_ns + 500_000_000, "up", x_mm, y_mm, 1),
        ):
            state, made = tapping.advance(bare, state, signal)
            other, also = tapping.advance(limited, other, signal)
            assert made == also
            assert all(e.t_ns <= 60 * 10**9 for e in made)
        t_ns += 500_000_000


def test_a_trial_without_an_answer_counts_with_the_whole_way_from_home():
    """Two of the trials unanswered: their way, 75 mm, and 10 s, enter; by hand."""
    block = makers.tapping(4, unanswered=(3, 8))
    found = scored(block)
    s = block.header.settings
    errors = [
        math.dist((e.x_mm, e.y_mm), s["targets_mm"][e.trial]) for e in events(block, "touch")
    ]
    home = (s["home_x_mm"], s["home_y_mm"])
    missed = [math.dist(home, s["targets_mm"][e.trial]) for e in events(block, "no_answer")]
    assert len(missed) == 2
    assert missed == pytest.approx([75.0, 75.0])
    assert found["radial_error_mm"].value == pytest.approx(np.mean(errors + missed))
    hits = sum(e.label == "hit" for e in events(block, "touch"))
    assert found["hit_rate"].value == pytest.approx(hits / (len(errors) + 2))


@settings(max_examples=15, phases=[Phase.explicit, Phase.generate])
@given(st.sets(st.integers(0, 19), min_size=1, max_size=8), st.floats(1, 12))
def test_leaving_out_trials_never_makes_the_error_smaller(left_out, error_mm):
    whole = scored(makers.tapping(9, error_mm=error_mm))
    less = scored(makers.tapping(9, error_mm=error_mm, unanswered=left_out))
    assert less["radial_error_mm"].value > whole["radial_error_mm"].value
    assert less["movement_time_s"].value >= whole["movement_time_s"].value - 0.05
