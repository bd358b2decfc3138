"""Which visits may be compared: only those alike in everything that changes a number."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, fields

from norms.baseline import Point

# What a difference is called on the page.
WORDS = {
    "task": "another task",
    "hand": "the other hand",
    "plan": "another plan",
    "device": "another device",
    "scale": "another size of the picture",
    "input_type": "another kind of pointer",
    "weight": "another wrist weight",
    "protocol": "another version of the test",
    "scoring": "another version of the scoring",
}


@dataclass(frozen=True, slots=True)
class SeriesKey:
    """What has to be the same for two visits to be compared, as plain text.

    Parameters
    ----------
    task, hand, plan, device, scale, input_type, weight, protocol, scoring : str
        Empty where it does not apply; empty equals only empty. The scale is millimetres per
        pixel, rounded by the caller.
    """

    task: str = ""
    hand: str = ""
    plan: str = ""
    device: str = ""
    scale: str = ""
    input_type: str = ""
    weight: str = ""
    protocol: str = ""
    scoring: str = ""

    def differences(self, other: SeriesKey) -> tuple[str, ...]:
        """Return the names of the fields in which another key differs."""
        names = [field.name for field in fields(self)]
        return tuple(n for n in names if getattr(self, n) != getattr(other, n))


@dataclass(frozen=True, slots=True)
class Break:
    """Where visits stop being comparable with the one before, and why in words."""

    visit: int
    reason: str


@dataclass(frozen=True, slots=True)
class Series:
    """Points that may be compared, and why they are apart from the visits before them.

    Parameters
    ----------
    key : SeriesKey
    points : tuple of Point
        In order of visits.
    reason : str
        Why it began; empty for a person's first series.
    """

    key: SeriesKey
    points: tuple[Point, ...]
    reason: str


def why_apart(before: SeriesKey, after: SeriesKey) -> str:
    """Say in words what keeps two visits from being compared; empty when nothing does.

    Names stand beside a change of device, pointer or weight; hashes and versions do not, as
    they tell a reader nothing.
    """
    said = []
    for name in before.differences(after):
        old, new = getattr(before, name), getattr(after, name)
        if name == "weight" and not (old and new):
            said.append("wrist weight on" if new else "wrist weight off")
            continue
        named = name in ("device", "input_type", "weight") and old and new
        said.append(f"{WORDS[name]} ({old} to {new})" if named else WORDS[name])
    return ", ".join(said)


def breaks(keyed: Sequence[tuple[int, SeriesKey]]) -> tuple[Break, ...]:
    """List the visits at which a series breaks off.

    Parameters
    ----------
    keyed : sequence of (visit, SeriesKey)
        In order. A visit done on two devices may stand twice.
    """
    return tuple(
        Break(visit, why_apart(before, after))
        for (_, before), (visit, after) in itertools.pairwise(keyed)
        if before != after
    )


def series_of(keyed: Sequence[tuple[Point, SeriesKey]]) -> tuple[Series, ...]:
    """Sort one measure's points into series.

    A return to an earlier device continues the earlier series. In a visit done on both devices
    each value goes to its own series.

    Parameters
    ----------
    keyed : sequence of (Point, SeriesKey)
        In order of visits.

    Returns
    -------
    tuple of Series
        The current one, which holds the last point, is last.
    """
    points: dict[SeriesKey, list[Point]] = {}
    reasons: dict[SeriesKey, str] = {}
    before: SeriesKey | None = None
    for point, key in keyed:
        if key not in points:
            points[key] = []
            reasons[key] = "" if before is None else why_apart(before, key)
        else:
            points[key] = points.pop(key)  # the one touched last comes last
        points[key].append(point)
        before = key
    return tuple(Series(key, tuple(own), reasons[key]) for key, own in points.items())
