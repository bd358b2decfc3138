"""Who has looked at whose page, and what has come since; no sign of agreement."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from battery.store import Store

SETTING = "desk_seen"  # a person's: by initials, when


def keep_seen(store: Store, code: str, *, author: str, at_utc: str) -> None:
    """Keep that an author has looked at a person's page."""
    name = f"{SETTING}:{code}"
    store.setup.put_setting(name, store.setup.setting(name, {}) | {author: at_utc})


def seen_by(store: Store, author: str) -> dict[str, datetime]:
    """Return when an author last looked at each person's page, by the person's code."""
    told = store.setup.settings_of(SETTING)
    return {
        code: datetime.fromisoformat(by[author]) for code, by in told.items() if author in by
    }


def news_since(
    seen: Mapping[str, datetime], code: str, last_visit: datetime | None
) -> tuple[datetime | None, bool]:
    """Return when a page was looked at, and whether a visit was done after that."""
    when = seen.get(code)
    later = when is not None and last_visit is not None and last_visit > when
    return when, later
