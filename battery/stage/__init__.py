"""The stage: everything that needs a window. The only place that imports pygame."""

from battery.stage.visit import measure_screen, visit_on_screen

__all__ = ["measure_screen", "visit_on_screen"]
