"""Scoring finds the ground truth of simulated participants; its page says where not."""

import dataclasses
import re
from pathlib import Path

import pytest

from battery.recovery import PEOPLE, QUANTITIES, find, page
from battery.recovery.finding import Found
from battery.scoring import MEASURES
from battery.simulate import POINTERS

A_FEW = ("steady", "slow tremor", "fast tremor", "tremor aslant")
KINDS = ("touch 60 Hz",)  # a slow panel; all by hand
DOCUMENT = Path(__file__).parents[2] / "battery" / "recovery" / "recovery.md"


@pytest.fixture(scope="module")
def found():
    return find(A_FEW, KINDS, n_repeats=2, n_processes=1)


def limits():
    return [q for q in QUANTITIES if q.limit == q.limit and q.measure in MEASURES]


@pytest.mark.parametrize("quantity", limits(), ids=lambda q: q.measure)
def test_what_is_promised_is_kept_for_a_few_people(found, quantity):
    """Delay 10 ms, gain 0.03, amplitude 10 %, frequency 0.2 Hz, each block by itself."""
    cells = [f for f in found if f.quantity == quantity]
    assert len(cells) == len(A_FEW) * len(KINDS)
    for cell in cells:
        assert cell.promised
        assert cell.kept, (cell.person, cell.pointer, cell.true, cell.values)


@pytest.mark.long
def test_what_is_promised_is_kept_for_everybody():
    for cell in find(n_repeats=4):
        assert cell.kept or not cell.promised, cell


def test_times_and_extents_are_near_the_truth(found):
    """No promise, but no accident either: 20 trials with the spread the people have."""
    near = {
        "tapping.reaction_time_s": 0.04,
        "tapping.movement_time_s": 0.04,
        "slide.extent_mm": 0.08,
        "tapping.variable_error_mm": 0.40,
        "trail.search_time_s": 0.25,
    }
    assert {f.quantity.measure for f in found} > set(near)
    for cell in found:
        slow = cell.quantity.measure == "trail.search_time_s" and cell.person == "slow tremor"
        if cell.quantity.measure in near and not slow:  # a slow tremor passes for travel
            assert abs(cell.bias) < near[cell.quantity.measure], cell


def test_a_cell_outside_its_limit_is_marked_and_one_below_the_floor_is_not_promised(found):
    good = next(f for f in found if f.quantity.measure == "slide.jitter_across_mm")
    bad = dataclasses.replace(good, values=(good.true * 1.11, good.true))
    low = dataclasses.replace(good, floor_mm=good.true / 4.9)
    assert good.kept
    assert not bad.kept
    assert (good.promised, low.promised) == (True, False)
    assert "**! +5.5 % ± 7.8 %**" in page([bad], 2)
    assert "(" in page([low], 2).split("Promised")[1]
    assert "**!" not in page([good], 2).split("In short")[1]


def test_chance_in_a_person_is_judged_by_the_mean():
    """A tremor that is no pure sine has no true size in a single block."""
    quantity = next(q for q in QUANTITIES if q.measure == "slide.jitter_across_mm")
    cell = Found(quantity, "unsteady tremor", "touch 120 Hz", 1.0, (0.85, 1.15), 0.01)
    assert cell.kept
    assert not dataclasses.replace(cell, person="slow tremor").kept
    assert not dataclasses.replace(cell, values=(1.05, 1.2)).kept


def test_there_are_enough_people_and_kinds_of_device():
    assert len(PEOPLE) >= 12
    assert len({(p.touch, p.rate_hz) for p in POINTERS.values()}) >= 3


def test_the_document_speaks_of_these_people_and_marks_no_broken_promise():
    text = DOCUMENT.read_text(encoding="utf-8")
    for person in PEOPLE:
        assert f"| {person} |" in text
    for pointer in POINTERS:
        assert pointer in text
    for quantity in QUANTITIES:
        assert (f"`{quantity.measure}`" in text) is (quantity.measure in MEASURES)
    assert not re.findall(r"\*\*! ", text)
