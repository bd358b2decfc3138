"""The first page says how many visits the clinic has not acknowledged, and only then."""

from datetime import date

import pytest

from battery.stage.pages.flow import VisitFlow
from tests.screen.pilot import open_window, tablet


@pytest.mark.parametrize(("waiting", "told"), [(0, False), (3, True)])
def test_the_first_page_tells_what_waits(waiting, told, monkeypatch):
    with open_window(monkeypatch, tablet("1280x800")) as (window, _):
        flow = VisitFlow(
            window, code="K7QF", today=date(2026, 3, 4), begin=lambda: None, rest_s=0,
            large=False, seed=1, waiting=waiting,
        )  # fmt: skip
        lines = [str(line) for line in flow.first().lines]
    assert ("Visits not yet sent to your clinic: 3." in lines) == told
