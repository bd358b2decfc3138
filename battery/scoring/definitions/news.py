"""What changed in a measure in the version in which its definition changed last, and why.

For whoever has old records scored again. A measure of every task stands here by what follows
the task's name; a name of its own comes first.
"""

from __future__ import annotations

from collections.abc import Mapping

_TRIALS = "trials without an answer count: before, whoever left the hard ones out looked better"
_TRAILS = (
    "trails that were not finished count with their time, and all count from being shown: "
    "before, a trail given up, or thought out before it was begun, looked quicker"
)
_OFF = (
    "time off the glass counts as not following, and nothing for more than that: before, it "
    "was left out, and lifting off looked better"
)
_BAND = (
    "from 2 to 14 Hz in place of 3 to 12, at every pace and over the whole contact, with what "
    "falls beside the band given back; reports read in bursts count as one"
)
_DELAY = "only where the finger follows steadily: before, a delay was given where none can be"
_SPLIT = "a slow tremor no longer passes for movement: what is still is told below 1.5 Hz"
_FIRST = "measured from this version on"

NEWS: Mapping[str, str] = {
    "tapping.radial_error_mm": f"{_TRIALS}; so does every 20 s in which none was done",
    "tapping.movement_time_s": _TRIALS,
    "tapping.hit_rate": _TRIALS,
    **{
        f"tapping.{what}_{side}{unit}": _TRIALS
        for side in ("left", "right")
        for what, unit in (("radial_error", "_mm"), ("movement_time", "_s"), ("hit_rate", ""))
    },
    "pursuit.tracking_rmse_mm": _OFF,
    "pursuit.rmse_predictable_mm": _OFF,
    "pursuit.rmse_unpredictable_mm": _OFF,
    "pursuit.rmse_difference_mm": _OFF,
    "pursuit.time_on_target": "a share of all the scored time: before, of that on the glass",
    "pursuit.delay_s": _DELAY,
    "pursuit.velocity_gain": _DELAY,
    "pursuit.delay_by_correlation_s": _DELAY,
    "trail.time_per_link_s": _TRAILS,
    "trail.numbers_time_per_link_s": _TRAILS,
    "trail.alternating_time_per_link_s": _TRAILS,
    "trail.pairs_time_per_link_s": _TRAILS,
    "trail.finished_share": _FIRST,
    "trail.search_time_s": _SPLIT,
    "trail.travel_time_s": _SPLIT,
    "trail.travel_speed_mm_s": _SPLIT,
    "trail.path_efficiency": _SPLIT,
    "jitter_across_mm": _BAND,
    "jitter_slow_mm": _BAND,
    "jitter_along_mm": (
        "from 3.5 to 14 Hz, filtered before it is cut: before, movement at will leaked into it "
        "at the ends of ways"
    ),
    "jitter_3_5_hz_mm": _BAND,
    "jitter_4_6_hz_mm": _BAND,
    "jitter_5_8_hz_mm": _BAND,
    "jitter_8_12_hz_mm": _BAND,
    "jitter_floor_mm": "of the wider band, and of the grid that the reports have",
    "tremor_hz": (
        "from 2 to 14 Hz, the middle of the line, and only with a line above the floor: "
        "before, one was given beside a jitter below it"
    ),
    "tremor_snr_db": "from 2 to 14 Hz, and only with a line above the floor",
    **dict.fromkeys(
        (
            *("jitter_2_4_hz_mm", "jitter_12_14_hz_mm", "sway_mm", "above_band_mm"),
            *("jitter_pixels", "jumps_per_min", "queued_share"),
        ),
        _FIRST,
    ),
}


def news_of(measure: str) -> str:
    """Say what changed in a measure; empty where its definition stayed."""
    return NEWS.get(measure) or NEWS.get(measure.split(".", 1)[1], "")
