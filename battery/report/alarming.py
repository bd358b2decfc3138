"""Alarms in words, as list, page and note say them."""

from __future__ import annotations

from collections.abc import Iterable

from battery.alarms import Alarm

FIRST = "emergency_sign"


def alarm_lines(alarms: Iterable[Alarm]) -> tuple[str, ...]:
    """Say alarms, those of one visit or event in one line, the newest first.

    A new emergency sign stands before all others, whatever its day.
    """
    groups: dict[tuple[str, int | str], list[Alarm]] = {}
    for alarm in alarms:
        of = (f"{alarm.when:%Y-%m-%d}", alarm.visit if alarm.visit is not None else alarm.key)
        groups.setdefault(of, []).append(alarm)
    ordered = sorted(groups.items(), key=lambda item: not any(a.kind == FIRST for a in item[1]))
    lines = []
    for (day, _), own in ordered:
        visit = f"visit {own[0].visit}, " if own[0].visit is not None else ""
        words = "; ".join(dict.fromkeys(alarm.words for alarm in own))
        lines.append(f"{visit}{day}: {words}")
    return tuple(lines)


def acknowledged_lines(alarms: Iterable[Alarm]) -> tuple[str, ...]:
    """Say alarms that somebody has seen, each with who, when and the note."""
    lines = []
    for alarm in alarms:
        seen = alarm.acknowledged
        if seen is None:
            continue
        note = f": {seen.note}" if seen.note else ""
        lines.append(
            f"{alarm_lines([alarm])[0]}; acknowledged by {seen.author} on "
            f"{seen.at_utc[:10]}{note}"
        )
    return tuple(lines)
