"""Who entered an event or a decision about consent, whose records name no author."""

from __future__ import annotations

from collections.abc import Mapping

from battery.store import Store

SETTING = "entered_by"  # a person's, one for each record


def keep_entered_by(store: Store, code: str, record_id: str, author: str) -> None:
    """Keep who entered a record about a person; nothing where nobody said who."""
    if author:
        store.setup.put_setting(f"{SETTING}:{code}:{record_id}", author)


def entered_by(store: Store, code: str | None = None) -> Mapping[str, str]:
    """Return who entered which record about a person, or about anybody."""
    told = store.setup.settings_of(SETTING if code is None else f"{SETTING}:{code}")
    return {
        name.partition(":")[2]: author
        for name, author in told.items()
        if isinstance(author, str)
    }
