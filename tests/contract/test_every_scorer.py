"""What every scorer must keep. A task is scored by its own rules or refused by its name."""

import dataclasses
import math

import pytest

from battery.errors import ScoringError
from battery.scoring import MEASURES, score_block, trial_rows
from battery.scoring.flags import flag_measures, flags_of
from battery.scoring.gate import right_tries
from battery.scoring.scorers import SCORERS, TaskScorer
from battery.simulate import Truth
from tasks.registry import TASKS
from tests.blocks import simulated_block
from tests.clinic import SCREEN


def test_every_task_has_a_scorer_and_every_scorer_a_task():
    assert list(SCORERS) == list(TASKS)


@pytest.fixture(params=SCORERS, scope="module")
def block(request):
    return simulated_block(request.param, Truth(), seed=3)


def test_a_scorer_gives_its_measures_trials_and_tries(block):
    scorer = SCORERS[block.header.task]
    scores = score_block(block, screen=SCREEN)
    assert [s.measure for s in scores] == [m.name for m in scorer.measures]
    assert all(s.reason or not math.isnan(s.value) for s in scores)
    primary = next(s for s in scores if s.measure == scorer.primary.name)
    assert primary.n >= scorer.min_trials
    assert set(flag_measures(scorer.task)) <= set(MEASURES)
    rows = trial_rows(block)
    assert [row["trial"] for row in rows] == sorted({row["trial"] for row in rows})
    assert all({"trial", "label", "outcome", "start_s", "end_s"} <= set(row) for row in rows)
    assert right_tries(block)


def test_a_block_of_a_task_without_scorer_is_refused_by_name(block):
    """It once fell through to the rules of the trail."""
    header = dataclasses.replace(block.header, task="balancing")
    strange = dataclasses.replace(block, header=header)
    for compute in (lambda b: score_block(b, screen=SCREEN), trial_rows, right_tries):
        with pytest.raises(ScoringError, match="no scorer of task 'balancing'"):
            compute(strange)


@pytest.mark.parametrize(("n", "raised"), [(0, "few"), (1, "few"), (2, "rather"), (3, "")])
def test_the_fewest_trials_stand_in_the_record(monkeypatch, n, raised):
    changed = dataclasses.replace(SCORERS["trail"], min_trials=2, min_trials_usual=3)
    monkeypatch.setitem(SCORERS, "trail", changed)
    flags = flags_of(
        ending="finished", input_type="touch", scale_source="card",
        audit=simulated_block("slide", Truth(), seed=3).audit, task="trail", n_primary=n,
    )  # fmt: skip
    assert [f.split("_")[0] for f in flags if f.endswith("few_trials")] == [raised] * bool(
        raised
    )


@pytest.mark.parametrize(
    "change",
    [
        {"task": "balancing"},
        {"partner": "slide.nothing"},
        {"flag_measures": ("tapping.hit_rate",)},
        {"measures": SCORERS["slide"].measures[1:]},
        {"measures": SCORERS["slide"].measures * 2},
    ],
    ids=lambda change: next(iter(change)),
)
def test_a_record_that_contradicts_itself_is_refused(change):
    own = (f.name for f in dataclasses.fields(TaskScorer) if f.init)
    told = {name: getattr(SCORERS["slide"], name) for name in own}
    with pytest.raises(ValueError, match="scorer of"):
        TaskScorer(**(told | change))
