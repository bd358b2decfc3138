"""Writes what the rules do on simulated clinics.

Run ``python -m norms.calibration.simulate_rules FILE``.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from norms.band import LEVELS
from norms.calibration import false_verdicts, found_changes, holding, learners, one_price
from norms.calibration.hand_verdicts import Share
from norms.calibration.rule_words import (
    AFTER_FALSE,
    AFTER_FOUND,
    AFTER_HOLDING,
    AFTER_LEARN,
    AFTER_PAGE,
    AFTER_PRICE,
    HEAD,
)
from norms.limits import PAGE_PRICE, PRICES, SIZES, WIDER
from norms.running import (
    KEPT_SHARE,
    MAX_CHANGE_SD,
    N_LOOKS,
    NEWEST_WEIGHT,
    RULE_VERSION,
    YEAR_LOOKS,
)
from norms.spread import FULL_WEIGHT_SD, NO_WEIGHT_SD

# Pages a cell of the long table, with normal errors so many times as many, and so many times
# again of the shipped rule alone; hands or lines a cell of the others.
N_PAGES = 200
TIMES_OF_NORMAL = 3
TIMES_APART = 17
N_PEOPLE = 600
NORMAL = "normal errors"


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a markdown table; the first column is text, the others are numbers."""
    lines = [header, ["---", *["---:"] * (len(header) - 1)], *rows]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def percent(part: Share, *, error: bool = False) -> str:
    """Return a share as percent with one decimal, its standard error in brackets if asked."""
    said = f"{100 * part.value:.1f}"
    return f"{said} ({100 * part.error:.1f})" if error else said


def by_two(cells: Mapping[tuple[str, str], str], corner: str) -> str:
    """Lay out cells keyed by row and column."""
    rows = list(dict.fromkeys(row for row, _ in cells))
    columns = list(dict.fromkeys(column for _, column in cells))
    return table(
        [corner, *columns], [[r, *(cells.get((r, c), "") for c in columns)] for r in rows]
    )


def people(size: int) -> str:
    """Name a clinic by its size."""
    return "nobody to pool" if size == 1 else f"{size} people"


