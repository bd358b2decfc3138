"""Every flag has a record that raises it and one that does not, and an effect of its own."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest

from battery.flagging import history
from battery.recording import KIND_CODES, Device, Screen, TimingAudit, VisitHeader
from battery.runner import audit_of
from battery.scoring import SCORING_VERSION, score_block
from battery.scoring.flags import FLAGS, Value, comparable, flag_measures, flags_of
from battery.scoring.quality import late_change_sd, longest_pause_s
from battery.simulate import TOUCH_120, Truth
from battery.store import BlockBrief
from tests.blocks import simulated_block
from tests.people import calm

SCREEN = Screen(1280, 800, 0.1, 0.1, "card")


def raised(block, *, screen=SCREEN, **given):
    """What a record raises, by the way a page goes: audit and scores, no raw samples."""
    scores = score_block(block, screen=screen)
    values = {s.measure: Value(s.value, s.n, s.reason, s.scoring_version) for s in scores}
    kept = {name: values[name] for name in flag_measures(block.header.task)}
    facts = {
        "ending": block.ending, "input_type": block.input_type,
        "scale_source": screen.scale_source,
        "audit": audit_of(block.samples, block.frames, TimingAudit()),
        "task": block.header.task, "n_primary": next(iter(kept.values())).n, "scores": kept,
    }  # fmt: skip
    return set(flags_of(**(facts | given)))


@pytest.fixture(scope="module")
def tapping():
    return simulated_block("tapping", Truth(movement_s=0.35, reaction_s=0.3), seed=3)


@pytest.fixture(scope="module")
def slide():
    return simulated_block("slide", Truth(), seed=2)


def thinned(block, keep):
    """The same block with fewer reports of moving; presses and lifts are all there."""
    moves = block.samples["kind"] == KIND_CODES["move"]
    number = np.cumsum(moves)
    return dataclasses.replace(block, samples=block.samples[~moves | keep(number)])


def left_alone(block, from_s, to_s):
    """The same block with nothing on the glass for some time, presses and lifts whole."""
    at_s = block.samples["t_ns"] / 1e9
    samples = block.samples[(at_s < from_s) | (at_s > to_s)]
    return dataclasses.replace(block, samples=samples)


@pytest.mark.parametrize("task", ["tapping", "slide", "pursuit", "trail"])
def test_an_ordinary_record_raises_none(task):
    block = simulated_block(task, Truth(movement_s=0.35, reaction_s=0.3), seed=3)
    assert raised(block) <= {"rather_few_trials"}


def test_a_second_contact(tapping):
    palmed = simulated_block("tapping", Truth(palm_per_min=20), seed=2)
    assert "multi_touch" in raised(palmed)
    assert "multi_touch" not in raised(tapping)


def test_guessing(tapping):
    guessing = simulated_block("tapping", Truth(guess_rate=0.4), seed=2)
    assert "guessing" in raised(guessing)
    assert "guessing" not in raised(tapping)


def test_late_fatigue(slide):
    assert "late_fatigue" in raised(simulated_block("slide", Truth(fatigue=0.8), seed=2))
    assert "late_fatigue" not in raised(slide)


def test_change_within_a_block_by_hand():
    """Thirds of four: means 1 and 3, standard deviation 0.853 over all twelve."""
    values = np.array([1.0] * 4 + [2.0] * 4 + [3.0] * 4)
    assert late_change_sd(values) == pytest.approx(2 / np.std(values, ddof=1))
    assert late_change_sd(values[::-1]) == pytest.approx(-late_change_sd(values))
    assert math.isnan(late_change_sd(np.ones(12)))


def test_floor_and_ceiling(tapping, slide):
    exact = simulated_block("tapping", calm(), seed=2)
    wild = simulated_block("tapping", Truth(aim_noise=0.5), seed=2)
    to_the_end = simulated_block("slide", Truth(slide_extent_mm=82), seed=2)
    assert "floor_ceiling" in raised(exact)
    assert "floor_ceiling" in raised(wild)
    assert "floor_ceiling" in raised(to_the_end)
    assert "floor_ceiling" not in raised(tapping)
    assert "floor_ceiling" not in raised(slide)


def test_below_the_floor(slide):
    still = simulated_block("slide", Truth(tremor_mm=0.0, wander_mm=0.0), seed=2)
    assert "below_floor" in raised(still)
    assert "below_floor" not in raised(slide)


def test_few_trials(tapping):
    assert raised(tapping, n_primary=14) == {"few_trials"}
    assert raised(tapping, n_primary=15) == {"rather_few_trials"}
    assert raised(tapping, n_primary=19) == {"rather_few_trials"}
    assert raised(tapping, n_primary=20) == set()


def test_low_rate_and_gaps(slide):
    slow = dataclasses.replace(TOUCH_120, rate_hz=40.0)
    assert "low_rate" in raised(simulated_block("slide", Truth(), slow, seed=2))
    gappy = thinned(slide, lambda number: number % 100 < 88)
    assert "low_rate" in raised(gappy)
    assert "low_rate" not in raised(slide)


def test_input_of_two_kinds(slide):
    samples = slide.samples.copy()
    samples["pointer"][:50] = 0
    mixed = dataclasses.replace(slide, samples=samples)
    assert "input_type_mixed" in raised(mixed)
    assert "input_type_mixed" not in raised(slide)


def test_broken_off_stopped_or_left_alone(slide):
    assert raised(dataclasses.replace(slide, ending="interrupted")) >= {"interrupted"}
    assert raised(dataclasses.replace(slide, ending="stopped")) >= {"stopped"}
    samples = slide.samples
    up = samples["t_ns"][samples["kind"] == KIND_CODES["up"]] / 1e9
    first = float(up[np.searchsorted(up, 10.0)])
    again = samples["t_ns"][samples["kind"] == KIND_CODES["down"]] / 1e9
    later = float(again[np.searchsorted(again, first + 21.0)])
    alone = left_alone(slide, first + 1e-6, later - 1e-6)
    assert longest_pause_s(alone) > 20 > longest_pause_s(slide)
    assert "interrupted" in raised(alone)
    assert score_block(alone, screen=SCREEN)[0].reason.startswith("left alone for 2")
    assert "interrupted" not in raised(slide)


def test_scale_frames_and_stamps(slide):
    assert raised(slide, scale_source="guess") == {"scale_unverified"}
    late = TimingAudit(report_rate_hz=120.0, frame_rate_hz=60.0, slow_frames=60)
    assert raised(slide, audit=late) == {"slow_frames"}
    wide = TimingAudit(report_rate_hz=120.0, stamp_gap_p99_ms=12.0)
    assert raised(slide, audit=wide) == {"wide_stamps"}


def test_scores_of_another_version(tapping):
    old = {"tapping.hit_rate": Value(0.8, 20, "", SCORING_VERSION - 1)}
    assert raised(tapping, scores=old) == {"version_changed"}


def visit(number, *, device=None, **given):
    return VisitHeader(
        visit_id=f"v{number}", person="K7QF", sequence=number, plan_name="", plan_hash="",
        device=device or Device("T-1", SCREEN), started_utc=f"2026-01-{number:02d}T09:00:00",
        utc_offset_min=0, software="", **given,
    )  # fmt: skip


def brief(number, task, layout, input_type="touch", **given):
    facts = {"phase": "test", "ending": "finished"} | given
    return BlockBrief(
        block_id=f"b{number}", visit_id=f"v{number}", number=0, task=task, hand="right",
        layout_hash=layout, reason="", input_type=input_type, audit=TimingAudit(), **facts,
    )  # fmt: skip


def told(visits, blocks):
    return history(visits, {b.visit_id: [b] for b in blocks})


def test_another_device_scale_or_pointer():
    other = Device("T-2", SCREEN)
    larger = Device("T-1", dataclasses.replace(SCREEN, mm_per_px_x=0.2))
    for device in (other, larger):
        found = told([visit(1), visit(2, device=device), visit(3, device=device)], [])
        assert ["device_changed" in found[f"v{n}"] for n in (1, 2, 3)] == [False, True, False]
    kinds = ("touch", "mouse", "mouse")
    blocks = [brief(n, "trail", f"{n}", kind) for n, kind in enumerate(kinds, start=1)]
    found = told([visit(1), visit(2), visit(3)], blocks)
    assert ["device_changed" in found[f"b{n}"] for n in (1, 2, 3)] == [False, True, False]


def test_a_layout_done_before_but_for_the_slide_that_has_two():
    three = [visit(1), visit(2), visit(3)]
    found = told(
        three, [brief(n, "trail", layout) for n, layout in ((1, "a"), (2, "b"), (3, "a"))]
    )
    assert [found[f"b{n}"] for n in (1, 2, 3)] == [[], [], ["layout_repeat"]]
    found = told(three, [brief(n, "slide", "a") for n in (1, 2, 3)])
    assert not any(found[f"b{n}"] for n in (1, 2, 3))
    practised = [brief(1, "trail", "a", phase="practice"), brief(2, "trail", "a")]
    assert told(three, practised)["b2"] == []


def test_first_visits_and_another_protocol():
    found = told([*(visit(n) for n in range(1, 8)), visit(8, protocol_version=99)], [])
    assert [found[f"v{n}"] for n in range(1, 9)] == [
        *[["learning"]] * 6,
        [],
        ["version_changed"],
    ]


HELD_ELSEWHERE = {  # by test_answers and test_flagging_usual
    "stopped_symptom", "hand_mismatch", "hand_uncertain", "helped", "weight_on", "off_window",
    "off_phase", "clock_odd",
}  # fmt: skip


def test_trail_not_finished():
    """Whoever is too slow for the limit is told so, and counts however few links were made."""
    block = simulated_block("trail", Truth(search_s=40.0), seed=2)
    flags = raised(block)
    assert "trail_not_finished" in flags
    assert not flags & {"few_trials", "rather_few_trials"}
    assert "trail_not_finished" not in raised(simulated_block("trail", Truth(), seed=2))


def test_contact_lost():
    """Over 5 % of the time off the glass while the chip moves."""
    often = Truth(lost_contact_per_min=12, lost_contact_s=0.6)
    assert "contact_lost" in raised(simulated_block("pursuit", often, seed=2))
    seldom = Truth(lost_contact_per_min=2, lost_contact_s=0.3)
    assert "contact_lost" not in raised(simulated_block("pursuit", seldom, seed=2))


# "queued_reports", "coarse_pixels" and "position_jumps": tests/unit/test_device_reading.py.


def test_every_flag_has_one_effect_one_saying_and_a_test_here():
    source = Path(__file__).read_text(encoding="utf-8")
    for name, flag in FLAGS.items():
        assert flag.name == name
        assert flag.says
        assert (f'"{name}"' in source) is True
        assert comparable([name]) is (flag.effect in ("care", "shown", "new_series"))
    assert {flag.effect for flag in FLAGS.values()} == {
        "not_scored", "not_trended", "new_series", "care", "shown",
    }  # fmt: skip
