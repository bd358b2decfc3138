"""The T score of goals against the published formula written another way, and its anchors.

Kiresuk TJ, Sherman RE (1968), Community Ment Health J 4:443-453, gives the score as the
weighted sum standardised for ratings of variance 1 that correlate 0.3: mean 50, deviation 10.
The formula is from memory; the statistical meaning tested here does not depend on it.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from norms.goals import goal_t

LEVELS = st.lists(st.integers(-2, 2), min_size=1, max_size=8)


@given(LEVELS, st.data())
def test_it_is_the_weighted_sum_over_its_standard_deviation(levels, data):
    n = len(levels)
    weights = data.draw(st.lists(st.floats(0.1, 5), min_size=n, max_size=n))
    covariance = np.full((n, n), 0.3) + np.eye(n) * 0.7
    w = np.asarray(weights)
    expected = 50 + 10 * (w @ levels) / np.sqrt(w @ covariance @ w)
    assert goal_t(levels, weights) == pytest.approx(expected)


@given(st.integers(1, 8))
def test_all_as_hoped_for_is_50(n):
    assert goal_t([0] * n) == 50


@given(st.integers(-2, 2))
def test_one_goal_moves_it_by_10_a_level(level):
    assert goal_t([level], [3.0]) == pytest.approx(50 + 10 * level)


def test_two_equal_goals_by_hand():
    """50 + 10 * 2 / sqrt(0.7 * 2 + 0.3 * 4) = 62.4035."""
    assert goal_t([1, 1]) == pytest.approx(62.4035, abs=5e-5)


def test_the_form_without_the_square_is_not_used():
    """Printed wrongly once: 0.3 Σw in place of 0.3 (Σw)²; it would give 64.1421."""
    assert goal_t([1, 1]) != pytest.approx(50 + 20 / np.sqrt(0.7 * 2 + 0.3 * 2), abs=0.5)


@pytest.mark.parametrize(
    ("levels", "weights"), [([], None), ([3], None), ([0], [0.0]), ([0, 1], [1.0])]
)
def test_what_cannot_be_is_refused(levels, weights):
    with pytest.raises(ValueError, match=r"must|one weight"):
        goal_t(levels, weights)