def document(n_people: int = N_PEOPLE, n_pages: int = N_PAGES) -> str:
    """Run all simulations and return the page about them."""
    prices = "; ".join(
        f"{kind} {price.to_named:.2%} and {price.year:.2%}" for kind, price in PRICES.items()
    )
    return "\n".join(
        [
            HEAD.format(
                version=RULE_VERSION,
                typical=found_changes.TYPICAL_SD,
                full=FULL_WEIGHT_SD,
                none=NO_WEIGHT_SD,
                cut=MAX_CHANGE_SD,
                newest=NEWEST_WEIGHT,
                older=1 - NEWEST_WEIGHT,
                before=N_LOOKS - 1,
                named=N_LOOKS,
                year=YEAR_LOOKS,
                kept=KEPT_SHARE,
                wider=", ".join(
                    f"{n} by {100 * (by - 1):.3g}%" for n, by in zip(SIZES, WIDER, strict=True)
                ),
                prices=prices,
                page_named=PAGE_PRICE.to_named,
                page_year=PAGE_PRICE.year,
                lead=LEVELS["headline"],
                other=LEVELS["alone"],
            ),
            "## Rules at one price\n",
            "Limits set in this run so that as many unchanged people are ever flagged in "
            f"{N_LOOKS} looks as a line may ({PRICES['line'].to_named:.1%}); everybody's "
            "scatter known (30), or nobody's (1). Found, %, of 2 SD at once, of 2 SD grown "
            "until look 12, of +30 % at once after a baseline with one visit 4 SD off; then "
            "unchanged people flagged, %, where errors have heavy tails (t, 4), are skewed "
            f"upwards, and where weeks depend 0.4 and nobody knows. Standard error of 50 %: "
            f"{50 / n_people**0.5:.1f}.\n",
            _prices(n_people),
            AFTER_PRICE,
            "## Sharing out the price of a page\n",
            f"Clinics of 30 people, {N_LOOKS} looks, % (standard error).\n",
            table(
                [
                    "way",
                    "pages of unchanged people",
                    "all tasks grow by 30 %",
                    "one task +30 % at once: found anywhere",
                    "on that task",
                ],
                [
                    [way, *(percent(x, error=True) for x in row)]
                    for way, row in one_price.prices_of_a_page(n_people // 2).items()
                ],
            ),
            AFTER_PAGE,
            "## False verdicts before and after\n",
            "Unchanged people with any verdict, %: up to look 12 / 26 / 52, a task at the "
            "price of a line, the headline of a hand, the whole page; then pages that say "
            '"possible" and nothing more, at a look, %. Standard errors in brackets, from '
            f"{n_pages} pages a row, {TIMES_OF_NORMAL * n_pages} with normal errors.\n",
            _false(n_pages),
            _apart(TIMES_APART * TIMES_OF_NORMAL * n_pages),
            AFTER_FALSE,
            "## What is found by look 12, before and after\n",
            "Hands told on the right side, %: headline / the task (or one of those) that "
            "changed / anywhere, with standard errors, and after a dash the look by which half "
            "of those found anywhere had been.\n",
            _power(n_people // 4),
            AFTER_FOUND,
            "Everybody 30 % worse at once: composite told at looks 4, 8 and 12, and one task "
            "by look 12, % (standard error).\n",
            by_two(
                {
                    (f"{name}, {people(size)}", rule): " / ".join(
                        percent(x, error=True) for x in row
                    )
                    for (name, size, rule), row in found_changes.together(n_people // 4).items()
                },
                "clinic",
            ),
            "A true change that lasts, 26 looks, composite: found, %; looks since then at "
            "which it is told, %; told at every look since then, % (standard error).\n",
            by_two(
                {
                    (f"{name}, {people(size)}", rule): " / ".join(
                        percent(x, error=True) for x in row
                    )
                    for (name, size, rule), row in found_changes.kept(n_people // 4).items()
                },
                "change",
            ),
            "## How long a verdict stands\n",
            "Headlines, by the part of the limit within which the running mean must be for a "
            "verdict to end. Upper rows: of true changes that last and were found within "
            f"{holding.LASTS} looks, those told at every look since, % (standard error). "
            "Lower rows: looks until a verdict ends, half of them / nine in ten: of false "
            "ones, from the telling on, and of changes that went away wholly after look "
            f"{N_LOOKS}, from then on.\n",
            _holding(n_people),
            AFTER_HOLDING,
            "## People who only learn\n",
            'Headlines "better" by look 12, %, two visits left out and four of baseline, '
            "clinics of 30; the same where the visits left out were not worse than the "
            "baseline; one task by the usual rule (mean ± 2 SD).\n",
            table(
                ["what is learned", "told", "and nothing speaks of it", "mean ± 2 SD"],
                [
                    [name, *(percent(x, error=True) for x in row)]
                    for name, row in learners.learners(n_people // 2).items()
                ],
            ),
            AFTER_LEARN,
        ]
    )


def _prices(n_people: int) -> str:
    header = ["rule", "2 SD at once", "2 SD grown", "bad baseline", "t(4)", "skewed", "depend"]
    return table(
        header,
        [
            [f"{name}; {size}", *map(percent, row)]
            for (name, size), row in one_price.equal_price(n_people).items()
        ],
    )


def _false(n_pages: int) -> str:
    rows = []
    odd = [name for name in false_verdicts.ODD if name != NORMAL]
    told_of = false_verdicts.false_rates(TIMES_OF_NORMAL * n_pages, odd=[NORMAL])
    told_of |= false_verdicts.false_rates(n_pages, odd=odd)
    for (name, size, rule), (rates, possible) in told_of.items():
        told = [rates[n] for n in false_verdicts.UNTIL]
        columns = [
            " / ".join(percent(x, error=True) for x in own) for own in zip(*told, strict=True)
        ]
        found = percent(possible, error=True)
        rows.append([f"{name}, {people(size)}: {rule}", *columns, found])
    return table(["clinic and rule", "line", "headline", "page", "possible"], rows)


def _apart(n_pages: int) -> str:
    """Lay out the shipped rule with normal errors again, with more pages."""
    rows = []
    for size in false_verdicts.SIZES:
        found = false_verdicts.false_rates(n_pages, sizes=[size], odd=[NORMAL], rules=["now"])
        ((rates, _),) = found.values()
        named, year = rates[N_LOOKS], rates[max(rates)]
        grown = found_changes.growth(2 * n_pages, size)
        columns = [
            " / ".join(percent(x, error=True) for x in own)
            for own in (*zip(named, year, strict=True), [grown])
        ]
        rows.append([people(size), *columns])
    header = [
        "clinic",
        *(f"{what}, {N_LOOKS} / {YEAR_LOOKS}" for what in ("line", "headline", "page")),
        f"all grow by 30 %, by look {N_LOOKS}",
    ]
    said = (
        f"The same of the shipped rule apart, with {n_pages:,} pages a row, and how many "
        f"composites that grow by 30 % are told, of {2 * n_pages:,} hands.\n\n"
    )
    return said + table(header, rows)


def _holding(n_people: int) -> str:
    """Lay out how long verdicts stand."""
    rows = [
        [f"{what}, {people(size)}", *(percent(x, error=True) for x in found)]
        for (what, size), found in holding.never_withdrawn(n_people).items()
    ]
    rows += [
        [f"{what}, {people(size)}", *(f"{x.half:.0f} / {x.tenth:.0f}" for x in found)]
        for (what, size), found in holding.stays(4 * n_people).items()
    ]
    return table(["what", *(f"within {part:.0%}" for part in holding.SHARES)], rows)


def _power(n_people: int) -> str:
    cells = {}
    for (shape, size, clinic, which, rule), found in found_changes.power(n_people).items():
        said = " / ".join(
            percent(x, error=True) for x in (found.headline, found.own, found.page)
        )
        look = "–" if found.median_look != found.median_look else f"{found.median_look:.0f}"
        cells[f"{size} {shape}, {which}, {people(clinic)}", rule] = f"{said} – {look}"
    return by_two(cells, "change")


def main(arguments: Sequence[str]) -> int:
    """Write the page to the file named, or to standard output."""
    text = document()
    if arguments:
        Path(arguments[0]).write_text(text, encoding="utf-8")
        sys.stdout.write(f"{arguments[0]}: {len(text.splitlines())} lines\n")
    else:
        sys.stdout.write(text)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
