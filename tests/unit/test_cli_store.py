"""The commands about the store: one line, an exit status, nothing half-done."""

import sqlite3

import pytest
from typer.testing import CliRunner

from battery.cli import app
from battery.errors import StoreError, UsageError
from battery.store.opening import FILE_NAME


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def test_verify_says_what_it_looked_at(clinic):
    result = run("verify", "--home", clinic)
    assert result.exit_code == 0
    assert result.output.startswith("5 visits, 41 blocks, ")
    assert "hold" in result.output


def test_verify_fails_on_an_altered_record(own_clinic):
    with sqlite3.connect(own_clinic / FILE_NAME) as connection:
        connection.execute("UPDATE blocks SET n_samples = n_samples + 1 WHERE number = 1")
    connection.close()
    result = run("verify", "--home", own_clinic)
    assert result.exit_code == 1
    assert "5 findings; nothing was changed" in result.output


def test_an_enrolment_that_fails_on_the_way_enrols_nobody(tmp_path):
    run("setup", "--home", tmp_path)
    with sqlite3.connect(tmp_path / FILE_NAME) as connection:
        connection.execute(
            "CREATE TRIGGER full BEFORE INSERT ON person_plans BEGIN "
            "SELECT RAISE(ABORT, 'database or disk is full'); END"
        )
    connection.close()
    for words in (("--plan", "short"), ("--present", "no such reason")):
        failed = run("enrol", *words, "--checked-by", "AB", "--home", tmp_path)
        assert isinstance(failed.exception, (StoreError, UsageError)), words
        assert failed.output == ""
    with sqlite3.connect(tmp_path / FILE_NAME) as connection:
        told = [
            connection.execute(f"SELECT count(*) FROM {table}").fetchone()
            for table in ("people", "contraindications", "person_plans")
        ]
    connection.close()
    assert told == [(0,)] * 3


def test_backup_writes_one_file_and_never_over_another(clinic, tmp_path):
    target = tmp_path / "copy.sqlite"
    result = run("backup", target, "--home", clinic)
    assert (result.exit_code, result.output.strip()) == (0, str(target))
    again = run("backup", target, "--home", clinic)
    assert isinstance(again.exception, UsageError)


def test_export_lists_rows(clinic, tmp_path):
    result = run("export", tmp_path / "out", "--person", "k7qf", "--home", clinic)
    assert result.exit_code == 0
    assert "samples" in result.output
    assert (tmp_path / "out" / "datapackage.json").exists()


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("mysql://somewhere", "no store at a 'mysql' address"),
        ("postgresql://nobody@localhost:1/none", "nothing was changed"),
    ],
)
def test_an_address_that_leads_nowhere_is_refused_in_one_line(address, words):
    result = run("people", "--home", address)
    assert isinstance(result.exception, StoreError)
    assert words in str(result.exception)
    assert "\n" not in str(result.exception)


def test_commands_work_on_a_server(empty_database):
    code = run("enrol", "--home", empty_database).output.split()[0]
    assert code in run("people", "--home", empty_database).output
    assert "0 visits, 0 blocks" in run("verify", "--home", empty_database).output
