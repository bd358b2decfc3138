"""What a simulated participant points with: rate, grid of positions, times of reports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Pointer:
    """A pointing device and how the program reads it.

    Parameters
    ----------
    touch : bool
        A touch panel reports nothing in the air; a mouse reports hovering.
    rate_hz : float
        Scans or reports a second. A press or a lift is told at the next scan.
    grid_mm : float
        Positions are rounded to it; 0 for none.
    scan_jitter_s : float
        Standard deviation of the moments of scans about even ones; at most a fifth of their
        interval, so that they stay in order. Stamp and position move together.
    drain_s : float
        A report is read at most this long after it came, evenly distributed: the error of its
        stamp. The stored bound on it is `drain_s`.
    reports_at_rest : bool
        Whether a scan that finds the same place as the last one is reported.
    """

    touch: bool = True
    rate_hz: float = 120.0
    grid_mm: float = 0.1
    scan_jitter_s: float = 0.0002
    drain_s: float = 0.0005
    reports_at_rest: bool = True

    def __post_init__(self) -> None:
        if not self.rate_hz > 0:
            msg = f"{self.rate_hz=} must be above 0"
            raise ValueError(msg)
        if not 0 <= self.scan_jitter_s <= 0.2 / self.rate_hz:
            msg = f"{self.scan_jitter_s=} must lie between 0 and {0.2 / self.rate_hz:g} s"
            raise ValueError(msg)
        if self.grid_mm < 0 or self.drain_s < 0:
            msg = f"{self.grid_mm=} and {self.drain_s=} must not be below 0"
            raise ValueError(msg)

    @property
    def number(self) -> int:
        """The pointer number in contacts."""
        return 1 if self.touch else 0


TOUCH_60 = Pointer(rate_hz=60.0, grid_mm=0.25, scan_jitter_s=0.001)
TOUCH_120 = Pointer(rate_hz=120.0, grid_mm=0.1)
MOUSE_125 = Pointer(touch=False, rate_hz=125.0, grid_mm=0.2, reports_at_rest=False)
MOUSE_1000 = Pointer(
    touch=False, rate_hz=1000.0, grid_mm=0.2, scan_jitter_s=0.00005, reports_at_rest=False
)
POINTERS: Mapping[str, Pointer] = {
    "touch 60 Hz": TOUCH_60,
    "touch 120 Hz": TOUCH_120,
    "mouse 125 Hz": MOUSE_125,
    "mouse 1000 Hz": MOUSE_1000,
}
