"""Outlines of the pictures by which people know themselves, for the glass and for paper."""

from __future__ import annotations

import math

Point = tuple[float, float]
# Filled outlines in a square of 100, y down; drawn one over the other, holes last.
HOUSE = (((10, 48), (50, 10), (90, 48)), ((20, 48), (80, 48), (80, 92), (20, 92)))
BOAT = (((8, 62), (92, 62), (74, 88), (26, 88)), ((46, 6), (54, 6), (54, 60), (46, 60)),
        ((58, 12), (84, 54), (58, 54)))  # fmt: skip
TREE = (((50, 6), (80, 44), (20, 44)), ((50, 26), (88, 74), (12, 74)),
        ((43, 74), (57, 74), (57, 94), (43, 94)))  # fmt: skip
CUP = (((18, 30), (70, 30), (64, 86), (24, 86)), ((70, 38), (92, 38), (84, 68), (67, 68)))
KEY = (((42, 44), (94, 44), (94, 56), (42, 56)), ((70, 54), (78, 54), (78, 72), (70, 72)),
       ((84, 54), (92, 54), (92, 72), (84, 72)))  # fmt: skip
STAR = (tuple(
    (50 + r * math.sin(math.pi * k / 5), 52 - r * math.cos(math.pi * k / 5))
    for k, r in enumerate([46, 19] * 5)
),)  # fmt: skip
FISH = (tuple(
    (44 + 36 * math.cos(math.pi * k / 18), 50 + 24 * math.sin(math.pi * k / 18))
    for k in range(36)
), ((72, 50), (96, 26), (96, 74)))  # fmt: skip
SUN = (tuple(
    (50 + r * math.sin(math.pi * k / 12), 50 - r * math.cos(math.pi * k / 12))
    for k, r in enumerate([46, 30] * 12)
),)  # fmt: skip
FIGURES: tuple[tuple[tuple[Point, ...], ...], ...] = (
    HOUSE, BOAT, TREE, CUP, KEY, STAR, FISH, SUN,
)  # fmt: skip
HOLES: dict[int, tuple[Point, float]] = {0: ((50, 62), 12), 4: ((26, 50), 22), 6: ((26, 44), 4)}
RINGS: dict[int, tuple[Point, float]] = {4: ((26, 50), 10)}


def figure_svg(number: int) -> str:
    """Return the picture of that number as a drawing for a page; it takes the page's ink."""
    number %= len(FIGURES)
    parts = []
    ring, hole = RINGS.get(number), HOLES.get(number)
    ground = "var(--ground, #fff)"
    if ring is not None and hole is not None:
        (x, y), _ = ring
        parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="{hole[1]:g}"/>')
    for outline in FIGURES[number]:
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in outline)
        parts.append(f'<polygon points="{points}"/>')
    inner = ring or hole
    if inner is not None:
        (x, y), radius = inner
        parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="{ground}"/>')
    return f'<svg viewBox="0 0 100 100" fill="currentColor">{"".join(parts)}</svg>'
