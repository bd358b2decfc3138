"""Layouts of trails: no crossing links, clearances kept, lengths matched.

Nodes are laid one after another by randomised backtracking; a finished trail is kept only when
its length is within the tolerance of the length asked for, so that forms are matched.

The search is depth-first with a bound on the number of placements and then starts afresh, so
its cost is bounded per attempt. Every placement is checked against all nodes and links, so an
attempt costs at least the square of the number of nodes; as the area fills up, more attempts
fail and the cost grows much faster than that. Mean (longest of 100 or 200) a trail, in ms of
one core of a 2-core virtual machine:

==========================  =========  ========  ========  =======  ========
area and mean link           8 nodes    12        16        20       25
==========================  =========  ========  ========  =======  ========
168 x 60 mm, 48 mm           1.9 (9)
240 x 150 mm, 42 mm          0.2 (1)    0.5 (5)   1.2 (8)   3 (32)   9 (45)
240 x 150 mm, 48 mm                                                  27 (105)
220 x 130 mm, 42 mm          0.2 (1)                                 40 (205)
==========================  =========  ========  ========  =======  ========

An area without room for the trail is given up after about 1.5 s.
"""

from __future__ import annotations

import itertools
import math
import random
from dataclasses import dataclass

Point = tuple[float, float]

# I and O are left out because they look like 1 and 0.
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
KINDS = ("numbers", "alternating", "pairs")
MAX_NUMBERS = 50  # 10 to 59: none of them is another one upside down
SPACING_MM = 22.0  # between any two centres
LINK_MM = (22.0, 80.0)
CLEARANCE_MM = 11.0  # of a link from any node that is not its end
LENGTH_TOLERANCE = 0.05
CANDIDATES = 12  # places tried for a node before stepping back
PLACEMENTS_PER_ATTEMPT = 40  # times the number of nodes
ATTEMPTS = 300
TURNS = 30  # directions tried for one place


@dataclass(frozen=True, slots=True)
class Area:
    """Rectangle around the origin in which centres lie, mm."""

    width_mm: float
    height_mm: float


