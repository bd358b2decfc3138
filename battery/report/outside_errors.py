"""Errors of measures that were taken from outside: what may be entered, and what holds.

A reliability study, published or one's own, can stand in place of the scatter of this store.
What it says is kept on the scale of comparison; here it is said as studies print it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from battery.errors import UsageError
from battery.report.judged import EXACT, SPEED
from battery.report.words import unit_words
from battery.scoring import MEASURES, PRIMARY, Measure
from battery.store import OutsideError, Store
from norms.band import OutsideSem

# No person's visits scatter less or more; far beyond what any study prints. A judgement.
MIN_PERCENT, MAX_PERCENT = 0.01, 200.0
MIN_SEM, MAX_SEM = 0.0001, 10_000.0  # in whichever unit
MAX_PEOPLE = 100_000
TAKEN_BACK = "taken back"
MAX_EXPONENT = 700.0  # beyond it there is no number


@dataclass(frozen=True, slots=True)
class Change:
    """One word on the error of a measure, with what held before it.

    Parameters
    ----------
    old : OutsideError or None
        None where this store's own scatter held.
    """

    new: OutsideError
    old: OutsideError | None


def offered() -> tuple[Measure, ...]:
    """Return the measures about which a page gives a verdict, the main ones first."""
    beside = [MEASURES[name] for task in PRIMARY for name in (SPEED[task][0], EXACT[task])]
    return tuple(dict.fromkeys((*PRIMARY.values(), *beside)))


def measure_meant(name: str) -> Measure:
    """Return a measure by its name.

    Raises
    ------
    UsageError
        If there is none.
    """
    measure = MEASURES.get(name)
    if measure is None:
        mains = ", ".join(m.name for m in PRIMARY.values())
        msg = f"no measure {name!r}; main measures are {mains}. Nothing was stored"
        raise UsageError(msg, field="measure")
    return measure


def enter_outside_error(
    store: Store,
    name: str,
    size: float,
    *,
    source: str,
    author: str,
    at_utc: str,
    n_people: float = 0,
) -> OutsideError:
    """Let the bands of a measure rest on an error from outside.

    Parameters
    ----------
    name : str
        Of the measure.
    size : float
        For a measure that is compared on logarithms the within-person coefficient of
        variation, percent; for any other the standard error of measurement in its unit.
    source : str
        Where it was published or measured.
    n_people : float
        People in that study, a whole number; 0 where it is not known.

    Raises
    ------
    UsageError
        If there is no such measure, size or people cannot be, or source or author is empty;
        it names the field.
    """
    measure = measure_meant(name)
    if measure.log_scale:
        if not MIN_PERCENT <= size <= MAX_PERCENT:
            msg = (
                f"an error of {size:g} % cannot be: say the within-person coefficient of "
                f"variation, {MIN_PERCENT:g} to {MAX_PERCENT:g} %. Nothing was stored"
            )
            raise UsageError(msg, field="size")
    elif not MIN_SEM <= size <= MAX_SEM:
        unit = f" {unit_words(measure)}".rstrip()
        msg = (
            f"an error of {size:g}{unit} cannot be: say the standard error of measurement, "
            f"{MIN_SEM:g} to {MAX_SEM:g}{unit}. Nothing was stored"
        )
        raise UsageError(msg, field="size")
    if not (0 <= n_people <= MAX_PEOPLE and n_people == int(n_people)):
        msg = (
            f"{n_people:g} people cannot be: say a whole number up to {MAX_PEOPLE}, or 0 "
            "where it is not known. Nothing was stored"
        )
        raise UsageError(msg, field="people")
    said = " ".join(source.split())
    sem = OutsideSem.from_percent(size, said or "-").sem if measure.log_scale else size
    return store.annotations.enter_outside_error(
        measure.name, sem, source=said, author=author, n_people=int(n_people), at_utc=at_utc
    )


def take_back_outside_error(store: Store, name: str, *, author: str, at_utc: str) -> bool:
    """Let the bands of a measure rest on this store's own scatter again.

    Returns
    -------
    bool
        Whether an error held until now; nothing is stored where none did.
    """
    if all(held.measure != name for held in held_errors(store.annotations.outside_errors())):
        return False
    store.annotations.enter_outside_error(
        name, None, source=TAKEN_BACK, author=author, at_utc=at_utc
    )
    return True


def held_errors(entered: Iterable[OutsideError]) -> list[OutsideError]:
    """Return the errors that hold now, main measures first: the latest word on each."""
    latest = {row.measure: row for row in entered}
    order = [*(m.name for m in offered()), *sorted(latest)]
    held = [latest[name] for name in dict.fromkeys(order) if name in latest]
    return [row for row in held if row.sem is not None]


def changes(entered: Sequence[OutsideError]) -> list[Change]:
    """Return every word with what it took the place of, in order of time."""
    held: dict[str, OutsideError | None] = {}
    found = []
    for row in entered:
        found.append(Change(row, held.get(row.measure)))
        held[row.measure] = row if row.sem is not None else None
    return found


def size_words(row: OutsideError) -> str:
    """Say an error as studies print it; empty for one that was taken back."""
    if row.sem is None:
        return ""
    measure = MEASURES.get(row.measure)
    if measure is None:
        return f"{row.sem:.3g}"
    if measure.log_scale:
        percent = 100 * math.sqrt(math.expm1(min(row.sem * row.sem, MAX_EXPONENT)))
        return f"{percent:.3g} %"
    return f"{row.sem:.3g} {unit_words(measure)}".rstrip()
