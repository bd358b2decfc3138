"""One flipped bit of a stored block is named by whatever reads the block."""

import random
import sqlite3

import pytest
from typer.testing import CliRunner

from battery.cli import app
from battery.errors import RecordError
from battery.handover import keys
from battery.report import page_of, render
from battery.rescoring import rescore_all
from battery.store import Store
from battery.store.opening import FILE_NAME
from tests import handover_kit as hand

BLOBS = ("samples", "frames", "events")


class Flipper:
    """Flips a bit of a blob of a finished test block of a person, and flips it back."""

    def __init__(self, home, code):
        self.connection = sqlite3.connect(home / FILE_NAME, isolation_level=None)
        self.blocks = self.connection.execute(
            "SELECT block_id, visit_id FROM blocks JOIN visits USING (visit_id) "
            "WHERE person = ? AND phase = 'test' AND blocks.ending = 'finished' "
            "ORDER BY block_id",
            (code,),
        ).fetchall()

    def flip(self, chance):
        block_id, visit_id = chance.choice(self.blocks)
        blob = chance.choice(BLOBS)
        self.before = (blob, block_id, self._read(blob, block_id))
        data = bytearray(self.before[2])
        bit = chance.randrange(8 * len(data))
        data[bit // 8] ^= 1 << bit % 8
        self._write(blob, block_id, bytes(data))
        return block_id, visit_id

    def undo(self):
        self._write(*self.before)

    def _read(self, blob, block_id):
        query = f"SELECT {blob} FROM payloads WHERE block_id = ?"
        return self.connection.execute(query, (block_id,)).fetchone()[0]

    def _write(self, blob, block_id, data):
        self.connection.execute(
            f"UPDATE payloads SET {blob} = ? WHERE block_id = ?", (data, block_id)
        )


@pytest.mark.parametrize(
    "n_flips",
    [60, pytest.param(5_000, marks=[pytest.mark.long, pytest.mark.timeout(3600)])],
)
def test_no_flipped_bit_of_a_blob_is_silent(own_clinic, n_flips):
    """What report, rescore, export and send read a block by: the whole record, or its seal."""
    flipper, chance = Flipper(own_clinic, "K7QF"), random.Random(n_flips)
    n_named = 0
    with Store.open(own_clinic, write=False) as store:
        for _ in range(n_flips):
            block_id, visit_id = flipper.flip(chance)
            with pytest.raises(RecordError, match=block_id):
                store.records.load(block_id)
            assert set(store.records.damages([visit_id])) == {block_id}
            with pytest.raises(RecordError, match=block_id):
                store.transfer.whole_visit(visit_id)
            n_named += 1
            flipper.undo()
        assert store.records.damages([visit_id]) == {}
    flipper.connection.close()
    assert n_named == n_flips


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.long)])
def test_every_command_names_a_damaged_block_and_goes_on(own_clinic, tmp_path, seed):
    with Store.open(own_clinic) as store:
        keys.make_clinic_keys(store, tmp_path / "stick")
        card = keys.clinic_keys(store).card
        keys.make_tablet_keys(store, keys.found_cards(tmp_path / "stick"), [card.fingerprint])
        rescore_all(store, progress=lambda *_: None, n_processes=1)  # one had no scores
        others = render(page_of(store, "M4WX", now=hand.NOW))
    flipper = Flipper(own_clinic, "K7QF")
    block_id, visit_id = flipper.flip(random.Random(seed))
    flipper.connection.close()
    home = ("--home", own_clinic)
    page = tmp_path / "page.html"
    for words in (
        ("report", "K7QF", "--out", page),
        ("rescore",),
        ("export", tmp_path / "tidy", "--person", "K7QF"),
        ("export", tmp_path / "bids", "--bids", "--person", "K7QF"),
        ("verify",),
        ("send", "--to", tmp_path / "stick"),
    ):
        result = run(*words, *home)
        assert result.exit_code == 1, f"{words}: {result.output}"
        assert isinstance(result.exception, SystemExit), f"{words}: {result.exception!r}"
        assert block_id in result.output, f"{words}: {result.output}"
    assert "damaged, not what was stored" in page.read_text()
    with Store.open(own_clinic, write=False) as store:
        assert visit_id not in {b.visit_id for b in store.bundles.all()}  # the others were sent
        assert len({b.visit_id for b in store.bundles.all()} - {None}) == 4
        assert render(page_of(store, "M4WX", now=hand.NOW)) == others
