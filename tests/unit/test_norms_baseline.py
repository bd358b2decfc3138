"""Baseline by a rule, series by a key."""

import math

import pytest

from norms.baseline import BaselineRule, Point, split
from norms.series import SeriesKey, breaks, series_of, why_apart

RULE = BaselineRule()


def points(*values, first=1):
    return [Point(first + i, v) for i, v in enumerate(values)]


def visits(parts):
    return [p.visit for p in parts]


def test_two_visits_are_left_out_and_four_are_baseline():
    parts = split(points(*range(9)), RULE)
    assert visits(parts.familiarisation) == [1, 2]
    assert visits(parts.baseline) == [3, 4, 5, 6]
    assert visits(parts.later) == [7, 8, 9]


def test_a_flagged_or_missing_visit_neither_counts_nor_vanishes():
    """Visits 2 and 4 do not count: the next ones take their places, and both stay listed."""
    series = points(1, 1, 1, math.nan, 1, 1, 1, 1)
    series[1] = Point(2, 1, comparable=False, reason="helped")
    parts = split(series, RULE)
    assert visits(parts.familiarisation) == [1, 3]
    assert visits(parts.baseline) == [5, 6, 7, 8]
    assert visits(parts.aside) == [2, 4]
    assert parts.aside[0].reason == "helped"


def test_a_new_baseline_begins_at_its_visit_without_familiarisation():
    parts = split(points(*range(12)), RULE, restart_visit=8)
    assert visits(parts.earlier) == [1, 2, 3, 4, 5, 6, 7]
    assert parts.familiarisation == ()
    assert visits(parts.baseline) == [8, 9, 10, 11]
    assert visits(parts.later) == [12]


def test_a_new_baseline_at_the_second_visit_still_leaves_one_out():
    """Only one visit came before, so one of the two for familiarisation is still due."""
    parts = split(points(*range(8)), RULE, restart_visit=2)
    assert visits(parts.familiarisation) == [2]
    assert visits(parts.baseline) == [3, 4, 5, 6]


def test_visits_out_of_order_are_an_error():
    with pytest.raises(ValueError, match="must increase"):
        split([Point(2, 1), Point(1, 1)], RULE)


@pytest.mark.parametrize(("familiarisation", "baseline"), [(-1, 4), (2, 1)])
def test_a_rule_needs_a_baseline_with_scatter(familiarisation, baseline):
    with pytest.raises(ValueError, match="at least 0 and 2"):
        BaselineRule(familiarisation, baseline)


HOME = SeriesKey(task="tapping", hand="left", plan="1f", device="maple", scale="0.1")
AWAY = SeriesKey(task="tapping", hand="left", plan="1f", device="birch", scale="0.1")


def test_another_device_breaks_the_series_and_is_named():
    found = breaks([(1, HOME), (2, HOME), (3, AWAY), (4, AWAY)])
    assert [(b.visit, b.reason) for b in found] == [(3, "another device (maple to birch)")]


def test_every_field_has_words_of_its_own():
    """No two fields are told in the same words, and none is silent."""
    said = {
        name: why_apart(SeriesKey(), SeriesKey(**{name: "b"})) for name in SeriesKey.__slots__
    }
    assert all(said.values())
    assert len(set(said.values())) == len(said)


def test_hashes_and_versions_are_not_read_out():
    assert why_apart(HOME, SeriesKey(**{**_fields(HOME), "plan": "2e"})) == "another plan"


def test_several_differences_are_all_told():
    other = SeriesKey(**{**_fields(AWAY), "scale": "0.2"})
    assert why_apart(HOME, other) == (
        "another device (maple to birch), another size of the picture"
    )


def test_a_return_to_the_first_device_continues_its_series():
    keyed = [(Point(1, 1), HOME), (Point(2, 2), HOME), (Point(3, 9), AWAY), (Point(4, 3), HOME)]
    away, home = series_of(keyed)
    assert visits(home.points) == [1, 2, 4]
    assert home.key == HOME
    assert home.reason == ""
    assert away.reason == "another device (maple to birch)"


def test_an_overlap_visit_counts_in_both_series():
    keyed = [(Point(1, 1), HOME), (Point(2, 2), HOME), (Point(2, 8), AWAY), (Point(3, 9), AWAY)]
    home, away = series_of(keyed)
    assert visits(home.points) == [1, 2]
    assert visits(away.points) == [2, 3]


def _fields(key):
    return {name: getattr(key, name) for name in SeriesKey.__slots__}
