"""The page about the rule says what the program does, and what it must show is on it."""

import re
from pathlib import Path

import pytest

from norms.calibration import calibrate, simulate_rules
from norms.limits import TABLE

DOCUMENT = Path(__file__).resolve().parents[2] / "norms" / "verdict-rule.md"
TEXT = DOCUMENT.read_text(encoding="utf-8")


def rows(heading):
    """Cells of the first table after a heading, by its first column."""
    lines = TEXT[TEXT.index(heading) :].splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("| ---"))
    found = {}
    for line in lines[start + 1 :]:
        if not line.startswith("|"):
            break
        name, *cells = (cell.strip() for cell in line.strip("|").split("|"))
        found[name] = cells
    return found


def test_at_most_5_percent_of_unchanged_people_get_a_verdict_where_weeks_are_independent():
    for name, (shipped, _, _, usual) in rows("## False verdicts").items():
        if name.endswith("depend 0"):
            assert float(shipped) <= 5.0
            assert 60 < float(usual) < 66


def test_dependent_weeks_are_held_near_5_percent_once_enough_people_are_pooled():
    found = rows("## False verdicts")
    for people in ("30 people", "100 people"):
        shipped, plain, *_ = map(float, found[f"{people}, weeks depend 0.4"])
        assert shipped <= 6.0
        assert plain > 15


def test_the_rule_shipped_finds_more_than_two_visits_running():
    found = rows("## Rules at one price")
    (two, *_, ours) = found.values()
    assert all(float(a) > float(b) for a, b in zip(ours[:8], two[:8], strict=True))


def test_the_words_around_the_tables_are_those_of_the_program():
    for text in (
        simulate_rules.HEAD,
        simulate_rules.AFTER_PRICE,
        simulate_rules.AFTER_FALSE,
        simulate_rules.AFTER_LINES,
        simulate_rules.AFTER_LEARN,
    ):
        assert text in TEXT


@pytest.mark.long
def test_the_document_is_what_its_command_makes():
    """Every number again; other versions of numpy may move a person or two."""
    number = re.compile(r"\d+\.\d")
    made = simulate_rules.document()
    assert number.sub("#", made) == number.sub("#", TEXT)
    then, now = number.findall(TEXT), number.findall(made)
    for a, b in zip(then, now, strict=True):
        assert float(b) == pytest.approx(float(a), abs=0.11)


@pytest.mark.long
def test_the_table_of_limits_is_what_its_command_makes():
    stored = (Path(calibrate.__file__).parent / "tables" / TABLE).read_text(encoding="utf-8")
    made = calibrate.table_text()
    for line, again in zip(stored.splitlines(), made.splitlines(), strict=True):
        if line[:1].isdigit():
            assert [float(x) for x in again.split(",")] == pytest.approx(
                [float(x) for x in line.split(",")], rel=1e-3, abs=2e-3
            )
        else:
            assert line == again
