"""The tasks there are: the only list of them.

A task that stands here is recorded, replayed, simulated, scored and held to the contract. What
else it needs, and where that stands, is listed in `battery.joining`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

from tasks import layout, pursuit, slide, tapping, trail
from tasks.contract import AnyTask

TASKS: dict[str, AnyTask] = {
    task.name: task for task in (tapping.TAPPING, slide.SLIDE, pursuit.PURSUIT, trail.TRAIL)
}
# Rules of before, by task and version, kept for as long as there are records of them.
EARLIER: dict[tuple[str, int], AnyTask] = {}
OPTIONS: dict[str, type] = {
    "tapping": layout.TappingOptions,
    "slide": layout.SlideOptions,
    "pursuit": layout.PursuitOptions,
    "trail": layout.TrailOptions,
}
LAYOUTS: dict[str, Callable[[Any, int], Any]] = {
    "tapping": layout.tapping,
    "slide": layout.slide,
    "pursuit": layout.pursuit,
    "trail": layout.trail,
}
EXTENTS: dict[str, Callable[[Any], tuple[float, float]]] = {
    "tapping": tapping.extent_mm,
    "slide": slide.extent_mm,
    "pursuit": pursuit.extent_mm,
    "trail": trail.extent_mm,
}


def task_of(name: str, version: int) -> AnyTask | None:
    """Return a task with the rules of a version; None if this program does not have them."""
    task = TASKS.get(name)
    if task is not None and task.version == version:
        return task
    return EARLIER.get((name, version))


def make_settings(name: str, options: Any, seed: int, *, hand: Literal["left", "right"]) -> Any:
    """Draw the settings of a block; the left hand gets the mirror image of the right's.

    Raises
    ------
    ValueError
        If an option is out of its range, with value and limit; if the hand is neither.
    """
    if hand not in ("left", "right"):
        msg = f"{hand=} must be 'left' or 'right'"
        raise ValueError(msg)
    settings = LAYOUTS[name](options, seed)
    return settings if hand == "right" else TASKS[name].mirror(settings)


def extent_mm(settings: Any) -> tuple[float, float]:
    """Half width and half height of everything a block draws, mm."""
    name = next(n for n, task in TASKS.items() if task.settings_type is type(settings))
    return EXTENTS[name](settings)
