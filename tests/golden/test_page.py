"""The page changes only on purpose."""

import difflib

from tests.golden.make_page import GOLDEN, made


def test_the_page_is_the_golden_one():
    """If the change is meant, write it anew with ``python -m tests.golden.make_page``."""
    before, now = GOLDEN.read_text(encoding="utf-8").splitlines(), made().splitlines()
    changed = [
        line
        for line in difflib.unified_diff(before, now, "golden", "now", lineterm="", n=0)
    ]  # fmt: skip
    assert not changed, "\n".join(changed[:20])
