"""Values from the literature, for context only: with source, and where each comes from.

They are never turned into a score: other hardware, other instructions, other people. Rows that
nobody has found in print are kept for whoever looks them up, and never given out.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal, cast

Provenance = Literal["found", "memory"]
Status = Literal["checked", "unverified"]
TOPICS = ("paper_trail", "reaction_time", "throughput", "tremor")


@dataclass(frozen=True, slots=True)
class ReferenceValue:
    """One value from the literature.

    Parameters
    ----------
    topic, quantity, group : str
        What, and in whom.
    value : float
    sd : float or None
        Spread between people; without it nothing can be said about where a person stands.
    unit : str
    n : int or None
        People it comes from.
    source : str
    provenance : {"found", "memory"}
        Whether it was read in the source.
    verified_by : str
        What of the source was read.
    status : {"checked", "unverified"}
    """

    topic: str
    quantity: str
    group: str
    value: float
    sd: float | None
    unit: str
    n: int | None
    source: str
    provenance: Provenance
    verified_by: str
    status: Status

    @property
    def may_be_shown(self) -> bool:
        """Whether somebody read it in the source and checked it."""
        return self.provenance == "found" and self.status == "checked"


def shown(topic: str | None = None) -> tuple[ReferenceValue, ...]:
    """Return the values that may be shown, of one topic or of all.

    Raises
    ------
    ValueError
        If there is no such topic.
    """
    if topic is not None and topic not in TOPICS:
        msg = f"no reference values about '{topic}'; there are {', '.join(TOPICS)}"
        raise ValueError(msg)
    return tuple(row for row in kept() if row.may_be_shown and topic in (None, row.topic))


@cache
def kept() -> tuple[ReferenceValue, ...]:
    """Return all rows, those nobody has found in print included: not for showing."""
    rows = []
    for topic in TOPICS:
        text = (files("norms") / "reference" / f"{topic}.csv").read_text(encoding="utf-8")
        rows += [_row(row) for row in csv.DictReader(text.splitlines())]
    return tuple(rows)


def _row(row: dict[str, str]) -> ReferenceValue:
    return ReferenceValue(
        row["topic"],
        row["quantity"],
        row["group"],
        float(row["value"]),
        float(row["sd"]) if row["sd"] else None,
        row["unit"],
        int(row["n"]) if row["n"] else None,
        row["source"],
        cast(Provenance, row["provenance"]),
        row["verified_by"],
        cast(Status, row["status"]),
    )
