"""The command line from outside: one line per error, the right exit status, no traceback."""

import os
import subprocess
import sys

import pytest

from tests import asking


@pytest.fixture
def process(tmp_path):
    """The command as a program of its own."""
    return lambda *words: asking.program(*words, home=tmp_path / "home", folder=tmp_path)


@pytest.fixture
def battery(tmp_path):
    """The same without starting Python for each."""

    def run(*words, home=tmp_path / "home"):
        return asking.ask(*words, home=home, folder=tmp_path)

    return run


def one_line(done, status):
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    assert lines[0].startswith("battery: ")
    return lines[0]


def test_enrol_prints_a_code_and_people_lists_it(process, battery):
    done = process("enrol", "--affected-side", "left", "--dominant-hand", "right")
    assert done.returncode == 0
    code, rest = done.stdout.split("\n", 1)
    assert len(code) == 4
    assert "First hand: right" in rest
    assert code in battery("people").stdout


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (("report", "ZZZZ"), 2, "no person 'ZZZZ'"),
        (("visit", "ZZZZ"), 2, "no person 'ZZZZ'"),
        (("visit", "--plan", "weekly"), 2, "no plan 'weekly'"),
        (("enrol", "--dominant-hand", "both"), 2, "say left or right"),
    ],
)
def test_wrong_requests_are_one_line(battery, arguments, status, says):
    assert battery("enrol").returncode == 0
    assert says in one_line(battery(*arguments), status)


def test_where_there_is_no_screen_is_one_line(battery, process):
    assert battery("enrol").returncode == 0
    assert "no screen to draw on" in one_line(process("visit"), 1)


def test_reading_where_there_is_no_store_is_one_line(battery):
    for arguments in (("people",), ("report", "K7QF"), ("export", "out")):
        assert "no store in" in one_line(battery(*arguments), 1)


def test_bad_plan_file_is_one_line(battery, tmp_path):
    (tmp_path / "bad.toml").write_text("name = [")
    battery("enrol")
    assert "cannot be read" in one_line(battery("visit", "--plan", "bad.toml"), 2)


def test_home_that_cannot_be_made_is_one_line(battery, tmp_path):
    (tmp_path / "file").write_text("")
    assert "cannot write" in one_line(battery("enrol", home=tmp_path / "file" / "home"), 1)


def test_unknown_option_is_usage(process):
    done = process("people", "--colour")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


def test_every_command_has_help_with_an_example(battery):
    listed = battery("--help").stdout
    for name in ["demo", "enrol", "people", "screen", "visit", "report", "export", "rescore"]:
        assert name in listed
        assert "battery " + name in battery(name, "--help").stdout


@pytest.mark.parametrize(("told", "held"), [(None, "1"), ("3", "3")])
def test_products_of_matrices_take_one_thread_unless_told(told, held):
    """The number is read once, when numpy is loaded, so the command sets it before."""
    code = (
        "import os, sys\nfrom battery.cli import main\nsys.argv = ['battery', '--help']\n"
        "try:\n main()\nexcept SystemExit:\n"
        " print(os.environ['OPENBLAS_NUM_THREADS'], 'numpy' in sys.modules)"
    )
    given = {k: v for k, v in os.environ.items() if k != "OPENBLAS_NUM_THREADS"}
    given |= {} if told is None else {"OPENBLAS_NUM_THREADS": told}
    done = subprocess.run(
        [sys.executable, "-c", code], env=given, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == f"{held} False"
