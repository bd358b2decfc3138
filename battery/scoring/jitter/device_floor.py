"""What jitter a device can show at all: its grid, its rate of reports, its noise floor."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

from battery.scoring.jitter.tremor import BAND_HZ
from battery.scoring.score import BELOW_FLOOR, Score
from battery.scoring.signal.path import (
    GRID_HZ,
    Segment,
    grid_mm,
    kept_rate_hz,
    n_jumps,
    report_rate_hz,
)

MIN_RATE_HZ = 60 * 0.97
PRACTICAL_MM = 0.1  # what a tablet tells apart, whatever its pixels
COARSE_SHARE = 0.25  # more where the amplitude is no more than a few pixels
DEVICE_SHARE = 0.03  # of a value: what resampling, quantisation and uneven scans add or take


def floor_mm(
    pixel_mm: float, report_rate_hz: float, band_hz: tuple[float, float] = BAND_HZ
) -> float:
    """Noise floor: the band RMS that quantisation, rounding to whole pixels, alone would give.

    Notes
    -----
    Quantisation in steps of q adds noise of variance q²/12, white up to half the report rate
    (Bennett WR 1948, Bell Syst Tech J 27:446-472), if the pointer crosses many pixels. A
    resting finger may read exactly 0 below it, or jump by a whole pixel.
    """
    width_hz = band_hz[1] - band_hz[0]
    return pixel_mm * math.sqrt(width_hz / (6 * report_rate_hz))


@dataclass(frozen=True, slots=True)
class Device:
    """What the noise floor follows from: grid, mm, and rate of reports in contact, or nan.

    `kept_hz` is the rate with lost reports missing, which limits how quick a tremor may be;
    `n_jumps` and `contact_s` are how often the position jumped, and in how much contact.
    """

    pixel_mm: float
    rate_hz: float
    n_jumps: int = 0
    contact_s: float = 0.0
    kept_hz: float = math.inf

    @classmethod
    def of(cls, segments: list[Segment], pixel_mm: float) -> Self:
        """Read a device from its reports in contact: its grid may be coarser than a pixel."""
        return cls(
            max(pixel_mm, grid_mm(segments)),
            report_rate_hz(segments),
            n_jumps(segments),
            float(sum(t_s[-1] - t_s[0] for t_s, _ in segments if len(t_s))),
            kept_rate_hz(segments),
        )

    def quantisation_mm(self, band_hz: tuple[float, float] = BAND_HZ) -> float:
        """Noise floor of a band RMS; nan where the rate is unknown.

        A slow pointer crosses few pixels, and a device that tells of changes only is silent in
        between: more reports than the grid has do not thin out its quantisation.
        """
        if math.isnan(self.rate_hz):
            return math.nan
        return floor_mm(self.pixel_mm, min(self.rate_hz, GRID_HZ), band_hz)

    @property
    def too_slow(self) -> str:
        """Why there is no spectrum at this rate; empty where there is one."""
        if self.rate_hz >= MIN_RATE_HZ:
            return ""
        if math.isnan(self.rate_hz):
            return "too few reports to tell their rate"
        return f"{self.rate_hz:.0f} reports a second; at least 60 are needed"


def above_floor(
    name: str,
    value: float,
    n: int,
    interval: tuple[float, float],
    device: Device,
    band_hz: tuple[float, float],
) -> Score:
    """Score a band RMS; what the device cannot tell from none has the value of the limit.

    What quantisation adds is in the interval: the true value may be smaller by it.
    """
    rounding_mm = device.quantisation_mm(band_hz)
    limit_mm = max(rounding_mm, PRACTICAL_MM)
    low, high = interval
    if value < limit_mm:
        reason = f"{BELOW_FLOOR} of {limit_mm:.2g} mm (rounding alone: {rounding_mm:.2g} mm)"
        return Score(name, limit_mm, n, 0.0, max(limit_mm, high), reason)
    if not math.isnan(low):
        share = DEVICE_SHARE + COARSE_SHARE * (device.pixel_mm / (math.sqrt(2) * value)) ** 2
        wider = math.hypot(math.log(value / max(low, 1e-9 * value)), share)
        low = math.sqrt(max((value * math.exp(-wider)) ** 2 - rounding_mm**2, 0.0))
        high = value * math.exp(math.hypot(math.log(high / value), share))
    return Score(name, value, n, low, high)
