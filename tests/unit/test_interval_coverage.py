"""Intervals hold the truth about as often as they say."""

import pytest

from tests.coverage import CONDITIONS, judged

ONE_A_TASK = {c.task: c for c in CONDITIONS if "losing" not in c.says}


@pytest.mark.parametrize("task", ONE_A_TASK)
def test_intervals_hold_the_truth_in_a_few_blocks(task):
    """Eight blocks: five or fewer hold it by chance once in 170 times."""
    for name, held in judged(ONE_A_TASK[task], 8, 77).items():
        assert held.share >= 0.6, (name, held)


@pytest.mark.long
@pytest.mark.parametrize("number", range(len(CONDITIONS)))
def test_intervals_hold_the_truth(number):
    for name, held in judged(CONDITIONS[number], 300, 50_000).items():
        assert not held.by_chance or not held.mark, (name, held)
        assert held.share > 0.92, (name, held)
