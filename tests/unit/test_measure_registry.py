"""Each measure is defined once and whole; the page of them is made from the registry."""

import re
from pathlib import Path

import pytest

from battery.scoring import MEASURES, PARTNER, PRIMARY, SCORING_VERSION
from battery.scoring.document import page
from battery.scoring.flags import FLAGS

DOCUMENT = Path(__file__).parents[2] / "battery" / "scoring" / "measures.md"
TASKS = ("tapping", "pursuit", "slide", "trail")
# UCUM where it has a name for it; "1" is the unit of a ratio or a count.
UNITS = {"mm", "mm2", "mm/s", "s", "ms", "Hz", "dB", "deg", "%", "1", "bit/s", "/s", "/min"}


@pytest.mark.parametrize("name", MEASURES)
def test_a_measure_says_all_that_others_take_from_it(name):
    measure = MEASURES[name]
    assert measure.name == name
    assert measure.task in TASKS
    assert re.fullmatch(r"[a-z]+\.[a-z0-9_]+", name)
    assert measure.unit in UNITS
    assert measure.title[0].isupper()
    assert measure.meaning.endswith(".")
    assert measure.source
    assert 1 <= measure.since <= SCORING_VERSION
    assert not measure.limits or measure.limits.endswith(".")
    assert not (measure.primary and measure.detail)
    if measure.unit not in ("1", "%", "dB", "deg", "mm2"):
        ending = {
            "bit/s": "bit_s",
            "mm/s": "mm_s",
            "/s": "per_s",
            "/min": "per_min",
            "Hz": "hz",
        }
        assert name.lower().endswith(ending.get(measure.unit, measure.unit))


def test_one_primary_a_task_with_a_partner_of_its_own_task():
    assert {m.task for m in MEASURES.values() if m.primary} == set(TASKS) == set(PRIMARY)
    assert sum(m.primary for m in MEASURES.values()) == 4
    for task, partner in PARTNER.items():
        assert MEASURES[partner].task == task
        assert partner != PRIMARY[task].name
        assert not MEASURES[partner].detail


def test_the_page_of_measures_is_the_one_in_the_repository():
    """Made anew by `python -m battery.scoring battery/scoring/measures.md`."""
    text = DOCUMENT.read_text(encoding="utf-8")
    assert text == page()
    assert all(f"`{name}`" in text for name in [*MEASURES, *FLAGS])
