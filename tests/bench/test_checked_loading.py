"""What it costs to look at the seal of a block whenever it is loaded, beside loading it."""

import sys
import time

import pytest

from battery.store import Store

pytestmark = [pytest.mark.bench, pytest.mark.long]

MAX_RATIO = 1.3
N_ROUNDS = 15


def test_checked_loading_costs_little_more_than_loading(clinic):
    """Least processor time of rounds that take turns, so that other work slows both."""
    with Store.open(clinic, write=False) as store:
        blocks = [
            record.header.block_id
            for visit in store.visits.all()
            for record in store.records.of_visit(visit.header.visit_id)
        ]
        least_s = {True: float("inf"), False: float("inf")}
        for _ in range(N_ROUNDS):
            for checked in (True, False):
                began_s = time.process_time()
                for block_id in blocks:
                    store.records.load(block_id, checked=checked)
                least_s[checked] = min(least_s[checked], time.process_time() - began_s)
    ratio = least_s[True] / least_s[False]
    told = ", ".join(f"{least_s[checked] * 1e3:.0f} ms" for checked in (True, False))
    sys.stdout.write(f"\n{len(blocks)} blocks, checked and not {told}, ratio {ratio:.2f}\n")
    assert ratio < MAX_RATIO
