"""One value of any column of the store that cannot be: named or harmless, never the end."""

import shutil
import sqlite3
import sys

import pyarrow.parquet as pq
import pytest

from battery.export import verify_export
from battery.handover import receive, send
from battery.store import Store, schema
from battery.store.opening import FILE_NAME
from tests import handover_kit as hand
from tests import store_kit as kit
from tests.full_export import say_everything
from tests.lied_to import COMMANDS, Desk, ask

HALF = "CAST(X'4dae41ff' AS TEXT)"  # letters that are no UTF-8
VALUES = (HALF, "'nonsense'", "''", "NULL", "9223372036854775807", "-1", "1e308", "X'00ff'",
          "'[]'", "'{}'", "'null'", "'=1+1'", f"'{'a' * 100_000}'", "'/../../../X'",
          "'9999-12-31T23:59:59+00:00'", "1e999", "'[' || char(10) || ']'")  # fmt: skip
ASKED = (
    "people", "page", "own page", "tidy", "bids", "verify", "visits", "alarms of one", "state",
    "said", "reliability", "keys", "send", "receive", "backup", "rescore", "charts",
)  # fmt: skip
COLUMNS = [
    (table.name, column.name)
    for table in schema.metadata.sorted_tables
    for column in table.columns
    if table.name != "migrations"
]
CASES = [(*column, value) for column in COLUMNS for value in VALUES]


@pytest.fixture(scope="module")
def template(small_clinic, tmp_path_factory):
    """A store in which every table that can be has a row."""
    return made(tmp_path_factory.mktemp("columns"), small_clinic)


def made(folder, clinic):
    """Make that store in a folder from a clinic and return its home."""
    desk = Desk(folder, clinic)
    stick = folder / "stick"
    stick.mkdir()
    desk.put(stick, 1, desk.forged("offset huge"))
    desk.put(stick, 2, desk.true)
    with Store.open(desk.template) as store:
        store.setup.put_device(kit.DEVICE)
        say_everything(store, store.visits.all("K7QF")[-1].header)
        receive(store, stick, wall=hand.wall)
        send(store, stick, wall=hand.wall)
    return desk.template


def spoil(home, table, column, value):
    """Put a value into one row; return whether there was one and the database took it."""
    connection = sqlite3.connect(home / FILE_NAME, isolation_level=None)
    connection.execute("PRAGMA ignore_check_constraints = 1")
    try:
        done = connection.execute(
            f"UPDATE {table} SET {column} = {value} WHERE rowid = "
            f"(SELECT max(rowid) FROM {table})"
        )
    except sqlite3.IntegrityError:
        return False
    else:
        return done.rowcount == 1
    finally:
        connection.close()


def loop(template, folder, cases, commands):
    """Ask commands after each case; any error but ours comes up with its case."""
    n_asked = 0
    for place, (table, column, value) in enumerate(cases):
        home = shutil.copytree(template, folder / "home")
        if spoil(home, table, column, value):
            for name in commands(place):
                out = folder / "out"
                out.mkdir()
                try:
                    status, _ = ask(*(w.format(out) for w in COMMANDS[name]), home=home)
                except Exception as error:
                    error.add_note(f"{table}.{column} is {value[:40]}: {name}")
                    raise
                assert status in (0, 1, 2)
                shutil.rmtree(out)
                n_asked += 1
        shutil.rmtree(home)
    return n_asked


def test_a_value_that_cannot_be_never_ends_a_command(template, tmp_path):
    """A share: a case and a command at a time."""
    n_asked = loop(template, tmp_path, CASES[::457], lambda n: [ASKED[n % len(ASKED)]])
    assert n_asked > 2


@pytest.mark.parametrize("column", ["scores.reason", "scores.measure", "blocks.reason"])
def test_half_a_letter_in_a_text_of_many_rows_is_named_by_the_export(
    template, tmp_path, column
):
    """Found by search: the export ended where such a text was to be written."""
    home = shutil.copytree(template, tmp_path / "home")
    assert spoil(home, *column.split("."), HALF)
    status, said = ask(*(w.format(tmp_path) for w in COMMANDS["tidy"]), home=home)
    assert status == 1
    assert "it holds letters that are no text" in said


