"""The stage: everything that needs a window. The only place that imports pygame."""

import os
from typing import TYPE_CHECKING, Any

# Read by the toolkit when it starts, so they are set before anything imports it. The first
# keeps showing a picture short (software frame buffer); the other two keep a finger from
# arriving a second time as a mouse and the reverse.
os.environ["SDL_FRAMEBUFFER_ACCELERATION"] = "0"
os.environ["SDL_TOUCH_MOUSE_EVENTS"] = "0"
os.environ["SDL_MOUSE_TOUCH_EVENTS"] = "0"
# A pixel is a pixel: Windows must not enlarge the picture on a dense display. And a window that
# loses the keyboard to a message stays where it is.
os.environ["SDL_WINDOWS_DPI_AWARENESS"] = "permonitorv2"
os.environ["SDL_VIDEO_MINIMIZE_ON_FOCUS_LOSS"] = "0"
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
# What desktops list the window under: the program's name instead of the command's.
os.environ.setdefault("SDL_VIDEO_X11_WMCLASS", "coordination-battery")
os.environ.setdefault("SDL_VIDEO_WAYLAND_WMCLASS", "coordination-battery")

if TYPE_CHECKING:
    from battery.stage.checks.loop_check import film_loop
    from battery.stage.checks.screen_check import measure_screen
    from battery.stage.checks.sound_check import sound_on_screen
    from battery.stage.home_exercises import home_exercise_on_screen
    from battery.stage.screen.message import show_message
    from battery.stage.tablet import tablet_on_screen
    from battery.stage.visit import visit_on_screen

__all__ = [
    "film_loop",
    "home_exercise_on_screen",
    "measure_screen",
    "show_message",
    "sound_on_screen",
    "tablet_on_screen",
    "visit_on_screen",
]


def __getattr__(name: str) -> Any:
    """Load the entrances when they are asked for: a window alone needs no store."""
    if name == "measure_screen":
        from battery.stage.checks.screen_check import measure_screen

        return measure_screen
    if name == "film_loop":
        from battery.stage.checks.loop_check import film_loop

        return film_loop
    if name == "home_exercise_on_screen":
        from battery.stage.home_exercises import home_exercise_on_screen

        return home_exercise_on_screen
    if name == "show_message":
        from battery.stage.screen.message import show_message

        return show_message
    if name == "sound_on_screen":
        from battery.stage.checks.sound_check import sound_on_screen

        return sound_on_screen
    if name == "tablet_on_screen":
        from battery.stage.tablet import tablet_on_screen

        return tablet_on_screen
    if name == "visit_on_screen":
        from battery.stage.visit import visit_on_screen

        return visit_on_screen
    msg = f"module {__name__!r} has no attribute {name!r}"
    raise AttributeError(msg)
