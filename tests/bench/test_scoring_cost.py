"""What scoring costs, beside reading the block from the store and one spectrum of it.

By hand, on a quiet machine: ``pytest tests/bench/test_scoring_cost.py -m long -s``. Times are
of the processor, the least of several runs.
"""

from __future__ import annotations

import dataclasses
import time

import numpy as np
import pytest
from scipy.signal import welch

from battery.recording import Screen
from battery.rescoring import rescore
from battery.scoring import score_block
from battery.simulate import POINTERS, Truth
from battery.store import Store
from tasks.layout import SlideOptions
from tests import store_kit as kit
from tests.bench.test_input_timing import say
from tests.blocks import simulated_block
from tests.people import block_of

pytestmark = [pytest.mark.bench, pytest.mark.long]

TASKS = ("tapping", "pursuit", "slide", "trail")
SCREEN = Screen(1280, 800, 0.1, 0.1, "virtual")
MAX_DECODINGS = 8.0  # that scoring a block of 60 s and 120 reports a second may cost
RUNS = 40


def cost_ms(work, runs=RUNS):
    work()
    found = []
    for _ in range(runs):
        begun = time.process_time()
        work()
        found.append(1000 * (time.process_time() - begun))
    return min(found)


def put(store, blocks):
    """Store blocks as one visit; return their identifiers."""
    kit.enrol(store)
    header = kit.visit()
    store.visits.begin(header)
    names = []
    for number, block in enumerate(blocks):
        own = dataclasses.replace(
            block.header, block_id=kit.identifier(f"{number}"), visit_id=header.visit_id,
            index=number,
        )  # fmt: skip
        whole = dataclasses.replace(block, header=own)
        sink = store.records.begin(own)
        sink.put(block.samples, block.frames, [])
        sink.close(whole)
        names.append(own.block_id)
    return names


@pytest.mark.parametrize("pointer", ["touch 120 Hz", "mouse 1000 Hz"])
def test_scoring_beside_decoding_and_one_spectrum(tmp_path, pointer):
    """Flags need nothing more: they stand on what is scored here, with its intervals."""
    blocks = [simulated_block(task, Truth(), POINTERS[pointer], seed=3) for task in TASKS]
    with Store.open(tmp_path) as store:
        names = put(store, blocks)
        decoded_ms = [cost_ms(lambda name=name: store.records.load(name)) for name in names]
    whole = scored = 0.0
    for task, block, decoded in zip(TASKS, blocks, decoded_ms, strict=True):
        score_ms = cost_ms(lambda block=block: score_block(block, screen=SCREEN))
        path_mm = np.stack([block.samples["x_mm"], block.samples["y_mm"]])
        welch_ms = cost_ms(lambda path_mm=path_mm: welch(path_mm, 120, nperseg=480))
        say(
            f"\n{pointer}, {task}: {len(block.samples)} samples, scored in {score_ms:.1f} ms: "
            f"{score_ms / decoded:.1f} decodings ({decoded:.1f} ms), "
            f"{score_ms / welch_ms:.0f} spectra ({welch_ms:.2f} ms)"
        )
        whole, scored = whole + decoded, scored + score_ms
        if pointer == "touch 120 Hz":
            assert score_ms <= MAX_DECODINGS * decoded, task
    say(f"\n{pointer}, the four together: {scored / whole:.1f} decodings")


def test_cost_grows_with_the_length_of_a_block():
    """Ten times the time, a hundred times: no worse than in proportion."""
    per_s = []
    for times in (1, 10, 100):
        block = block_of("slide", SlideOptions(duration_s=20.0 * times), Truth())
        found = cost_ms(lambda block=block: score_block(block, screen=SCREEN), runs=3)
        per_s.append(found / times)
        say(f"\nslide of {20 * times} s: {found:.1f} ms, {found / times:.1f} ms for 20 s")
    assert per_s[2] <= 1.5 * per_s[0]


def test_cost_grows_with_the_number_of_blocks(tmp_path):
    block = simulated_block("trail", Truth(), seed=3)
    per_block = []
    for n in (1, 10, 100):
        with Store.open(tmp_path / str(n)) as store:
            put(store, [block] * n)
            found = cost_ms(
                lambda store=store: rescore(store, progress=lambda *_: None, n_processes=1),
                runs=3,
            )
        per_block.append(found / n)
        say(f"\nrescoring {n} blocks: {found:.0f} ms, {found / n:.1f} ms each")
    assert per_block[2] <= 1.5 * per_block[0]
