"""Measures of jitter: the same family for every task that drags along a straight line."""

from __future__ import annotations

from battery.scoring.measure import ON_ONE_DEVICE, OWN, Measure, Width

WELCH = "Welch 1967, IEEE Trans Audio Electroacoust 15:70-73; short pieces: Thomson 1982"
_NEEDS = "60 reports a second; 4 s of contact in pieces of at least 2 s without gaps"
_BRIEF_NEEDS = (
    "60 reports a second; 4 s of contact in pieces of at least 0.5 s without gaps, long enough "
    "to hold a third of the power of the tremor found"
)
_SPECTRUM_NEEDS = "60 reports a second; 8 s of contact in pieces of at least 2 s; a real peak"
SUB_BANDS_HZ: tuple[tuple[float, float], ...] = (
    (2, 4),
    (3, 5),
    (4, 6),
    (5, 8),
    (8, 12),
    (12, 14),
)
BESIDE_HZ: dict[str, tuple[float, float]] = {
    "sway_mm": (0.5, 2.0),
    "above_band_mm": (14.0, 20.0),
}


def band_name(task: str, band_hz: tuple[float, float]) -> str:
    """Name of the measure of one sub-band."""
    return f"{task}.jitter_{band_hz[0]:.0f}_{band_hz[1]:.0f}_hz_mm"


def jitter(
    task: str,
    track: str,
    *,
    primary: bool,
    along: str,
    along_width: Width = "interval",
    beside: str = "",
) -> tuple[Measure, ...]:
    """Define the family for one task.

    Parameters
    ----------
    task : str
    track : str
        What the instructed path is called: "path", "track".
    primary : bool
        Whether the jitter across is the task's primary measure.
    along : str
        Meaning of the jitter along the path, which differs from task to task.
    along_width : {"interval", "none"}
        No interval holds it where movement at will has a part in it.
    beside : str
        What of the contact does not count, if anything.
    """
    return (
        Measure(
            f"{task}.jitter_across_mm",
            f"Jitter across the {track}",
            f"Root mean square displacement across the {track} in 2-14 Hz, from the spectrum "
            f"of position{beside}.",
            "mm",
            "lower",
            WELCH,
            primary=primary,
            limits=f"Corrections at will quicker than two a second lie in this band. "
            f"{ON_ONE_DEVICE}",
            needs=_BRIEF_NEEDS,
            since=3,
            min_compared=0.1 if primary else 0.0,
        ),
        Measure(
            f"{task}.jitter_slow_mm",
            "Jitter across, slow phases",
            f"Root mean square displacement across the {track} in 2-14 Hz while the finger is "
            "slower than 50 mm/s along it.",
            "mm",
            "lower",
            OWN,
            limits=ON_ONE_DEVICE,
            needs=f"{_NEEDS}; 4 s of it slow",
            since=3,
            width="none",
        ),
        Measure(
            f"{task}.jitter_along_mm",
            f"Jitter along the {track}",
            along,
            "mm",
            "lower",
            WELCH,
            limits=f"Corrections of one's own that are quick lie in this band. {ON_ONE_DEVICE}",
            needs=_NEEDS,
            since=3,
            width=along_width,
        ),
        *(
            Measure(
                band_name(task, band),
                f"Jitter across, {band[0]:.0f}-{band[1]:.0f} Hz",
                f"The same across the {track} in {band[0]:.0f}-{band[1]:.0f} Hz.",
                "mm",
                "lower",
                WELCH,
                limits=f"Bands overlap and name no cause. {ON_ONE_DEVICE}",
                needs=_NEEDS,
                detail=True,
                since=3,
                width="none",
            )
            for band in SUB_BANDS_HZ
        ),
        *(
            Measure(
                f"{task}.{name}",
                title,
                f"Root mean square displacement across the {track} in "
                f"{BESIDE_HZ[name][0]:g}-{BESIDE_HZ[name][1]:g} Hz, beside the jitter's band.",
                "mm",
                "none",
                WELCH,
                limits=limits,
                needs=_NEEDS,
                detail=True,
                since=3,
                width="none",
            )
            for name, title, limits in (
                (
                    "sway_mm",
                    "Slow sway",
                    "Slow tremor and corrections at will are one.",
                ),
                ("above_band_mm", "Above the band", ON_ONE_DEVICE),
            )
        ),
        Measure(
            f"{task}.tremor_hz",
            "Frequency of the jitter",
            "Middle of the line about the highest peak in 2-14 Hz of the spectrum across, "
            "divided by the power law fitted to it; only where it stands out of what chance "
            "makes and of the noise floor.",
            "Hz",
            "none",
            OWN,
            log_scale=False,
            limits="Says how fast, not why.",
            needs=_SPECTRUM_NEEDS,
            since=3,
        ),
        Measure(
            f"{task}.tremor_snr_db",
            "Peak over background",
            "Power within 0.5 Hz of that peak over the power of the background there.",
            "dB",
            "none",
            OWN,
            log_scale=False,
            needs=_SPECTRUM_NEEDS,
            detail=True,
            since=3,
            width="none",
        ),
        Measure(
            f"{task}.jitter_pixels",
            "Jitter in pixels",
            "Amplitude of a sine of that jitter over the device's grid. Below 2 the "
            "quantisation may add or take up to a third.",
            "1",
            "none",
            OWN,
            detail=True,
            since=3,
        ),
        Measure(
            f"{task}.jumps_per_min",
            "Jumps of the position",
            "Steps of over 3 mm between two reports, four times as long as those before and "
            "after, a minute of contact: the panel's, not the hand's.",
            "/min",
            "none",
            "interval: Brown, Cai & DasGupta 2003, Stat Sin 13:19-49",
            log_scale=False,
            detail=True,
            since=3,
            width="none",
        ),
        Measure(
            f"{task}.jitter_floor_mm",
            "Noise floor of the jitter",
            "What quantisation, the rounding to the device's grid, alone gives in 2-14 Hz.",
            "mm",
            "none",
            "Bennett 1948, Bell Syst Tech J 27:446-472",
            limits="Filters and jumps of the digitiser come on top and are not known.",
            detail=True,
            since=3,
        ),
    )
