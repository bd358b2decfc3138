"""What the tests of the desk share: somebody sits at the desk of the invented clinic."""

import pytest

from battery.effective import visits_of
from tests.desk.browsing import open_browser
from tests.desk.office import Desk


@pytest.fixture
def desk(own_clinic):
    """The desk of a clinic of one's own, with somebody there."""
    made = Desk(own_clinic)
    made.come_in()
    return made


@pytest.fixture
def code(desk):
    """Somebody who has visits."""
    with desk.office.store() as store:
        return next(p.code for p in store.people.all() if visits_of(store, p.code))


@pytest.fixture(scope="module")
def browser():
    """The system's Chromium, one for all tests of a file."""
    with open_browser() as browser:
        yield browser
