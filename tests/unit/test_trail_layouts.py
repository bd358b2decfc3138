"""Crossings and labels of trails, against geometric probability and a second counter."""

import itertools
import math
import random
import statistics
from fractions import Fraction

import pytest

from tasks.trails import LETTERS, Area, crossings, draw_trail, labels_of, polyline_mm


def scattered(chance, n, width, height):
    return [(chance.uniform(0, width), chance.uniform(0, height)) for _ in range(n)]


@pytest.mark.parametrize(
    ("nodes", "count"),
    [
        ([(0, 0), (10, 0)], 0),
        ([(0, 0), (10, 10), (10, 0), (0, 10)], 1),  # an hourglass
        ([(0, 0), (10, 0), (10, 10), (0, 10)], 0),  # a square without its last side
        ([(0, 0), (4, 8), (8, 0), (0, 5), (8, 5)], 3),  # four of a star's five links
        ([(0, 0), (10, 0), (10, 5), (5, 5), (5, -5)], 1),
        ([(0, 0), (10, 0), (10, 5), (5, 5), (5, 0)], 0),  # touches, does not cross
        ([(0, 0), (10, 0), (20, 5), (5, 0), (2, 0)], 0),  # runs back along the first link
    ],
)
def test_crossings_counted_by_eye(nodes, count):
    assert crossings(nodes) == count


def crossings_by_solving(nodes):
    """Second counter: solve for where two lines meet, in exact fractions."""
    count = 0
    for (i, (a, b)), (j, (c, d)) in itertools.combinations(
        enumerate(itertools.pairwise(nodes)), 2
    ):
        if j == i + 1:
            continue
        ux, uy, vx, vy = b[0] - a[0], b[1] - a[1], d[0] - c[0], d[1] - c[1]
        det = Fraction(uy * vx - ux * vy)
        if det == 0:
            continue
        s = Fraction((c[1] - a[1]) * vx - (c[0] - a[0]) * vy) / det
        t = Fraction((c[1] - a[1]) * ux - (c[0] - a[0]) * uy) / det
        count += 0 < s < 1 and 0 < t < 1
    return count


@pytest.mark.parametrize("side", [4, 12, 1000])
def test_crossings_agree_with_a_second_counter(side):
    """On a coarse grid many links touch, overlap or run parallel: none of that counts."""
    chance = random.Random(side)
    counts = []
    for _ in range(150):
        nodes = [(chance.randrange(side), chance.randrange(side)) for _ in range(10)]
        counts.append(crossings(nodes))
        assert counts[-1] == crossings_by_solving(nodes)
    assert sum(counts) > 100


def test_crossings_of_a_random_polyline_are_as_many_as_geometric_probability_says():
    """25 nodes have 24 links and 24*23/2 - 23 = 253 pairs that are not neighbours.

    Four random points in a rectangle form a convex quadrilateral with probability 25/36
    (Sylvester's four-point problem for a square, Kendall and Moran 1963, in MathWorld's table;
    a rectangle is its affine image). Of the three ways to pair four such points one crosses.
    Expected: 253 * 25/36 / 3 = 58.565.
    """
    expected = 253 * 25 / 108
    assert expected == pytest.approx(58.565, abs=0.001)
    chance = random.Random(25)
    counts = [crossings(scattered(chance, 25, 240, 150)) for _ in range(1500)]
    se = statistics.stdev(counts) / math.sqrt(len(counts))
    assert se < 0.4
    assert statistics.fmean(counts) == pytest.approx(expected, abs=4 * se)


def test_crossings_stay_the_same_when_mirrored_turned_or_stretched():
    chance = random.Random(8)
    for _ in range(50):
        nodes = scattered(chance, 12, 100, 60)
        count = crossings(nodes)
        assert crossings([(-x, y) for x, y in nodes]) == count
        assert crossings([(y, -x) for x, y in nodes]) == count
        assert crossings([(3 * x, y / 2) for x, y in nodes]) == count
        assert crossings(nodes[::-1]) == count


@pytest.mark.parametrize(
    ("n_nodes", "area", "link_mm", "n_trails"),
    [
        (8, Area(168, 60), 48.0, 300),
        (16, Area(220, 130), 42.0, 40),
        (25, Area(240, 150), 42.0, 15),
    ],
)
def test_drawn_trails_never_cross_themselves(n_nodes, area, link_mm, n_trails):
    for seed in range(n_trails):
        nodes = draw_trail(random.Random(seed), n_nodes, area, link_mm * (n_nodes - 1))
        assert len(nodes) == n_nodes
        assert crossings(nodes) == crossings_by_solving(nodes) == 0


def test_an_area_too_small_is_refused_with_its_size():
    with pytest.raises(ValueError, match="no trail of 8 nodes and 336 mm found in 40 x 30 mm"):
        draw_trail(random.Random(1), 8, Area(40, 30), 336.0)


def test_length_of_a_polyline():
    """3-4-5 triangle, then 12 on."""
    assert polyline_mm([(0, 0), (3, 4), (3, 16)]) == 17.0


@pytest.mark.parametrize(
    ("kind", "n_nodes", "labels"),
    [
        ("numbers", 5, "1 2 3 4 5"),
        ("numbers", 8, "1 2 3 4 5 6 7 8"),
        ("numbers", 9, "10 11 12 13 14 15 16 17 18"),
        ("alternating", 5, "1 A 2 B 3"),
        ("alternating", 17, "10 A 11 B 12 C 13 D 14 E 15 F 16 G 17 H 18"),
        ("pairs", 3, "A1 B2 C3"),
        ("pairs", 9, "A10 B11 C12 D13 E14 F15 G16 H17 J18"),
    ],
)
def test_labels(kind, n_nodes, labels):
    assert " ".join(labels_of(kind, n_nodes)) == labels


UPSIDE_DOWN = str.maketrans("01689", "01986")


@pytest.mark.parametrize("kind", ["numbers", "alternating", "pairs"])
def test_no_label_is_another_one_upside_down_and_none_is_doubtful(kind):
    """Looked at from the far side, 6 is 9 and 16 is 91. I and O are 1 and 0 to many eyes."""
    for n_nodes in range(3, 25 if kind == "pairs" else 26):
        labels = labels_of(kind, n_nodes)
        assert len(set(labels)) == n_nodes
        assert not set("".join(labels)) & set("IO")
        numbers = [label for label in labels if set(label) <= set("01689")]
        turned = {
            n.translate(UPSIDE_DOWN)[::-1]
            for n in numbers
            if n.translate(UPSIDE_DOWN)[::-1] != n
        }
        assert not turned & set(numbers)


@pytest.mark.parametrize(
    ("kind", "n_nodes", "says"),
    [
        (
            "letters",
            5,
            "no trail of kind 'letters' with 5 nodes; kinds are numbers, alternating",
        ),
        (
            "pairs",
            25,
            "pairs with 25 nodes needs 25 numbers and 25 letters; there are 50 and 24",
        ),
        ("numbers", 51, "numbers with 51 nodes needs 51 numbers and 0 letters"),
    ],
)
def test_labels_that_run_out_are_refused(kind, n_nodes, says):
    with pytest.raises(ValueError, match=says):
        labels_of(kind, n_nodes)


def test_letters_are_the_alphabet_without_i_and_o():
    assert "".join(sorted([*LETTERS, "I", "O"])) == "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
