"""What a clinic has set for a machine on which people do their visits."""

from __future__ import annotations

from dataclasses import dataclass

from battery.errors import UsageError
from battery.store import Store

DIGITS = "0123456789"
MACHINES = ("tablet", "clinic")
MAX_NUMBER = 20  # signs of a telephone number


@dataclass(frozen=True, slots=True)
class ClinicSettings:
    """What the clinic has set for its tablets.

    Parameters
    ----------
    emergency_number : str
        Shown on the emergency page; empty: the page speaks of the emergency number.
    staff_code : str
        Digits that leave the program from the staff page; empty: none is asked.
    show_scores : bool
        Whether the last page offers the person's numbers.
    machine : str
        What opens without a command: "tablet" or "clinic"; empty: what the store looks like.
    large : bool
        Whether the start page and all that follows has larger buttons and letters.
    """

    emergency_number: str = ""
    staff_code: str = ""
    show_scores: bool = False
    machine: str = ""
    large: bool = False


def clinic_settings(store: Store) -> ClinicSettings:
    """Return what the clinic has set."""
    return ClinicSettings(
        emergency_number=str(store.setup.setting("emergency_number", "")),
        staff_code=str(store.setup.setting("staff_code", "")),
        show_scores=bool(store.setup.setting("show_scores", False)),
        machine=str(store.setup.setting("machine", "")),
        large=bool(store.setup.setting("large", False)),
    )


def set_up(
    store: Store,
    *,
    emergency_number: str | None = None,
    staff_code: str | None = None,
    show_scores: bool | None = None,
    machine: str | None = None,
    large: bool | None = None,
) -> ClinicSettings:
    """Keep what is given and return all settings.

    Raises
    ------
    UsageError
        If a number cannot be called, a code cannot be typed, or there is no such machine;
        nothing is changed then.
    """
    if machine is not None and machine not in MACHINES:
        msg = f"machine {machine!r}: say {' or '.join(MACHINES)}; nothing was changed"
        raise UsageError(msg, field="machine")
    number = None if emergency_number is None else emergency_number.strip()
    if number and (not set(number) <= set(f"{DIGITS}+ -") or len(number) > MAX_NUMBER):
        msg = (
            f"emergency number {number!r}: give at most {MAX_NUMBER} digits, +, - and blanks; "
            "nothing was changed"
        )
        raise UsageError(msg, field="emergency_number")
    if staff_code and not (staff_code.isdecimal() and 4 <= len(staff_code) <= 8):
        msg = (
            f"staff code of {len(staff_code)} characters: give 4 to 8 digits, or nothing; "
            "nothing was changed"
        )
        raise UsageError(msg, field="staff_code")
    for name, value in (
        ("emergency_number", number), ("staff_code", staff_code), ("show_scores", show_scores),
        ("machine", machine), ("large", large),
    ):  # fmt: skip
        if value is not None:
            store.setup.put_setting(name, value)
    return clinic_settings(store)
