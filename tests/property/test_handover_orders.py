"""Whatever comes in whatever order, any number of times, ends in the same store."""

import functools
import itertools
import tempfile
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from battery.handover.receiving import admit
from battery.store import Store
from battery.store.arrival import Beside
from tests import handover_kit as hand
from tests import store_kit as kit

FIRST, SECOND, STRANGER = (hand.key(name) for name in ("first", "second", "stranger"))
OTHER_DEVICE = replace(kit.DEVICE, system="Linux 7")


def said(visit_id, number, new, at):
    return {
        "amendment_id": kit.identifier(f"amendment {number}"), "visit_id": visit_id,
        "block_id": None, "field": "excluded", "old": "no", "new": new, "author": "AB",
        "reason": "r", "at_utc": at,
    }  # fmt: skip


@functools.cache
def arrivals():
    """Five visits from two tablets that count alike, words said later, and forgeries."""
    made = []
    visits = [kit.visit(sequence=number) for number in (1, 2, 3)]
    for number, header in enumerate(visits, start=1):
        content = hand.packed(hand.whole(header, seed=number), number=number)
        made.append(hand.arrival(content, FIRST))
    for number in (1, 2):
        header = kit.visit(
            sequence=number, visit_id=kit.identifier(f"second {number}"), device=OTHER_DEVICE,
            started_utc=f"2026-01-{4 + number:02d}T18:00:00.000+00:00",
        )  # fmt: skip
        content = hand.packed(
            hand.whole(header, seed=50 + number), number=number, device=OTHER_DEVICE
        )
        made.append(hand.arrival(content, SECOND))
    amended = visits[1].visit_id
    early = said(amended, 1, "yes", "2026-05-01T10:00:00+00:00")
    late = said(amended, 2, "no", "2026-05-02T10:00:00+00:00")
    for number, rows in ((4, [early]), (5, [early, late])):
        beside = Beside(visit={"amendments": rows})
        content = hand.packed(hand.whole(visits[1], seed=2), number=number, beside=beside)
        made.append(hand.arrival(content, FIRST))
    practice = {
        "practice_id": kit.identifier("practice"), "person": "K7QF", "kind": "reported",
        "exercise": "all", "hand": None, "minutes": None, "symptoms": None,
        "local_date": "2026-01-09", "at_utc": "2026-01-09T18:00:00+00:00",
    }  # fmt: skip
    fuller = {**practice, "minutes": 20.0, "at_utc": "2026-01-09T18:01:00+00:00"}
    for number, row in ((6, practice), (7, fuller)):
        beside = Beside(person={"practice": [row]})
        made.append(hand.arrival(hand.packed(None, number=number, beside=beside), FIRST))
    # The first visit once more with other samples: by the tablet itself, and by a stranger.
    other = hand.packed(hand.whole(visits[0], seed=99), number=8)
    made += [hand.arrival(other, FIRST), hand.arrival(other, STRANGER)]
    return made


N_ARRIVALS = 11
ORDERS = st.permutations(range(N_ARRIVALS)).flatmap(
    lambda order: st.lists(st.sampled_from(order), max_size=4).map(lambda more: order + more)
)


def end_of(order):
    with tempfile.TemporaryDirectory() as folder, Store.open(folder) as store:
        store.people.add(kit.person())
        for signer in (FIRST, SECOND):
            hand.accept_key(store, signer.public_key().public_bytes_raw())
        for number in order:
            admit(store, arrivals()[number], wall=hand.wall)
        visits = [(v.header.visit_id, v.ending) for v in store.visits.all("K7QF")]
        return hand.state(store), visits


@functools.cache
def in_order():
    return end_of(range(len(arrivals())))


def test_the_end_holds_what_it_should():
    """By hand: of five visits one is in conflict; its two versions and the stranger's wait."""
    state, visits = in_order()
    assert len(arrivals()) == N_ARRIVALS
    assert len(visits) == 4
    assert [item[0] for item in state["quarantine"]] == ["conflict", "conflict", "device"]
    assert len(state["amendments"]) == 2
    assert "('minutes', 20.0)" in state["practice"][0]


@settings(max_examples=10, deadline=None)
@given(order=ORDERS)
def test_every_order_with_repeats_ends_in_the_same_store(order):
    state, visits = end_of(order)
    known, known_visits = in_order()
    assert visits == known_visits
    assert [name for name in known if state[name] != known[name]] == []


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_all_orders_of_the_five_that_touch_one_visit_or_its_neighbours():
    few = [0, 1, 5, 9, 10]
    ends = {repr(end_of(order)) for order in itertools.permutations(few)}
    assert len(ends) == 1
