"""Colours and forms of the stage as data, so that contrast can be computed.

A role is never told by colour alone: every role has a form of its own beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from tasks.contract import Role

Colour = tuple[int, int, int]
Form = Literal["solid", "ring", "double ring", "dotted centre", "cross"]

BACKGROUND: Colour = (16, 20, 26)
TEXT: Colour = (238, 240, 236)
QUIET: Colour = (176, 184, 190)
BUTTON: Colour = (38, 50, 64)
BUTTON_EDGE: Colour = (150, 178, 204)
STOP: Colour = (122, 34, 30)


@dataclass(frozen=True, slots=True)
class Look:
    """How a role is drawn."""

    colour: Colour
    form: Form


LOOKS: Mapping[Role, Look] = {
    "idle": Look((134, 146, 156), "ring"),
    "target": Look((134, 196, 230), "ring"),
    "go": Look((238, 214, 92), "solid"),
    "home": Look((134, 196, 230), "double ring"),
    "held": Look((112, 206, 160), "dotted centre"),
    "done": Look((120, 150, 170), "solid"),
    "wrong": Look((236, 140, 92), "cross"),
    "chip": Look((238, 214, 92), "double ring"),
    "track": Look((120, 136, 150), "solid"),
}


def contrast(a: Colour, b: Colour) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, relative luminance)."""
    light, dark = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: Colour) -> float:
    linear = [
        c / 255 / 12.92 if c / 255 <= 0.04045 else ((c / 255 + 0.055) / 1.055) ** 2.4
        for c in colour
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
