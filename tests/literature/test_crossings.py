"""Crossings of a trail against geometric probability."""

import numpy as np
import pytest

from tasks.trails import crossings


def test_crossings_of_random_trails_are_as_many_as_probability_says():
    """Two random links in a rectangle cross with 25 / 108: a third of Sylvester's 25 / 36.

    253 pairs of links of 25 nodes do not meet at a node: 58.565 crossings in the mean.
    """
    assert pytest.approx(58.565, abs=0.0005) == 253 * 25 / 108
    random = np.random.default_rng(1)
    counts = [
        crossings([(x, y) for x, y in random.uniform((0, 0), (240, 150), (25, 2)).tolist()])
        for _ in range(1500)
    ]
    assert np.mean(counts) == pytest.approx(253 * 25 / 108, abs=0.8)
