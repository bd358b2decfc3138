"""Long tables of cases: a share in every run, the whole by hand."""

from collections.abc import Iterable, Sequence
from typing import Any

import pytest


def share(cases: Iterable[Any], every: int, *, start: int = 0) -> list[Any]:
    """Mark all but every so-many-th case as long."""
    return [
        case if (place - start) % every == 0 else marked(case)
        for place, case in enumerate(cases)
    ]


def only(cases: Sequence[Any], kept: Sequence[Any]) -> list[Any]:
    """Mark all but some cases as long; each of those must be there."""
    assert all(case in cases for case in kept), kept
    return [case if case in kept else marked(case) for case in cases]


def marked(case: Any) -> Any:
    """Return a case that is met by hand only."""
    values = case if isinstance(case, tuple) else (case,)
    return pytest.param(*values, marks=pytest.mark.long)
