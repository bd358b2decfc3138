"""What a page costs: a year and ten years of weekly visits, beside the start of two libraries.

The reference is importing pandas and matplotlib in a fresh interpreter, in the same run.
By hand: ``pytest tests/bench/test_page_cost.py -m long --benchmark-only -s``
"""

import subprocess
import sys
import time
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from battery.report import page_data, render
from battery.report.caseload import caseload
from battery.store import Store
from tests import report_cases as cases
from tests import store_kit as kit
from tests.unit.test_report_gather import LATER, add_visit

pytestmark = [pytest.mark.bench, pytest.mark.long, pytest.mark.timeout(1800)]
REPEATS = 5


@pytest.fixture(scope="module")
def reference_s():
    """The shortest of a few imports of pandas and matplotlib, less an empty start."""

    def shortest(code):
        took = []
        for _ in range(REPEATS):
            start = time.perf_counter()
            subprocess.run([sys.executable, "-c", code], check=True)
            took.append(time.perf_counter() - start)
        return min(took)

    return shortest("import pandas, matplotlib.pyplot") - shortest("pass")


def made_page(n_visits):
    made = cases.Made(n_visits=n_visits, change=cases.after_baseline(0.7))
    rows = made.rows(cases.others())

    def page():
        judged = page_data(rows, made=cases.MADE)
        return render(replace(judged, traces=cases.traces(judged)))

    return page


@pytest.mark.parametrize("n_visits", [52, 520])
def test_a_page_beside_the_start_of_two_libraries(benchmark, reference_s, n_visits):
    benchmark.pedantic(made_page(n_visits), rounds=REPEATS, warmup_rounds=1)
    ratio = benchmark.stats.stats.min / reference_s
    benchmark.extra_info["ratio"] = ratio
    sys.stdout.write(
        f"\n{n_visits} visits: {benchmark.stats.stats.min:.2f} s, "
        f"{ratio:.2f} times importing pandas and matplotlib ({reference_s:.2f} s)\n"
    )


@pytest.mark.parametrize("n_people", [4, 40])
def test_the_list_of_people_beside_the_start_of_two_libraries(
    benchmark, reference_s, n_people, tmp_path
):
    codes = [f"P{n:03d}" for n in range(n_people)]
    with Store.open(tmp_path) as store:
        kit.enrol(store)
        for code in codes:
            store.people.add(kit.person(code))
            for visit in range(1, 13):
                add_visit(store, visit, code, value=9 + 0.3 * (visit % 3))
        when = datetime.fromisoformat(LATER) + timedelta(days=1)
        benchmark.pedantic(lambda: caseload(store, now=when), rounds=REPEATS, warmup_rounds=1)
    ratio = benchmark.stats.stats.min / reference_s
    benchmark.extra_info["ratio"] = ratio
    sys.stdout.write(
        f"\n{n_people} people of 12 visits: {benchmark.stats.stats.min:.2f} s, "
        f"{ratio:.2f} times importing pandas and matplotlib ({reference_s:.2f} s)\n"
    )
