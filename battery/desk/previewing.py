"""What a page would say if something were put right: judged on a try that is taken back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from battery.report.combined import COMPOSITE
from battery.report.gather import gather
from battery.report.judged import Page, page_data
from battery.report.pooling import Pools
from battery.report.words import latest_words, short_words
from battery.scoring import PRIMARY
from battery.store import Store


@dataclass(frozen=True, slots=True)
class Said:
    """What one line says.

    Parameters
    ----------
    value, verdict : str
        The latest value with its unit; the verdict in a few words.
    n_counted, n_visits : int
        Visits behind it, of all there are.
    """

    value: str
    verdict: str
    n_counted: int
    n_visits: int


Lines = dict[tuple[str, str], Said]


@dataclass(frozen=True, slots=True)
class Change:
    """One line of a page that would say something else.

    Parameters
    ----------
    code : str
        Whose page.
    hand, title : str
        Whose hand, and the measure.
    before, after : Said or None
        What it says, and what it would say; None where it says nothing of it.
    """

    code: str
    hand: str
    title: str
    before: Said | None
    after: Said | None


@dataclass(frozen=True, slots=True)
class Preview:
    """What would change.

    Parameters
    ----------
    changes : sequence of Change
    n_same : int
        Lines that would say the same as now.
    """

    changes: Sequence[Change]
    n_same: int


def preview(
    store: Store, codes: Sequence[str], put: Callable[[], None], pools: Pools, *, now: datetime
) -> Preview:
    """Judge pages before and after something is put right; nothing of it stays.

    Parameters
    ----------
    store : Store
        Open to write, as the try is written and taken back.
    codes : sequence of str
        Whose pages it may change.
    put : callable
        Puts it right.
    pools : Pools
        What everybody brings as it is now.
    now : datetime
        With its zone.
    """
    before = _said_of(store, codes, pools, now)
    with store.tried():
        put()
        after = _said_of(store, codes, pools.renewed(store, codes), now)
    changes = []
    n_same = 0
    for code in codes:
        for key in dict.fromkeys((*before[code], *after[code])):
            was, would = before[code].get(key), after[code].get(key)
            if was == would:
                n_same += 1
            else:
                changes.append(Change(code, key[1], key[0], was, would))
    return Preview(changes, n_same)


def _said_of(
    store: Store, codes: Sequence[str], pools: Pools, now: datetime
) -> dict[str, Lines]:
    return {code: _said(page_data(gather(store, code, pools), made=now)) for code in codes}


def _said(page: Page) -> Lines:
    """Say each main line of a page in a few words: latest value, verdict, visits behind it."""
    main = {COMPOSITE.name, *(measure.name for measure in PRIMARY.values())}
    return {
        (line.measure.title.lower(), hand): Said(
            latest_words(line),
            short_words(line.verdict),
            sum(shown.standing != "aside" for shown in line.shown),
            len(page.rows.visits),
        )
        for (name, hand), line in page.lines.items()
        if name in main
    }
