"""Who entered an event or a decision about consent, whose records name no author."""

from __future__ import annotations

from collections.abc import Mapping

from battery.store import Store

SETTING = "entered_by"  # a person's: who, by the identifier of the record


def keep_entered_by(store: Store, code: str, record_id: str, author: str) -> None:
    """Keep who entered a record about a person; nothing where nobody said who."""
    if author:
        name = f"{SETTING}:{code}"
        store.setup.put_setting(name, store.setup.setting(name, {}) | {record_id: author})


def entered_by(store: Store, code: str | None = None) -> Mapping[str, str]:
    """Return who entered which record about a person, or about anybody."""
    if code is not None:
        told: Mapping[str, str] = store.setup.setting(f"{SETTING}:{code}", {})
        return told
    return {
        record_id: author
        for theirs in store.setup.settings_of(SETTING).values()
        for record_id, author in theirs.items()
    }
