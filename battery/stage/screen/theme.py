"""Colours and forms of the stage as data, so that contrast can be computed.

A role is never told by colour alone: every role has a form of its own beside it. The theme is
a condition of the test, so its name is kept in every record.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from battery.errors import UsageError
from tasks.contract import Role

Colour = tuple[int, int, int]
Form = Literal[
    "thin ring",
    "ring",
    "double ring",
    "broad ring",
    "dotted ring",
    "disc",
    "ringed disc",
    "diamond",
]

TEXT_CONTRAST = 7.0  # WCAG 2.2, 1.4.6 (AAA), text
MARK_CONTRAST = 4.5  # above WCAG 2.2, 1.4.11 (AA), which asks 3 of graphics

FORMS: Mapping[Role, Form] = {
    "idle": "thin ring",
    "target": "ring",
    "go": "disc",
    "home": "double ring",
    "held": "broad ring",
    "done": "ringed disc",
    "wrong": "diamond",
    "chip": "dotted ring",
    "track": "disc",
}


SOLID: frozenset[Form] = frozenset({"disc", "ringed disc", "diamond"})
LABELS_IN_BACKGROUND = tuple(
    role for role, form in FORMS.items() if form in SOLID and role != "track"
)


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours of everything that is drawn.

    Parameters
    ----------
    background, text, quiet : colour
        Of all pages; `quiet` is for words beside the main ones.
    panel, edge : colour
        Ground and outline of a button.
    main, on_main : colour
        Ground and words of the button that leads on.
    stop, on_stop : colour
        Ground and words of Stop.
    shade, contour : colour
        Of a drawn hand or body, and of the line around it.
    finger : colour
        The finger of a demonstration.
    roles : mapping of role to colour
    """

    name: str
    background: Colour
    text: Colour
    quiet: Colour
    panel: Colour
    edge: Colour
    main: Colour
    on_main: Colour
    stop: Colour
    on_stop: Colour
    shade: Colour
    contour: Colour
    finger: Colour
    roles: Mapping[Role, Colour]

    def text_pairs(self) -> Iterator[tuple[str, Colour, Colour]]:
        """Every pair of words and ground that occurs."""
        yield "text", self.text, self.background
        yield "quiet", self.quiet, self.background
        yield "button", self.text, self.panel
        yield "main button", self.on_main, self.main
        yield "stop", self.on_stop, self.stop
        yield "label in a ring", self.text, self.background
        for role in LABELS_IN_BACKGROUND:
            yield f"label in {role}", self.background, self.roles[role]

    def mark_pairs(self) -> Iterator[tuple[str, Colour, Colour]]:
        """Every pair of mark and ground that occurs."""
        for role, colour in self.roles.items():
            yield role, colour, self.background
        yield "finger", self.finger, self.background
        yield "line on a drawn hand", self.contour, self.shade
        yield (
            "drawn hand",
            max(
                (self.shade, self.contour), key=lambda colour: contrast(colour, self.background)
            ),
            self.background,
        )
        yield "edge of a button", self.edge, self.background
        yield "main button", self.main, self.background


DARK = Theme(
    name="dark",
    background=(15, 19, 24),
    text=(236, 238, 234),
    quiet=(170, 180, 184),
    panel=(34, 44, 54),
    edge=(128, 150, 164),
    main=(142, 204, 182),
    on_main=(12, 22, 22),
    stop=(116, 32, 34),
    on_stop=(250, 238, 234),
    shade=(206, 196, 182),
    contour=(34, 38, 44),
    finger=(250, 244, 230),
    roles={
        "idle": (134, 146, 154),
        "target": (132, 192, 226),
        "go": (238, 208, 96),
        "home": (132, 192, 226),
        "held": (126, 206, 166),
        "done": (140, 166, 184),
        "wrong": (238, 150, 104),
        "chip": (238, 208, 96),
        "track": (122, 138, 150),
    },
)
# What new people begin with: dark letters on a ground like paper, for rooms by day and for eyes
# that see light letters with a halo.
LIGHT = Theme(
    name="light",
    background=(247, 245, 239),
    text=(22, 28, 34),
    quiet=(62, 70, 78),
    panel=(255, 254, 251),
    edge=(92, 104, 114),
    main=(12, 84, 78),
    on_main=(250, 252, 249),
    stop=(140, 24, 30),
    on_stop=(255, 247, 244),
    shade=(232, 216, 196),
    contour=(44, 40, 38),
    finger=(40, 30, 60),
    roles={
        "idle": (98, 108, 116),
        "target": (10, 84, 142),
        "go": (124, 58, 0),
        "home": (10, 84, 142),
        "held": (10, 104, 74),
        "done": (62, 82, 98),
        "wrong": (150, 40, 12),
        "chip": (120, 72, 0),
        "track": (98, 110, 118),
    },
)
# For light-sensitive eyes, as after concussion or in migraine: nothing is brighter than half of
# white, and there is little blue.
DIM = Theme(
    name="dim",
    background=(10, 9, 8),
    text=(178, 164, 144),
    quiet=(168, 154, 134),
    panel=(24, 21, 18),
    edge=(140, 124, 106),
    main=(166, 156, 122),
    on_main=(8, 8, 6),
    stop=(52, 14, 12),
    on_stop=(196, 166, 150),
    shade=(150, 136, 118),
    contour=(24, 21, 18),
    finger=(178, 166, 146),
    roles={
        "idle": (130, 120, 108),
        "target": (132, 150, 144),
        "go": (184, 158, 96),
        "home": (132, 150, 144),
        "held": (138, 160, 116),
        "done": (158, 158, 142),
        "wrong": (204, 142, 104),
        "chip": (184, 158, 96),
        "track": (128, 120, 110),
    },
)
THEMES: Mapping[str, Theme] = {theme.name: theme for theme in (LIGHT, DARK, DIM)}
FIRST_THEME = LIGHT  # of people who have not done a visit


def theme_named(name: str) -> Theme:
    """Return a theme by its name.

    Raises
    ------
    UsageError
        If there is none.
    """
    if name not in THEMES:
        msg = f"no theme {name!r}; there are {', '.join(THEMES)}. Nothing was changed"
        raise UsageError(msg)
    return THEMES[name]


def contrast(a: Colour, b: Colour) -> float:
    """Contrast ratio of two colours, 1 to 21.

    Source: W3C, Web Content Accessibility Guidelines 2.2, "contrast ratio" and "relative
    luminance".
    """
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: Colour) -> float:
    """Relative luminance of an sRGB colour, 0 (black) to 1 (white); WCAG 2.2."""
    red, green, blue = (
        c / 255 / 12.92 if c / 255 <= 0.04045 else ((c / 255 + 0.055) / 1.055) ** 2.4
        for c in colour
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
