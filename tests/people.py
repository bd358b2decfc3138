"""What tests of simulated participants share: nothing by chance, a pointer without errors."""

import dataclasses

from battery.recording import BlockHeader, events_from_array
from battery.runner import run_block
from battery.simulate import TOUCH_120, Person, Pointer, Truth
from tasks.contract import NS_PER_S, settings_to_dict
from tasks.registry import make_settings

CALM = Truth(
    reaction_sd_s=0.0, movement_spread=0.0, aim_noise=0.0, tremor_mm=0.0, wander_mm=0.0,
    error_rate=0.0, search_spread=0.0,
)  # fmt: skip
EXACT = Pointer(rate_hz=1000.0, grid_mm=0.0, scan_jitter_s=0.0, drain_s=0.0)


def calm(**differences):
    return dataclasses.replace(CALM, **differences)


def block_of(task, options, truth, pointer=TOUCH_120, *, seed=1, hand="right"):
    """Play a block of options of one's own."""
    settings = settings_to_dict(make_settings(task, options, seed, hand=hand))
    header = BlockHeader(
        block_id="00000000-0000-4000-8000-000000000000", visit_id="", index=0, task=task,
        hand=hand, phase="test", layout_seed=seed, layout_hash="", settings=settings,
        started_utc="",
    )  # fmt: skip
    return run_block(header, Person(truth, pointer, seed))


def events(block, *kinds):
    return [e for e in events_from_array(block.events) if e.kind in kinds]


def seconds(event):
    return event.t_ns / NS_PER_S
