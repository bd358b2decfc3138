"""Intervals hold the truth about as often as they say, and the page of it says where not."""

import re
from pathlib import Path

import pytest

from battery.scoring import MEASURES
from tests.coverage import CONDITIONS, judged
from tests.sparing import only

DOCUMENT = Path(__file__).parents[2] / "battery" / "recovery" / "coverage.md"
ONE_A_TASK = {c.task: c for c in CONDITIONS if "losing" not in c.says}


@pytest.mark.parametrize("task", only(list(ONE_A_TASK), ["tapping", "trail"]))
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


def test_the_document_judges_every_interval_that_is_shown():
    """Parts by side, by frequency and by kind of trail are computed like their whole."""
    text = DOCUMENT.read_text(encoding="utf-8")
    told = set(re.findall(r"`([a-z]+\.[a-z0-9_]+)`", text))
    assert {name for name, m in MEASURES.items() if m.primary} <= told
    for name, measure in MEASURES.items():
        assert measure.width == "interval" or name in told, name
    for line in text.splitlines():
        if "too narrow**" in line:  # by chance in one cell of hundreds
            assert MEASURES[line.split("`")[1]].detail, line
