"""What was changed of the clinic itself: settings, limits, who uses the desk; who did it, when.

Desk and commands change it inside `signed`, so that both leave the same lines. Each change is
a row of its own, never written again.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass

from battery.alarms import limits_of
from battery.comfort import told_of
from battery.store import Store

SETTING = "clinic_change"
WATCHED = ("emergency_number", "staff_code", "show_scores", "large", "machine")
SECRET = ("staff_code", "desk")  # that it changed is told, not to what
SET, OTHER = "set", "another"  # in place of what is secret


@dataclass(frozen=True, slots=True)
class ClinicChange:
    """One thing that was changed.

    Parameters
    ----------
    author : str
        Initials or a role; empty where nobody said who.
    what : str
        A setting of `WATCHED`, or ``limit:question``, ``comfort:thing``, ``desk:initials``,
        ``names``, ``tablet:fingerprint``.
    old, new : str
        Empty where nothing was or is set.
    place : str
        Sorts those of one moment.
    """

    at_utc: str
    author: str
    what: str
    old: str
    new: str
    place: str = ""


@contextmanager
def signed(store: Store, *, author: str, at_utc: str) -> Iterator[None]:
    """Note what is changed inside with its author; all of it is kept, or nothing.

    Parameters
    ----------
    store : Store
        Opened to write.
    author : str
        Empty where nobody said who.
    at_utc : str
    """
    with store.together():
        store.setup.wait_for_others()
        before = _held(store)
        yield
        after = _held(store)
        for number, what in enumerate(dict.fromkeys((*before, *after))):
            old, new = before.get(what, ""), after.get(what, "")
            if old != new:
                told = _told(what, old, new)
                change = ClinicChange(at_utc, author, what, *told, place=f"{number:04}")
                note_change(store, change)


def note_change(store: Store, change: ClinicChange) -> None:
    """Keep one change."""
    # No part of the name can be a person's code, with which settings are erased.
    store.setup.put_setting(f"{SETTING}:{uuid.uuid4().hex}", asdict(change))


def clinic_changes(store: Store) -> list[ClinicChange]:
    """List what was changed, in order of time; what cannot be read is noted and left out."""
    found = [
        ClinicChange(**told)
        for told in store.setup.settings_of(SETTING).values()
        if set(told) == set(ClinicChange.__slots__)
    ]
    return sorted(found, key=lambda change: (change.at_utc, change.place))


def _held(store: Store) -> Mapping[str, str]:
    """Return what is watched, as text; secrets as they lie there, to be compared only."""
    held = {name: _text(store.setup.setting(name, "")) for name in WATCHED}
    held |= {f"limit:{name}": str(limit) for name, limit in limits_of(store).items()}
    comfort = store.setup.setting("comfort", {})
    held |= {f"comfort:{name}": told_of(value) for name, value in comfort.items()}
    authors = store.setup.setting("desk_authors", {})
    return held | {f"desk:{initials}": str(told) for initials, told in authors.items()}


def _text(value: object) -> str:
    """Return a value as text; what is not set and what is off are the same."""
    if isinstance(value, bool):
        return "yes" if value else ""
    return str(value)


def _told(what: str, old: str, new: str) -> tuple[str, str]:
    if what.split(":")[0] not in SECRET:
        return old, new
    was = SET if old else ""
    return was, (OTHER if old else SET) if new else ""
