"""What the tests of the stage share."""

import pytest

from tests.screen.pilot import open_window, tablet
from tests.screen.servers import Pointer, virtual_screen


@pytest.fixture(params=["1280x800", "1920x1200"])
def any_tablet(request):
    """Both ten-inch panels the pages are made for."""
    return tablet(request.param)


@pytest.fixture
def headless(monkeypatch):
    """A window on no display, with its clock."""
    with open_window(monkeypatch, tablet("1280x800")) as (window, clock):
        yield window, clock


@pytest.fixture(scope="module")
def display():
    """A virtual display, one for all tests of a file."""
    with virtual_screen() as name:
        yield name


@pytest.fixture
def pointer(display):
    """A pointer on it, moved from outside."""
    with Pointer(display) as pointer:
        yield pointer
