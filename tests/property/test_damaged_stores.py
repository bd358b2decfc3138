"""Pages of the file zeroed, scrambled, flipped or exchanged: a line, never a traceback."""

import random

import pytest

from battery.errors import BatteryError
from battery.export import export_tidy
from battery.report import page_of, render
from battery.report.caseload import caseload
from battery.store import Store
from battery.store.opening import FILE_NAME
from battery.verify import verify
from tests import handover_kit as hand
from tests.export_kit import EVERYBODY

PAGE_BYTES = 4096


def damaged(data, chance):
    """Spoil up to three pages."""
    spoilt = bytearray(data)
    n_pages = len(data) // PAGE_BYTES
    for _ in range(chance.choice((1, 1, 3))):
        at = PAGE_BYTES * chance.randrange(n_pages if chance.random() < 0.7 else 40)
        other = PAGE_BYTES * chance.randrange(n_pages)
        how = chance.randrange(4)
        if how == 0:
            spoilt[at : at + PAGE_BYTES] = bytes(PAGE_BYTES)
        elif how == 1:
            spoilt[at : at + PAGE_BYTES] = chance.randbytes(PAGE_BYTES)
        elif how == 2:
            for _ in range(20):
                spoilt[at + chance.randrange(PAGE_BYTES)] ^= 1 << chance.randrange(8)
        else:
            spoilt[at : at + PAGE_BYTES] = data[other : other + PAGE_BYTES]
    return bytes(spoilt)


@pytest.mark.parametrize(
    "n_stores", [2, pytest.param(500, marks=[pytest.mark.long, pytest.mark.timeout(7200)])]
)
def test_a_damaged_store_gives_lines_and_no_traceback(own_clinic, tmp_path, n_stores):
    with Store.open(own_clinic):
        pass  # the log goes into the file
    data = (own_clinic / FILE_NAME).read_bytes()
    chance = random.Random(n_stores)
    refused = []
    for number in range(n_stores):
        home = tmp_path / str(number)
        home.mkdir()
        (home / FILE_NAME).write_bytes(damaged(data, chance))
        for look in (
            verify,
            lambda store: caseload(store, now=hand.NOW),
            lambda store: render(page_of(store, "K7QF", now=hand.NOW)),
            lambda store, out=home / "out": export_tidy(store, out, selection=EVERYBODY),
        ):
            try:
                with Store.open(home, write=False) as store:
                    look(store)
            except BatteryError as error:
                refused.append(str(error))
    assert not any("\n" in line for line in refused)
    assert len(refused) < 4 * n_stores
