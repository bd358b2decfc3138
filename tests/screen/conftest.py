"""What the tests of the stage share."""

import pytest

from tests.screen.pilot import open_window, tablet


@pytest.fixture(params=["1280x800", "1920x1200"])
def any_tablet(request):
    """Both ten-inch panels the pages are made for."""
    return tablet(request.param)


@pytest.fixture
def headless(monkeypatch):
    """A window on no display, with its clock."""
    with open_window(monkeypatch, tablet("1280x800")) as (window, clock):
        yield window, clock
