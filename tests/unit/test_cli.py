"""The command line from outside: one line per error, the right exit status, no traceback."""

import os
import subprocess
import sys

import pytest


@pytest.fixture
def battery(tmp_path):
    def run(*arguments, home=tmp_path / "home", **environment):
        return subprocess.run(
            [sys.executable, "-m", "battery.cli", *arguments],
            env={**os.environ, "BATTERY_HOME": str(home), "DISPLAY": "", **environment},
            cwd=tmp_path, capture_output=True, text=True, stdin=subprocess.DEVNULL,
        )  # fmt: skip

    return run


def one_line(done, status):
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    assert lines[0].startswith("battery: ")
    return lines[0]


def test_enrol_prints_a_code_and_people_lists_it(battery):
    done = battery("enrol", "--affected-side", "left", "--dominant-hand", "right")
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
        (("visit",), 1, "no screen to draw on"),
    ],
)
def test_wrong_requests_are_one_line(battery, arguments, status, says):
    assert battery("enrol").returncode == 0
    assert says in one_line(battery(*arguments), status)


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


def test_unknown_option_is_usage(battery):
    done = battery("people", "--colour")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


def test_every_command_has_help_with_an_example(battery):
    listed = battery("--help").stdout
    for name in ["demo", "enrol", "people", "screen", "visit", "report", "export", "rescore"]:
        assert name in listed
        assert "battery " + name in battery(name, "--help").stdout


def test_demo_makes_pages_and_export_without_screen(battery, tmp_path):
    """One visit each: the whole way of the data, and too little for any verdict."""
    done = battery("demo", "made", "--visits", "1", "--no-open")
    assert done.returncode == 0, done.stderr
    pages = sorted((tmp_path / "made").glob("*.html"))
    assert len(pages) == 3
    for page in pages:
        text = page.read_text()
        assert "not enough comparable visits" in text.lower()
        assert "http://" not in text.replace("http://www.w3.org/2000/svg", "")
        assert "https://" not in text
    assert (tmp_path / "made" / "export" / "datapackage.json").exists()
    assert "not an empty folder" in one_line(battery("demo", "made", "--no-open"), 1)
    rescored = battery("rescore", home=tmp_path / "made")
    assert rescored.returncode == 0, rescored.stderr
    assert " 0 changed" in rescored.stdout
