"""Numbers, ticks, axes and widths of the page, solved by hand."""

import pytest

from battery.report.shapes import Axis, number, polyline, signed, ticks
from battery.report.widths import lines_of, shortened, width_pt


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (0, "0"),
        (0.0123, "0.012"),
        (0.283, "0.28"),
        (1.0, "1.00"),
        (9.996, "10.0"),
        (12.34, "12.3"),
        (99.96, "100"),
        (1234.5, "1234"),
        (-2.9, "−2.90"),
    ],
)
def test_numbers_are_written_with_about_three_figures_and_a_true_minus(value, written):
    assert number(value) == written


@pytest.mark.parametrize(
    ("value", "written"), [(0.4, "0"), (-0.4, "0"), (12.6, "+13"), (-12.6, "−13")]
)
def test_a_change_carries_its_sign_and_a_rounded_nothing_none(value, written):
    assert signed(value) == written


@pytest.mark.parametrize(
    ("low", "high", "most", "found"),
    [
        (0, 10, 3, [0, 5, 10]),
        (57, 115, 3, [60, 80, 100]),
        (57, 118, 2, [60, 100]),
        (0.2, 1.6, 2, [0.5, 1.5]),
        (-3, 3, 4, [-2, 0, 2]),
        (5, 5, 3, []),
    ],
)
def test_ticks_are_round_numbers_and_not_too_many(low, high, most, found):
    assert ticks(low, high, most) == pytest.approx(found)


def test_an_axis_places_its_ends_at_its_ends_and_holds_back_what_lies_beyond():
    axis = Axis(10, 20, 100, 0)
    assert (axis.at(10), axis.at(20), axis.at(15)) == (100, 0, 50)
    assert axis.at(25) == -50
    assert (axis.within(25), axis.within(-9)) == (0, 100)


def test_letters_are_as_wide_as_the_standard_face_says():
    """Adobe Core 14 metrics of Helvetica, thousandths of the size; from memory."""
    for letter, thousandths in {"A": 667, "a": 556, "i": 222, "W": 944, " ": 278}.items():
        assert width_pt(letter, 1000) == pytest.approx(thousandths)


def test_lines_break_at_spaces_where_the_room_ends():
    assert lines_of("aa aa aa", width_pt("aa aa")) == ["aa aa", "aa"]
    assert lines_of("aa aa aa", 1) == ["aa", "aa", "aa"]
    assert lines_of("", 100) == []


def test_what_does_not_fit_is_cut_at_a_word_and_shows_it():
    words = "one two three four five six"
    room = width_pt("one two three")
    assert shortened(words, 1000, 1) == words
    cut = shortened(words, room, 1)
    assert cut == "one two…"
    assert len(lines_of(shortened(words, room, 2), room)) == 2


def test_a_line_needs_two_points():
    assert polyline([(1, 2)], colour="#000") == ""
    assert 'points="1.0,2.0 3.0,4.0"' in polyline([(1, 2), (3, 4)], colour="#000")
