"""When a person's note was put into the chart, and by whom; the note itself is not kept."""

from __future__ import annotations

from battery.store import Store

SETTING = "desk_noted"  # a person's: who, by the moment


def keep_noted(store: Store, code: str, *, author: str, at_utc: str) -> None:
    """Keep that an author has put the note about a person into the record."""
    name = f"{SETTING}:{code}"
    store.setup.put_setting(name, store.setup.setting(name, {}) | {at_utc: author})


def noted(store: Store, code: str) -> list[tuple[str, str]]:
    """Return when notes were put into the record and by whom, in order of time."""
    return sorted(store.setup.setting(f"{SETTING}:{code}", {}).items())


def noted_of_all(store: Store) -> dict[str, list[tuple[str, str]]]:
    """Return it of everybody, by code."""
    told = store.setup.settings_of(SETTING)
    return {code: sorted(moments.items()) for code, moments in told.items()}