def labels_of(kind: str, n_nodes: int) -> tuple[str, ...]:
    """Name the nodes of a trail in order.

    A trail whose numbers would go beyond 8 counts from 10, so that 6 and 9, which are one
    figure to somebody who looks from the side, never stand in one trail.

    Raises
    ------
    ValueError
        If the kind is unknown, or the trail needs more numbers or letters than there are.
    """
    n_numbers, n_letters = {
        "numbers": (n_nodes, 0),
        "alternating": ((n_nodes + 1) // 2, n_nodes // 2),
        "pairs": (n_nodes, n_nodes),
    }.get(kind, (0, 0))
    if n_numbers == 0:
        msg = f"no trail of kind {kind!r} with {n_nodes} nodes; kinds are {', '.join(KINDS)}"
        raise ValueError(msg)
    if n_letters > len(LETTERS) or n_numbers > MAX_NUMBERS:
        msg = (
            f"{kind} with {n_nodes} nodes needs {n_numbers} numbers and {n_letters} letters; "
            f"there are {MAX_NUMBERS} and {len(LETTERS)}"
        )
        raise ValueError(msg)
    first = 1 if n_numbers <= 8 else 10
    numbers = [str(first + i) for i in range(n_numbers)]
    if kind == "numbers":
        return tuple(numbers)
    if kind == "pairs":
        return tuple(letter + number for letter, number in zip(LETTERS, numbers, strict=False))
    return tuple(LETTERS[i // 2] if i % 2 else numbers[i // 2] for i in range(n_nodes))


def draw_trail(
    random_source: random.Random, n_nodes: int, area: Area, length_mm: float
) -> tuple[Point, ...]:
    """Draw a trail of `n_nodes` whose length is within 5 % of `length_mm`.

    Parameters
    ----------
    random_source : random.Random
    n_nodes : int
        At least 2.
    area : Area
        Where the centres lie, around the origin.
    length_mm : float
        Of the whole trail; from link to link it varies by about 45 %.

    Returns
    -------
    tuple of (float, float)
        Centres in order, mm.

    Raises
    ------
    ValueError
        If no such trail was found: the area is too small for so many nodes.
    """
    for _ in range(ATTEMPTS):
        nodes = _attempt(random_source, n_nodes, area, length_mm / (n_nodes - 1))
        if nodes and abs(polyline_mm(nodes) / length_mm - 1) <= LENGTH_TOLERANCE:
            return tuple(nodes)
    msg = (
        f"no trail of {n_nodes} nodes and {length_mm:.0f} mm found in "
        f"{area.width_mm:.0f} x {area.height_mm:.0f} mm"
    )
    raise ValueError(msg)


def polyline_mm(nodes: tuple[Point, ...] | list[Point]) -> float:
    """Length of the polyline, mm."""
    return sum(math.dist(a, b) for a, b in itertools.pairwise(nodes))


def crossings(nodes: tuple[Point, ...] | list[Point]) -> int:
    """Count the pairs of links that cross, neighbouring links left out.

    Links that only touch or run along each other do not cross.

    Examples
    --------
    >>> crossings([(0, 0), (10, 10), (10, 0), (0, 10)])
    1
    """
    links = list(itertools.pairwise(nodes))
    return sum(
        _cross(*links[i], *links[j])
        for i in range(len(links))
        for j in range(i + 2, len(links))
    )


def _attempt(
    random_source: random.Random, n_nodes: int, area: Area, mean_link_mm: float
) -> list[Point]:
    """Lay nodes one by one, stepping back when none fits; empty when the bound is reached."""
    nodes: list[Point] = []
    left: list[int] = [CANDIDATES]
    for _ in range(PLACEMENTS_PER_ATTEMPT * n_nodes):
        if left[-1] == 0:
            left.pop()
            if not nodes:
                return []
            nodes.pop()
            continue
        left[-1] -= 1
        node = _candidate(random_source, nodes, area, mean_link_mm)
        if node is not None and _fits(nodes, node):
            nodes.append(node)
            if len(nodes) == n_nodes:
                return nodes
            left.append(CANDIDATES)
    return []


def _candidate(
    random_source: random.Random, nodes: list[Point], area: Area, mean_link_mm: float
) -> Point | None:
    """Draw a place for the next node; None when the area leaves none within reach."""
    half_x_mm, half_y_mm = area.width_mm / 2, area.height_mm / 2
    if not nodes:
        return (
            random_source.uniform(-half_x_mm, half_x_mm),
            random_source.uniform(-half_y_mm, half_y_mm),
        )
    x_mm, y_mm = nodes[-1]
    low_mm = max(LINK_MM[0], 0.55 * mean_link_mm)
    high_mm = max(low_mm, min(LINK_MM[1], 1.45 * mean_link_mm))
    for _ in range(TURNS):
        step_mm = random_source.uniform(low_mm, high_mm)
        angle = random_source.uniform(-math.pi, math.pi)
        node = (x_mm + step_mm * math.cos(angle), y_mm + step_mm * math.sin(angle))
        if abs(node[0]) <= half_x_mm and abs(node[1]) <= half_y_mm:
            return node
    return None


def _fits(nodes: list[Point], node: Point) -> bool:
    if any(math.dist(other, node) < SPACING_MM for other in nodes):
        return False
    if not nodes:
        return True
    last = nodes[-1]
    if any(_off_link_mm(other, last, node) < CLEARANCE_MM for other in nodes[:-1]):
        return False
    links = list(itertools.pairwise(nodes))
    if any(_off_link_mm(node, a, b) < CLEARANCE_MM for a, b in links):
        return False
    return not any(_cross(a, b, last, node) for a, b in links[:-1])


def _off_link_mm(point: Point, a: Point, b: Point) -> float:
    """Distance of a point from a link, mm."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    square = dx * dx + dy * dy
    share = 0.0 if square == 0 else ((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / square
    share = min(max(share, 0.0), 1.0)
    return math.dist(point, (a[0] + share * dx, a[1] + share * dy))


def _turn(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _cross(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether two links properly cross."""
    return _turn(a, b, c) * _turn(a, b, d) < 0 and _turn(c, d, a) * _turn(c, d, b) < 0
