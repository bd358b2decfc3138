"""Names out of a store that lead elsewhere: no writer leaves its folder, whatever they say."""

import base64
import json
import shutil
import sqlite3

import pytest

from battery.errors import BatteryError, StoreError
from battery.handover import keys
from battery.handover.receipts import write_receipt
from battery.report import page_of, render
from battery.store import Store
from battery.store.opening import FILE_NAME
from tests import handover_kit as hand
from tests.lied_to import COMMANDS, ask
from tests.sparing import only
from tests.unit.test_damaged_columns import made

NAMES = ("/../../../X", "..", "../../x", "/tmp/x", "a/b", "C:\\x", "x\ny", "a" * 5_000, "\0")
WRITERS = (
    "page", "own page", "page of another", "tidy", "bids", "charts", "send", "receive",
    "backup",
)  # fmt: skip
# Columns whose values stand in names of files, or once did.
PLACES = (
    ("people", "code"), ("visits", "visit_id"), ("visits", "person"), ("blocks", "block_id"),
    ("blocks", "task"), ("blocks", "hand"), ("devices", "alias"), ("plans", "plan_hash"),
    ("bundles", "file_name"), ("bundles", "visit_id"), ("tablets", "fingerprint"),
    ("tablets", "device"), ("received", "fingerprint"), ("settings", "name"),
)  # fmt: skip


@pytest.fixture(scope="module")
def template(small_clinic, tmp_path_factory):
    return made(tmp_path_factory.mktemp("names"), small_clinic)


def opened(home):
    connection = sqlite3.connect(home / FILE_NAME, isolation_level=None)
    connection.execute("PRAGMA foreign_keys = 0")
    return connection


def renamed(home, code, name):
    """Call a person something else wherever they stand, as a program without a gate might."""
    connection = opened(home)
    tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_master "
                                                   "WHERE type = 'table'")]  # fmt: skip
    for table in tables:
        columns = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
        for column in columns & {"person", "code"}:
            connection.execute(
                f"UPDATE OR IGNORE {table} SET {column} = ? WHERE {column} = ?",
                (name, code),
            )
    rows = connection.execute("SELECT visit_id, header_json FROM visits").fetchall()
    for visit_id, text in rows:
        header = json.loads(text)
        if header["person"] == code:
            told = json.dumps({**header, "person": name})
            connection.execute(
                "UPDATE visits SET header_json = ? WHERE visit_id = ?", (told, visit_id)
            )
    connection.close()


def outside(root, *within):
    """Every file and folder below a root that lies in none of some folders."""
    return {
        (str(path), path.stat().st_size if path.is_file() else -1)
        for path in root.rglob("*")
        if not any(folder == path or folder in path.parents for folder in within)
    }


def write_everything(home, root, out):
    """Let every writer write into a folder; return what it left elsewhere below the root."""
    out.mkdir(parents=True)
    before = outside(root, home, out)
    for name in WRITERS:
        status, _ = ask(*(word.format(out) for word in COMMANDS[name]), home=home)
        assert status in (0, 1, 2)
    left = outside(root, home, out) - before
    shutil.rmtree(out)
    return left


@pytest.mark.parametrize("name", only(NAMES, NAMES[:1]))
def test_a_person_of_a_hostile_name_is_written_nowhere_else(template, tmp_path, name):
    deep = tmp_path / "a" / "b" / "c" / "d"
    home = shutil.copytree(template, deep / "home")
    renamed(home, "K7QF", name)
    assert write_everything(home, tmp_path, deep / "out") == set()
    with Store.open(home, write=False) as store:
        assert name not in {person.code for person in store.people.all()}
        assert store.unreadable()
        with pytest.raises(BatteryError):
            render(page_of(store, name, now=hand.NOW))


@pytest.mark.long
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("table", "column"), PLACES)
def test_a_hostile_name_in_any_column_is_written_nowhere_else(
    template, tmp_path, table, column, name
):
    deep = tmp_path / "a" / "b" / "c" / "d"
    home = shutil.copytree(template, deep / "home")
    connection = opened(home)
    done = connection.execute(
        f"UPDATE OR IGNORE {table} SET {column} = ?1 WHERE rowid = "
        f"(SELECT max(rowid) FROM {table})",
        (name,),
    )
    connection.close()
    assert done.rowcount == 1
    assert write_everything(home, tmp_path, deep / "out") == set()


@pytest.mark.parametrize("name", only(NAMES, [NAMES[0], "x\ny"]))
def test_a_bundles_or_receipts_file_lies_in_the_folder_or_nowhere(template, tmp_path, name):
    home = shutil.copytree(template, tmp_path / "home")
    stick = tmp_path / "a" / "b" / "stick"
    stick.mkdir(parents=True)
    connection = opened(home)
    connection.execute("UPDATE bundles SET file_name = ?, sent_utc = NULL", (name,))
    connection.execute("UPDATE received SET fingerprint = ?", (name,))
    connection.execute("UPDATE OR IGNORE tablets SET fingerprint = ?", (name,))
    connection.close()
    before = outside(tmp_path, home, stick)
    for words in (("send", "--to", str(stick)), ("receive", str(stick))):
        status, said = ask(*words, home=home)
        assert status == 1
        assert "cannot be read" in said
    assert outside(tmp_path, home, stick) == before
    with Store.open(home, write=False) as store:
        own = keys.clinic_keys(store)
    with pytest.raises(StoreError, match=r"outside|cannot write"):
        write_receipt(stick / "none", own.card, own.signer, f"/../{name}/..", [],
                      made_utc=hand.SAID["at_utc"])  # fmt: skip
    assert outside(tmp_path, home, stick) == before
    assert base64.b64decode(own.card.sign)
