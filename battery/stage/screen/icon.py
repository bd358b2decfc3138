"""The program's own sign: a way from one place to the next."""

from __future__ import annotations

from pathlib import Path

import pygame

from battery.stage.screen.theme import LIGHT

LARGER = 8  # how much larger it is drawn than shown
WAY = ((30, 72), (38, 52), (54, 58), (70, 30))  # in hundredths of its side
STEPS = 40


def icon_surface(side_px: int) -> pygame.Surface:
    """Return the sign as a square picture with clear corners.

    Parameters
    ----------
    side_px : int
        From 16 for a small one on.
    """
    unit = side_px * LARGER / 100
    large = pygame.Surface((side_px * LARGER,) * 2, pygame.SRCALPHA)
    large.fill((*LIGHT.main, 0))
    whole = large.get_rect()
    pygame.draw.rect(large, LIGHT.main, whole, border_radius=round(22 * unit))
    for n in range(STEPS + 1):
        x, y = _bend(n / STEPS)
        pygame.draw.circle(large, LIGHT.on_main, (x * unit, y * unit), 3.6 * unit)
    start, *_, end = WAY
    for centre, radius, colour in (
        (start, 15, LIGHT.on_main),
        (start, 8, LIGHT.main),
        (end, 17, LIGHT.on_main),
    ):
        pygame.draw.circle(large, colour, (centre[0] * unit, centre[1] * unit), radius * unit)
    return pygame.transform.smoothscale(large, (side_px, side_px))


def _bend(t: float) -> tuple[float, float]:
    """Return a place on the cubic curve through the way, t from 0 to 1."""
    shares = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3)
    return (
        sum(share * x for share, (x, _) in zip(shares, WAY, strict=True)),
        sum(share * y for share, (_, y) in zip(shares, WAY, strict=True)),
    )


def write_icon(path: Path, side_px: int) -> None:
    """Write the icon as a PNG file, for a desktop's menu.

    Parameters
    ----------
    path : Path
    side_px : int
    """
    pygame.image.save(icon_surface(side_px), str(path))
