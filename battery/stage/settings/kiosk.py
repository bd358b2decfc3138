"""What should be put right on a tablet at home before a visit."""

from __future__ import annotations

import shutil
import sys
from datetime import datetime
from pathlib import Path

from battery.store import Store

MIN_BATTERY = 30  # percent
MIN_DISK_BYTES = 10**9
POWER = Path("/sys/class/power_supply")


def warnings(
    store: Store, now: datetime, *, power: Path = POWER, free_bytes: int | None = None
) -> list[str]:
    """List what should be put right before a visit: battery, disk, clock.

    Parameters
    ----------
    now : datetime
        With its zone.
    power : Path
        Where the system tells about batteries.
    free_bytes : int, optional
        Room on the disk; by default that of the store's folder.
    """
    found = []
    charge = battery_percent(power)
    if charge is not None and charge < MIN_BATTERY:
        found.append("battery")
    if free_bytes is None and store.folder is not None:
        free_bytes = shutil.disk_usage(store.folder).free
    if free_bytes is not None and free_bytes < MIN_DISK_BYTES:
        found.append("disk")
    started = [datetime.fromisoformat(v.header.started_utc) for v in store.visits.all()]
    if started and max(started) > now:
        found.append("clock")
    return found


def battery_percent(power: Path = POWER) -> int | None:
    """Return the charge of a battery that is being used up; None when there is none.

    On Linux read from the system's own files: psutil takes a mouse's battery for the machine's
    and misses those of tablets that are named after their gauge. Elsewhere psutil is asked.
    """
    if sys.platform != "linux":
        return _asked_of_psutil()
    for folder in sorted(power.glob("*")):
        try:
            kind = (folder / "type").read_text(encoding="utf-8").strip()
            scope = folder / "scope"  # a mouse's or pen's own battery names itself so
            own = not (scope.exists() and scope.read_text(encoding="utf-8").strip() == "Device")
            state = (folder / "status").read_text(encoding="utf-8").strip()
            if kind == "Battery" and own and state == "Discharging":
                return int((folder / "capacity").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            continue
    return None


def _asked_of_psutil() -> int | None:
    import psutil

    told = psutil.sensors_battery()
    return None if told is None or told.power_plugged else round(told.percent)
