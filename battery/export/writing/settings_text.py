"""The settings of a block as an export writes them: the plan's, its own, and both together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from typing import Any

from battery.recording import canonical_json
from tasks.registry import OPTIONS


@dataclass(frozen=True, slots=True)
class SettingsText:
    """Settings of a block as canonical JSON, each value written once.

    Parameters
    ----------
    fixed, drawn, whole : str
        What the plan fixes, what was drawn for the block, and both.
    """

    fixed: str
    drawn: str
    whole: str

    @classmethod
    def of(cls, task: str, settings: Mapping[str, Any]) -> SettingsText:
        """Write the settings of a task."""
        told = {
            name: f"{canonical_json(name)}:{canonical_json(settings[name])}"
            for name in sorted(settings)
        }
        names = _fixed(task)
        return cls(
            "{" + ",".join(text for name, text in told.items() if name in names) + "}",
            "{" + ",".join(text for name, text in told.items() if name not in names) + "}",
            "{" + ",".join(told.values()) + "}",
        )


@cache
def _fixed(task: str) -> frozenset[str]:
    """Return the settings of a task that a plan fixes."""
    options = OPTIONS.get(task)
    return frozenset(f.name for f in fields(options)) if options else frozenset()