@pytest.mark.parametrize("value", ["'aaaa'", "-1", "1e308"])
def test_a_number_of_samples_that_is_none_is_found(template, tmp_path, value):
    """Found by search: to verify ended in adding it up."""
    home = shutil.copytree(template, tmp_path / "home")
    assert spoil(home, "blocks", "n_samples", value)
    status, said = ask(*COMMANDS["verify"], home=home)
    assert status == 1
    assert "its n_samples is" in said


@pytest.mark.timeout(120)
def test_a_very_long_word_leaves_the_page_as_quick(template, tmp_path):
    """Found by search: looking for hyphens took hours; it is cut off here, if it ever does."""
    home = shutil.copytree(template, tmp_path / "home")
    assert spoil(home, "restarts", "reason", f"'{'a' * 100_000}'")
    status, _ = ask(*(w.format(tmp_path) for w in COMMANDS["page"]), home=home)
    assert status == 0


def test_a_damaged_device_is_exported_as_its_visits_knew_it(template, tmp_path):
    """Found by search: the export looked for it in the list of devices only."""
    home = shutil.copytree(template, tmp_path / "home")
    assert spoil(home, "devices", "json", "'nonsense'")
    status, said = ask(*(w.format(tmp_path) for w in COMMANDS["tidy"]), home=home)
    assert status == 1
    assert "device" in said
    (out,) = {path.parent for path in tmp_path.glob("*/devices.parquet")}
    assert pq.read_table(out / "devices.parquet").num_rows == 2
    assert not verify_export(out).findings


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_no_value_that_cannot_be_ever_ends_a_command(template, tmp_path):
    """Every value, and of each two commands in turn."""
    turns = [(ASKED[n], ASKED[n - 8]) for n in range(len(ASKED))]
    n_asked = loop(template, tmp_path, CASES, lambda n: turns[(n + n // 17) % len(ASKED)])
    sys.stdout.write(f"\n{len(CASES)} values, {n_asked} commands\n")


@pytest.mark.parametrize(("column", "value"), [("sem", "-1"), ("source", "''")])
def test_an_error_of_a_study_that_cannot_be_is_left_out(template, tmp_path, column, value):
    """Found by search: the export ended, and every page with it."""
    home = shutil.copytree(template, tmp_path / "home")
    assert spoil(home, "outside_errors", column, value)
    for name in ("page", "tidy"):
        (tmp_path / name).mkdir()
        status, said = ask(*(w.format(tmp_path / name) for w in COMMANDS[name]), home=home)
        assert status == 1
        assert f"{column} is {value}" in said


def test_a_visit_whose_name_is_no_text_takes_out_itself_only(template, tmp_path):
    """Found by search: the list of people ended, as nothing can ask for it."""
    home = shutil.copytree(template, tmp_path / "home")
    assert spoil(home, "visits", "visit_id", "CAST(X'4dae41ff' AS TEXT)")
    status, said = ask(*COMMANDS["people"], home=home)
    assert status == 1
    assert "its identifier cannot be read" in said
    assert all(code in said for code in ("K7QF", "M4WX"))


@pytest.mark.parametrize(
    ("column", "value"), [("n_familiarisation", "-1"), ("n_baseline", "1")]
)
def test_a_rule_of_the_baseline_that_cannot_be_takes_out_its_person_only(
    template, tmp_path, column, value
):
    """Found by search: the export ended where that person was judged."""
    home = shutil.copytree(template, tmp_path / "home")
    assert spoil(home, "people", column, value)
    for name in ("people", "tidy"):
        status, said = ask(*(w.format(tmp_path) for w in COMMANDS[name]), home=home)
        assert status == 1
        assert f"{column} is {value}" in said
