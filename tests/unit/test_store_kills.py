"""A kill at any moment costs at most the last second of the block that ran.

The killed program makes half a second of samples, waits until they are on disk, and makes the
next, so that its simulated time stands for the time of a live visit on a slow disk.
"""

import os
import random
import signal

import pytest

from battery.store import Store
from tests import store_kit as kit
from tests.warm_child import WarmChild

SECOND_NS = 1_000_000_000
N_LINES = 36  # what one visit of the killed program says


class Child(WarmChild):
    """The program to be killed, kept warm: it forks for every run."""

    def run(self, *words, kill_after=None):
        """Do as told; kill after so many lines. Return all lines that were said."""
        self.process.stdin.write(" ".join(map(str, words)) + "\n")
        lines, pid = [], None
        for line in self.process.stdout:
            first, *rest = line.split()
            if first == "gone":
                return lines
            if first == "child":
                pid = int(rest[0])
            else:
                lines.append((first, *rest))
            if kill_after is not None and pid is not None and len(lines) >= kill_after:
                os.kill(pid, signal.SIGKILL)
                kill_after = None
        pytest.fail("the helper program ended by itself")


@pytest.fixture(scope="module")
def child():
    made = Child("tests.store_child")
    yield made
    made.close()


def check(home, lines, seen_before=()):
    """Open the store after a kill and hold it to the promise; return the whole blocks."""
    said = {}  # block -> what was said of it
    for first, block_id, *rest in (line for line in lines if line[0] != "all"):
        said.setdefault(block_id, {})[first] = rest[0] if rest else ""
    with Store.open(home) as store:
        running = {
            record.header.block_id
            for visit in store.visits.all()
            for record in store.records.of_visit(visit.header.visit_id)
            if record.ending is None
        }
        assert set(store.records.recover()) == running
        assert len(running) <= 1
        stored = {
            record.header.block_id: record
            for visit in store.visits.all()
            for record in store.records.of_visit(visit.header.visit_id)
        }
        assert all(stored[block_id].sha256 == sha for block_id, sha in seen_before)
        for block_id, words in said.items():
            if block_id not in stored:  # killed before it was entered: nothing had been read
                assert set(words) == {"begun"}
                continue
            hold_to_the_promise(store.records.load(block_id), stored[block_id], words)
        return [(b, r.sha256) for b, r in stored.items() if r.ending == "finished"]


def hold_to_the_promise(block, record, words):
    truth = kit.made_up_block(block.header, block.header.index)
    if "whole" in words or record.ending == "finished":
        assert block.sha256 == record.sha256 == truth.sha256
        assert record.ending == "finished"
        return
    assert record.ending == "interrupted"
    assert "ended while the block ran" in record.reason
    n_samples, n_frames = len(block.samples), len(block.frames)
    assert block.samples.tobytes() == truth.samples[:n_samples].tobytes()
    assert block.frames.tobytes() == truth.frames[:n_frames].tobytes()
    last_ns = int(block.samples["t_ns"][-1]) if n_samples else 0
    assert last_ns >= int(words.get("kept", 0))
    assert int(words.get("read", 0)) - last_ns <= SECOND_NS


def kill_at_random(child, home, n_kills, seed):
    """Kill the same store's program again and again; whatever was whole stays whole."""
    moments = random.Random(seed)
    whole = []
    for _ in range(n_kills):
        lines = child.run("record", home, kill_after=moments.randrange(1, N_LINES))
        assert lines
        earlier = len(whole)
        whole = check(home, lines, whole)
        assert len(whole) >= earlier
    return whole


def test_a_few_kills_cost_no_earlier_block_and_at_most_a_second(child, tmp_path):
    assert len(kill_at_random(child, tmp_path, 6, seed=1)) > 2


@pytest.mark.long
def test_two_hundred_kills_cost_no_earlier_block_and_at_most_a_second(child, tmp_path):
    assert len(kill_at_random(child, tmp_path, 200, seed=2)) > 100


def statements(child, home):
    """How many moments there are to be killed at, from nothing to the end of a visit."""
    lines = child.run("record", home / "whole", 1_000_000)
    return 1 + next(int(words[0]) for first, *words in lines if first == "all")


def kill_at_statement(child, tmp_path, number):
    home = tmp_path / f"at{number}"
    lines = child.run("record", home, number)
    assert not any(first in ("all", "refused") for first, *_ in lines)
    whole = check(home, lines)
    # The store that was left can be recorded into again.
    child.run("record", home, kill_after=N_LINES // 2)
    with Store.open(home) as store:
        store.records.recover()
        kept = {r.header.block_id: r.sha256 for v in store.visits.all() for r in
                store.records.of_visit(v.header.visit_id)}  # fmt: skip
    assert all(kept[block_id] == sha for block_id, sha in whole)


def test_a_kill_at_any_statement_leaves_a_store_that_opens(child, tmp_path):
    """Also while the tables are being made and while a block's parts become one."""
    n_statements = statements(child, tmp_path)
    assert n_statements > 100
    for number in range(3, n_statements, n_statements // 3):
        kill_at_statement(child, tmp_path, number)


@pytest.mark.long
def test_a_kill_at_every_statement_leaves_a_store_that_opens(child, tmp_path):
    for number in range(1, statements(child, tmp_path)):
        kill_at_statement(child, tmp_path, number)
