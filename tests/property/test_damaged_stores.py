"""Pages of the file zeroed, scrambled, flipped or exchanged: a line, never a traceback."""

import random
import shutil
import sys
from collections import Counter

import pytest

from battery.store import Store
from battery.store.opening import FILE_NAME
from tests import clinic as made_up
from tests.lied_to import COMMANDS, ask

PAGE_BYTES = 4096
ASKED = ("verify", "people", "page", "tidy", "bids", "rescore", "alarms of one", "backup")


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


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The file of a store of small visits."""
    home = tmp_path_factory.mktemp("whole") / "home"
    made_up.make_small(home)
    with Store.open(home):
        pass  # the log goes into the file
    return (home / FILE_NAME).read_bytes()


@pytest.mark.parametrize(
    "n_stores", [3, pytest.param(500, marks=[pytest.mark.long, pytest.mark.timeout(7200)])]
)
def test_a_damaged_store_gives_lines_and_no_traceback(whole, tmp_path, n_stores):
    """Every command says in lines what it cannot do; any error but ours comes up."""
    chance = random.Random(n_stores)
    ended = Counter()
    for _ in range(n_stores):
        home, out = tmp_path / "home", tmp_path / "out"
        home.mkdir()
        (home / FILE_NAME).write_bytes(damaged(whole, chance))
        for name in ASKED:
            out.mkdir()
            words = (word.format(out) for word in COMMANDS[name])
            status, said = ask(*words, home=home)
            assert status in (0, 1, 2), name
            assert status == 0 or said.strip(), name
            assert all(len(line) < 2_000 for line in said.splitlines()), name
            ended[name, status] += 1
            shutil.rmtree(out)
        shutil.rmtree(home)
    told = {name: [ended[name, status] for status in (0, 1, 2)] for name in ASKED}
    sys.stdout.write(f"\n{n_stores} damaged stores, ends with 0, 1 and 2: {told}\n")
    assert all(sum(counts) == n_stores for counts in told.values())
    assert sum(told["verify"][1:]) > n_stores / 2
