"""What the tests of the hand-over share."""

import pytest

from tests import handover_kit as hand


@pytest.fixture
def pair(tmp_path):
    made = hand.Pair(tmp_path)
    yield made
    made.close()
