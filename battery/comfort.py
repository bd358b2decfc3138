"""What holds for a person of how pages look and sound, and who said so.

Said for a person, it has author and time and lies beside the record: so it reaches the tablet
with the person's card, and the clinic with a bundle. Of each thing the latest word counts,
whether the clinic said it or the person on the tablet. For everybody else there is a setting of
the clinic. Theme and size of words are conditions of the test and stand in every record.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace
from typing import Any

from battery.errors import UsageError
from battery.looks import WORDS, Comfort
from battery.store import ComfortEntry, Store

SETTING = "comfort"
UNNAMED_THEME = "dark"
NAMES = tuple(f.name for f in fields(Comfort))


def comfort_of(store: Store, person: str | None = None) -> Comfort:
    """Return what holds for a person, or for the clinic where nobody is named.

    The theme of somebody who has done a visit stays that of the last one, whatever the clinic
    sets for everybody since: only what is set for the person changes it. What a newer program
    kept and this one does not know is left out.
    """
    held = dict(store.setup.setting(SETTING, {}))
    if person is not None:
        own = {n: e.value for n, e in latest_of(store.care.comforts(person)).items()}
        if "theme" not in own and (seen := theme_seen(store, person)):
            held["theme"] = seen
        held |= own
    comfort = Comfort()
    for name in (name for name in NAMES if name in held):
        try:
            comfort = replace(comfort, **{name: _value(name, held[name])})
        except (UsageError, TypeError, ValueError, KeyError) as error:
            store.left_out(f"setting {SETTING}, {name}", f"it is left out: {error}")
    return comfort


def latest_of(entries: Iterable[ComfortEntry]) -> dict[str, ComfortEntry]:
    """Return the latest word on each thing that this program knows.

    Parameters
    ----------
    entries : iterable of ComfortEntry
        Of one person, in order of time.
    """
    return {entry.name: entry for entry in entries if entry.name in NAMES}


def overruled(entries: Iterable[ComfortEntry]) -> list[tuple[ComfortEntry, ComfortEntry]]:
    """Return what a person chose on the tablet and somebody else set otherwise afterwards.

    Returns
    -------
    list of (what the person chose last, what holds in its place)
    """
    entries = list(entries)
    chosen = latest_of(entry for entry in entries if entry.author == entry.person)
    holds = latest_of(entries)
    return [
        (entry, holds[name])
        for name, entry in chosen.items()
        if holds[name].value != entry.value
    ]


def theme_seen(store: Store, person: str) -> str:
    """Return the theme a person's last record was made in; empty before the first.

    Records that name none were made when there was only the dark one.
    """
    for visit in reversed(store.visits.all(person)):
        records = store.records.of_visit(visit.header.visit_id)
        if records:
            return records[-1].header.versions.get("theme", UNNAMED_THEME)
    return ""


def was_heard(store: Store, person: str) -> bool:
    """Whether a volume was chosen for a person, so that nobody has to ask again."""
    return "volume_percent" in latest_of(store.care.comforts(person))


def keep_for_all(store: Store, **changes: Any) -> Comfort:
    """Keep changes for everybody for whom nothing else was said; return what now holds.

    Raises
    ------
    UsageError
        If the stage cannot do it; nothing is changed then.
    """
    replace(comfort_of(store), **changes)
    store.setup.put_setting(SETTING, store.setup.setting(SETTING, {}) | changes)
    return comfort_of(store)


def keep_comfort(
    store: Store, person: str, *, author: str, at_utc: str, **changes: Any
) -> Comfort:
    """Keep what was changed for a person; what is said as it holds already adds nothing.

    Parameters
    ----------
    author : str
        Initials or a role; the person's own code for what the person chose on the tablet.

    Returns
    -------
    Comfort
        What now holds.

    Raises
    ------
    UsageError
        If nobody has that code, the author is empty, or the stage cannot do it; nothing is
        changed then.
    """
    store.people.get(person)
    replace(comfort_of(store, person), **changes)
    said = latest_of(store.care.comforts(person))
    told = {name: told_of(value) for name, value in changes.items()}
    store.care.set_comfort(
        person,
        {
            name: value
            for name, value in told.items()
            if name not in said or said[name].value != value
        },
        author=author,
        at_utc=at_utc,
    )
    return comfort_of(store, person)


def told_of(value: Any) -> str:
    """Return a value as it is stored."""
    return WORDS[value] if isinstance(value, bool) else str(value)


def said_words(entry: ComfortEntry) -> str:
    """Say one thing that was set, as it is named in a line."""
    unit = " %" if entry.name.endswith("_percent") else ""
    return f"{entry.name.removesuffix('_percent')} {entry.value}{unit}"


def _value(name: str, told: Any) -> Any:
    """Return a value as `Comfort` has it, from a row's text or a setting."""
    if not isinstance(told, str):
        return told
    if name == "voice":
        return {"on": True, "off": False}[told]
    return int(told) if name.endswith("_percent") else told
