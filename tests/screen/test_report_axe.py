"""The page for people who read it by ear or keyboard: the rules of axe-core in a browser.

axe-core (Deque, MPL-2.0) tests a page against WCAG 2.2; the package axe-core-python carries
version 4.4.3 of it. Headless Chromium runs it on a copy of the page, without a network.
"""

import html
import json
import re
import shutil
import subprocess
from importlib.resources import files

import pytest

from tests import report_cases as cases
from tests.sparing import only

pytestmark = pytest.mark.needs("chromium")

NAMES = ("many_alarms", "crowded", "home exercise", "two_visits", "no_visit")
RUN = """
axe.run(document).then(found => {
  document.body.textContent = "";
  document.title = "FOUND" + JSON.stringify({
    passes: found.passes.length,
    violations: found.violations.map(v => [v.id, v.nodes.length, v.nodes[0].html]),
  }) + "END";
});
"""


def found_by_axe(page, folder):
    """Run the rules over a page; how many passed, and what was violated."""
    browser = shutil.which("chromium") or shutil.which("google-chrome")
    assert browser, "Chromium is missing; run python -m tests"
    rules = files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    rules = rules.replace("</script>", "<\\/script>")
    copy = folder / "page.html"
    added = f"<script>{rules}</script><script>{RUN}</script></body>"
    copy.write_text(page.replace("</body>", added), encoding="utf-8")
    told = subprocess.run(
        [
            browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
            "--disable-background-networking", "--disable-component-update",
            f"--user-data-dir={folder / 'browser'}", "--virtual-time-budget=60000",
            "--dump-dom", copy.as_uri(),
        ],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    match = re.search(r"FOUND(\{.*?\})END", told.stdout, re.DOTALL)
    assert match, told.stderr[-500:]
    found = json.loads(html.unescape(match.group(1)))
    return found["passes"], found["violations"]


@pytest.mark.parametrize("name", only(NAMES, ["many_alarms"]))
def test_no_rule_is_violated(name, tmp_path):
    passes, violations = found_by_axe(cases.html_of(name), tmp_path)
    assert violations == []
    assert passes > 15


def test_the_check_can_fail(tmp_path):
    page = cases.html_of("two_visits").replace('lang="en"', "", 1)
    page = page.replace(
        '<p class="say">', '<img src="x.png"><p class="say" style="color:#ccc">'
    )
    _, violations = found_by_axe(page, tmp_path)
    assert {"html-has-lang", "image-alt", "color-contrast"} <= {v[0] for v in violations}
