"""The first sheet as CSV says what the page says."""

import csv
import io

import pytest

from battery.report import page_csv
from battery.report.sheet import row_groups
from battery.report.table import COLUMNS
from tests import report_cases as cases
from tests.unit.test_cli_store import run


def rows_of(name):
    return list(csv.DictReader(io.StringIO(page_csv(cases.page_of(name)))))


@pytest.mark.parametrize("name", cases.CASES)
def test_there_is_one_row_a_line_of_the_sheet(name):
    page = cases.page_of(name)
    lines = [line for group in row_groups(page) for line in group]
    rows = rows_of(name)
    assert [(r["measure"], r["hand"]) for r in rows] == [
        (x.measure.name, x.hand) for x in lines
    ]
    assert [r["verdict"] for r in rows] == [x.verdict.word for x in lines]
    assert all(set(r) == set(COLUMNS) for r in rows)


def test_values_are_in_the_unit_and_what_is_missing_is_empty():
    row = next(
        r for r in rows_of("improving")
        if (r["measure"], r["hand"]) == ("tapping.radial_error_mm", "left")
    )  # fmt: skip
    line = cases.page_of("improving").line("tapping.radial_error_mm", "left")
    assert float(row["latest"]) == pytest.approx(line.latest.value, rel=1e-5)
    assert float(row["baseline"]) == pytest.approx(line.verdict.band.centre, rel=1e-5)
    assert (row["better"], row["n_baseline_visits"], row["unit"]) == ("yes", "4", "mm")
    young = rows_of("two_visits")
    assert {r["baseline"] for r in young} == {""}
    assert all(r["reason"] for r in young)


def test_all_tasks_together_are_percent_of_their_baseline():
    rows = [r for r in rows_of("improving") if r["measure"] == "all.composite"]
    assert {float(r["baseline"]) for r in rows} == {100.0}


def test_the_command_writes_it_beside_the_page(clinic, tmp_path):
    result = run("report", "K7QF", "--csv", "--out", tmp_path / "p.html", "--home", clinic)
    assert result.exit_code == 0, result.exception
    assert (tmp_path / "p.html").exists()
    assert (tmp_path / "p.csv").read_text(encoding="utf-8").startswith("code,page_made,measure")
