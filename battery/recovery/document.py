"""The page of true against recovered."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields

from battery.recovery.finding import FLOORS, N_REPEATS, Found
from battery.recovery.people import PEOPLE
from battery.recovery.quantities import QUANTITIES, Quantity
from battery.scoring import MEASURES
from battery.simulate import POINTERS, Pointer, Truth

HEAD = """# Does scoring find what people were made of

Made by `python -m battery.recovery battery/recovery/recovery.md`; change the program, not this
page.

Simulated participants with known ground truth play the test blocks of the standard plan
through the real tasks, closed loop, in virtual time; each block is scored as a real one is.
{n_people} people,
{n_pointers} pointers, {n_repeats} repeats of every pair, each with a layout of its own.

A cell holds the bias (mean of scored minus true) ± the spread (standard deviation over the
repeats); of sizes both are shares of the truth. Where a limit is promised, a cell outside it
is marked **!**. A cell in brackets is outside the promise: the tremor is under {floors:g} times
the floor of the pointer. Every block has to keep the limit by itself, or the mean of the
repeats where chance alone makes the person differ from block to block (an unsteady tremor, a
finger that wanders by more than 1 mm).
"""

POINTER_HEAD = """
## Pointers

| pointer | reports a second | grid, mm | in the air | at rest |
|---|---|---|---|---|
"""

PEOPLE_HEAD = """
## People

Everybody is the first line but for what is named.

| person | made of |
|---|---|
"""


def page(found: Sequence[Found], n_repeats: int = N_REPEATS) -> str:
    """Write what was found as a page of Markdown."""
    parts = [
        HEAD.format(
            n_people=len(PEOPLE), n_pointers=len(POINTERS), n_repeats=n_repeats, floors=FLOORS
        ),
        _summary(found),
        POINTER_HEAD,
        *(_pointer_line(name, pointer) for name, pointer in POINTERS.items()),
        PEOPLE_HEAD,
        f"| anybody | {_made_of(Truth(), whole=True)} |\n",
        *(f"| {name} | {_made_of(truth)} |\n" for name, truth in PEOPLE.items()),
    ]
    for quantity in QUANTITIES:
        cells = [f for f in found if f.quantity == quantity]
        if cells:
            parts.append(_table(quantity, cells))
    return "".join(parts)


def _summary(found: Sequence[Found]) -> str:
    lines = [
        "\n## In short\n\n",
        "| | limit | cells under the promise | kept | largest bias | largest spread |\n",
        "|---|---|---|---|---|---|\n",
    ]
    for quantity in QUANTITIES:
        cells = [f for f in found if f.quantity == quantity and f.promised]
        if cells:
            bias = max((f.bias for f in cells), key=abs)
            spread = max(f.spread for f in cells)
            lines.append(
                f"| {quantity.title} | {quantity.shown(quantity.limit)} | {len(cells)} | "
                f"{sum(f.kept for f in cells)} | {quantity.shown(bias, signed=True)} | "
                f"{quantity.shown(spread)} |\n"
            )
    return "".join(lines)


def _pointer_line(name: str, pointer: Pointer) -> str:
    air = "nothing" if pointer.touch else "hovers"
    rest = "reports" if pointer.reports_at_rest else "silent"
    return f"| {name} | {pointer.rate_hz:g} | {pointer.grid_mm:g} | {air} | {rest} |\n"


def _made_of(truth: Truth, *, whole: bool = False) -> str:
    """Name what a person is made of, where it differs from anybody."""
    usual = Truth()
    values = {f.name: getattr(truth, f.name) for f in fields(truth)}
    return ", ".join(
        f"`{name}` {value}"
        for name, value in values.items()
        if (value not in (None, 0.0) if whole else value != getattr(usual, name))
    )


def _table(quantity: Quantity, cells: Sequence[Found]) -> str:
    unit = MEASURES[quantity.measure].unit
    measured = f"`{quantity.measure}`" + (f", {unit}" if unit != "1" else "")
    limit = (
        "" if math.isnan(quantity.limit) else f" Promised: {quantity.shown(quantity.limit)}."
    )
    kind = " Bias and spread in per cent." if quantity.relative else ""
    note = f" {quantity.note}" if quantity.note else ""
    lines = [
        f"\n## {quantity.title}\n\n{measured}.{limit}{kind}{note}\n\n",
        f"| person | true | {' | '.join(POINTERS)} |\n",
        f"|---|---|{'---|' * len(POINTERS)}\n",
    ]
    by_pair = {(f.person, f.pointer): f for f in cells}
    for person in dict.fromkeys(f.person for f in cells):
        row = [by_pair.get((person, pointer)) for pointer in POINTERS]
        true = next(f.true for f in row if f is not None)
        texts = " | ".join("-" if f is None else _cell(f) for f in row)
        lines.append(f"| {person} | {true:.3g} | {texts} |\n")
    return "".join(lines)


def _cell(found: Found) -> str:
    quantity = found.quantity
    text = f"{quantity.shown(found.bias, signed=True)} ± {quantity.shown(found.spread)}"
    if math.isnan(quantity.limit):
        return text
    if not found.promised:
        return f"({text})"
    return text if found.kept else f"**! {text}**"
