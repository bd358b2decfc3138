"""The page of measures and flags, written from their registries."""

from __future__ import annotations

from collections.abc import Iterable

from battery.scoring.flags import FLAGS
from battery.scoring.measures import PARTNER, PRIMARY, measures_of
from battery.scoring.score import SCORING_VERSION

HEAD = """# What is measured

Made by `python -m battery.scoring battery/scoring/measures.md`; change the registries, not this
page. Scoring version {version}; "since" is the version in which a definition changed last.

Every value has a number of trials it stands on, and what "beside" says: a 95 % interval, the
middle half of its ways, reaches or links, or nothing; or a reason why it is missing or has
none. The interval speaks of the trials of this block; days differ by more. How often it holds
the truth is measured (`battery/recovery/coverage.md`). A finger is not seen in the air: what
needs a path there is missing on touch. **Bold** is the one measure of a task that gets a
verdict; its partner, told beside it, is its speed, or its accuracy. Families by side, frequency
or band, marked +, are in the export and not on the page.
"""
DIRECTIONS = {
    "lower": "lower",
    "higher": "higher",
    "toward_one": "toward 1",
    "toward_zero": "toward 0",
    "none": "–",
}
WIDTHS = {"interval": "interval", "spread": "middle half", "none": "–"}
EFFECTS = {
    "not_scored": "not scored",
    "not_trended": "shown, not counted",
    "new_series": "counted, in a series of its own",
    "care": "counted, with care",
    "shown": "counted; said",
}


def page() -> str:
    """Return the page as Markdown."""
    parts = [HEAD.format(version=SCORING_VERSION)]
    for task in PRIMARY:
        rows = [
            (
                f"**`{m.name}`**" if m.primary else f"`{m.name}`{' +' if m.detail else ''}",
                m.title,
                m.meaning,
                m.unit,
                DIRECTIONS[m.direction],
                WIDTHS[m.width],
                m.needs or "–",
                m.limits or "–",
                m.source,
                str(m.since),
            )
            for m in measures_of(task)
        ]
        heads = (
            "measure",
            "title",
            "what it is",
            "unit",
            "better",
            "beside",
            "needs",
            "limits",
        )
        parts.append(
            f"## {task.capitalize()}\n\nPartner of the primary: `{PARTNER[task]}`. "
            f"Values of the primary below {PRIMARY[task].min_compared:g} {PRIMARY[task].unit} "
            "are equal.\n\n" + _table((*heads, "source", "since"), rows)
        )
    told = [(f"`{f.name}`", f.says, EFFECTS[f.effect]) for f in FLAGS.values()]
    parts.append("## Flags\n\n" + _table(("flag", "says", "effect"), told))
    return "\n".join(parts)


def _table(heads: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    names = list(heads)
    lines = [names, ["---"] * len(names), *([*row] for row in rows)]
    return "".join(
        f"| {' | '.join(cell.replace('|', '/') for cell in line)} |\n" for line in lines
    )
