"""The stage: everything that needs a window. The only place that imports pygame."""

import os

# Read by the toolkit when it starts, so they are set before anything imports it. The first
# keeps showing a picture short (software frame buffer); the other two keep a finger from arriving a
# second time as a mouse and the reverse.
os.environ["SDL_FRAMEBUFFER_ACCELERATION"] = "0"
os.environ["SDL_TOUCH_MOUSE_EVENTS"] = "0"
os.environ["SDL_MOUSE_TOUCH_EVENTS"] = "0"
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")

from battery.stage.visit import measure_screen, visit_on_screen

__all__ = ["measure_screen", "visit_on_screen"]
