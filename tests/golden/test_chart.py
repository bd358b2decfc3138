"""The chart changes only on purpose."""

import difflib

from tests.golden.make_chart import GOLDEN, made


def test_the_chart_is_the_golden_one():
    """If the change is meant, write it anew with ``python -m tests.golden.make_chart``."""
    before, now = GOLDEN.read_text(encoding="utf-8").splitlines(), made().splitlines()
    changed = list(difflib.unified_diff(before, now, "golden", "now", lineterm="", n=0))
    assert not changed, "\n".join(changed[:20])
