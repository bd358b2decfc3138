"""What is on the screen, written to a file for a test that acts from another process.

Only when the environment names a file. It holds nothing that is not to be seen.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

from battery.stage.screen.scale import Scale
from tasks.contract import Disc, Mark

VARIABLE = "BATTERY_PUBLISH"


class Publisher:
    """Writes a small JSON file whenever the picture changes; does nothing by default."""

    def __init__(self) -> None:
        name = os.environ.get(VARIABLE)
        self._path = Path(name) if name else None
        self._last = ""
        self._number = 0

    @property
    def on(self) -> bool:
        """Whether anybody wants to know."""
        return self._path is not None

    def show(self, state: dict[str, Any]) -> None:
        """Write `state` if it differs from what was last written, all or nothing."""
        if self._path is None:
            return
        text = json.dumps(state, sort_keys=True)
        if text == self._last:
            return
        self._last = text
        self._number += 1
        part = self._path.with_suffix(".part")
        part.write_text(json.dumps({"number": self._number, **state}), encoding="utf-8")
        part.replace(self._path)


def shown_marks(marks: tuple[Mark, ...], scale: Scale) -> dict[str, Any]:
    """Return discs and tracks in pixels, as they are seen."""
    discs = []
    tracks = []
    for mark in marks:
        if isinstance(mark, Disc):
            x_px, y_px = scale.to_px(mark.x_mm, mark.y_mm)
            discs.append(
                {
                    "x_px": round(x_px, 1),
                    "y_px": round(y_px, 1),
                    "r_px": round(scale.length_px(mark.r_mm), 1),
                    "role": mark.role,
                    "label": mark.label,
                    "filled": mark.filled,
                }
            )
        else:
            tracks.append([[round(v, 1) for v in scale.to_px(*p)] for p in mark.points_mm])
    return {"discs": discs, "tracks": tracks, "px_per_mm": round(scale.length_px(1.0), 4)}
