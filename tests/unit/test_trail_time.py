"""Time per link: over everything that was asked, finished or not."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from battery.recording import KIND_CODES, Screen
from battery.recovery.relive import relive
from battery.scoring import score_block
from battery.scoring.stats.resampling import Bootstrap, ratio
from battery.scoring.trail.links import Form, Link
from battery.scoring.trail.scores import per_link
from battery.simulate import Truth
from tests.blocks import simulated_block
from tests.people import events

SCREEN = Screen(1280, 800, 0.1, 0.1, "virtual")


def scored(block):
    return {s.measure.split(".", 1)[1]: s for s in score_block(block, screen=SCREEN)}


@pytest.fixture(scope="module")
def whole():
    return simulated_block("trail", Truth(error_rate=0), seed=4)


def stuck(block, n_links):
    """The finger stays on the glass, where it was, from the n-th capture until the limit."""
    at_ns = events(block, "capture")[n_links - 1].t_ns if n_links else 0
    samples = block.samples[block.samples["t_ns"] <= at_ns]
    last = samples[-1:].copy()
    rest = np.repeat(last, 170)
    rest["kind"] = KIND_CODES["move"]
    rest["t_ns"] = at_ns + np.arange(1, 171) * 1_000_000_000
    return relive(block, np.concatenate([samples, rest]))


def test_a_trail_that_was_not_finished_counts_with_its_whole_time(whole):
    """Ten links: seven of the first trail, three of the second until the limit of 180 s.

    The first was shown from the beginning, the second when the first was done.
    """
    block = stuck(whole, 10)
    found = scored(block)
    expected_s = (180 - events(block, "form")[0].t_ns / 1e9) / 10
    assert found["time_per_link_s"].value == pytest.approx(expected_s)
    assert found["time_per_link_s"].value > 4 * scored(whole)["time_per_link_s"].value
    assert found["finished_share"].value == 0.25
    reason = found["completion_time_s"].reason
    assert "1 of 4 trails finished within the limit of 180 s" in reason
    assert f"longer than {10 * expected_s:.1f} s" in reason


def test_no_link_at_all_has_no_number(whole):
    block = simulated_block("trail", Truth(error_rate=0), seed=4)
    first = block.samples[:2].copy()
    first["t_ns"] = [1_000_000_000, 1_008_000_000]
    rest = np.repeat(first[-1:], 20)
    rest["t_ns"] = (10 + np.arange(20) * 8) * 1_000_000_000
    rest["kind"] = KIND_CODES["move"]
    found = scored(relive(block, np.concatenate([first, rest])))
    assert found["time_per_link_s"].reason == "no link was made in 180.0 s"


@pytest.mark.parametrize(("tremor_hz", "tremor_mm"), [(2.5, 2.0), (3.0, 2.0), (3.5, 2.0)])
def test_search_does_not_turn_into_travel_by_a_slow_tremor(whole, tremor_hz, tremor_mm):
    """With a low-pass at 3 Hz and a limit of 10 mm/s half of the search went over."""
    still = simulated_block("trail", Truth(error_rate=0, tremor_mm=0), seed=4)
    shaken = simulated_block(
        "trail", Truth(error_rate=0, tremor_hz=tremor_hz, tremor_mm=tremor_mm), seed=4
    )
    calm_s, shaken_s = (scored(b)["search_time_s"].value for b in (still, shaken))
    assert shaken_s == pytest.approx(calm_s, rel=0.15)


NAME = "trail.time_per_link_s"
LINK = {name: 0 for name in Link.__dataclass_fields__}


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(0.3, 20), min_size=2, max_size=28),
    st.integers(1, 27),
    st.floats(0, 100),
)
def test_stopping_short_never_makes_the_time_per_link_shorter(times_s, kept, more_s):
    """Who stays put instead of making the other links needs as long as they took, or more."""

    def form(times_s, *, done, end_s):
        links = [Link(**(LINK | {"search_time_s": t})) for t in times_s]
        return Form(0, "numbers", links, done, 0.0, end_s)

    kept = min(kept, len(times_s) - 1)
    whole_s = sum(times_s)
    finished = [form(times_s, done=True, end_s=whole_s)]
    short = [form(times_s[:kept], done=False, end_s=whole_s + more_s)]
    assert per_link(NAME, short, short).value >= per_link(NAME, finished, finished).value - 1e-9


def test_thinking_before_the_first_node_is_left_counts(whole):
    """The finger lies 6 s on the first node of each trail before it goes on as before."""
    samples = whole.samples.copy()
    left = [e.t_ns for e in events(whole, "release")]
    for number, at_ns in enumerate(left):
        later = samples["t_ns"] >= at_ns + number * 6_000_000_000
        samples["t_ns"][later] += 6_000_000_000
    before, after = scored(whole), scored(relive(whole, samples))
    assert after["completion_time_s"].value == pytest.approx(
        before["completion_time_s"].value, abs=0.1
    )
    assert after["time_per_link_s"].value == pytest.approx(
        before["time_per_link_s"].value + 4 * 6 / 28, abs=0.01
    )


def test_of_three_ways_only_the_ratio_is_near_the_truth_and_tells_who_is_stuck():
    """4,000 slow people of 28 links, cut off at 180 s; then the same, stuck at some link.

    The mean of the links made does not know of the stuck; the mean restricted to the limit
    (time over links asked) cannot go above 6.4 s, whoever needs 10.
    """
    random = np.random.default_rng(5)
    bias = {"ratio": [], "made": [], "restricted": []}
    worse = {"ratio": [], "made": [], "restricted": []}
    for _ in range(4000):
        mean_s = random.uniform(4, 10)
        times_s = random.lognormal(np.log(mean_s) - 0.18, 0.6, size=28)
        ends_s = np.cumsum(times_s)
        n = max(1, int(np.count_nonzero(ends_s <= 180)))
        spent_s = min(180.0, ends_s[-1])
        n_stuck = int(random.integers(1, n + 1))
        usual = {
            "ratio": spent_s / n, "made": times_s[:n].mean(), "restricted": spent_s / 28,
        }  # fmt: skip
        stuck = {
            "ratio": 180 / n_stuck, "made": times_s[:n_stuck].mean(), "restricted": 180 / 28,
        }  # fmt: skip
        for way in usual:
            bias[way].append(np.log(usual[way] / mean_s))
            worse[way].append(stuck[way] >= usual[way])
    assert abs(np.mean(bias["ratio"])) < 0.05
    assert np.mean(bias["restricted"]) < -0.1
    assert all(worse["ratio"])
    assert np.mean(worse["made"]) < 0.7


def test_resamples_that_drew_nothing_but_empty_pieces_are_left_out():
    """Of five pieces four are empty: a third of the resamples have 0 over 0 (0.8^5)."""
    pieces = np.array([[0.0, 0.0], [0.0, 0.0], [2.0, 1.0], [0.0, 0.0], [0.0, 0.0]])
    drawn = Bootstrap(1).values(pieces, ratio)
    assert 0.2 < np.isnan(drawn).mean() < 0.45
    assert np.all(drawn[~np.isnan(drawn)] == 2.0)
    assert all(math.isnan(end) for end in Bootstrap(1).interval(pieces, ratio))
