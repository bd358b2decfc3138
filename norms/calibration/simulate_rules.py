"""Writes what the rules do on simulated clinics.

Run ``python -m norms.calibration.simulate_rules FILE``.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from norms.calibration import compare
from norms.calibration.calibrate import ALL_LOOKS, WATCH
from norms.running import N_LOOKS, NEWEST_WEIGHT

N_PEOPLE = 30_000
SCATTERS = (0.06, 0.12, 0.18)

HEAD = f"""# How the rule behind a verdict was chosen

Made by `python -m norms.calibration.simulate_rules norms/verdict-rule.md`; change the
program, not this page. Every figure comes from at least {N_PEOPLE:,} simulated participants,
so that a share of 5 % is known to about 0.25 %. Unless said otherwise: 4 baseline visits,
{N_LOOKS} weekly looks, clinics of 30 people who all start in the same week, scatter that
differs between people (scaled inverse chi-squared variances, 8 degrees of freedom),
normal errors, independent weeks. SD is the person's own standard deviation from visit to
visit.

## The rule

1. Changes from the baseline mean are averaged, the newest visit weighing {NEWEST_WEIGHT:g},
   the one before it {1 - NEWEST_WEIGHT:g} of that, and so on, starting from 0 at baseline: the
   running mean.
2. "Beyond error" when it has left the outer limit at any visit from the second on, or the
   inner limit at the {N_LOOKS}th visit, a look named beforehand. It stays so until the
   running mean is back within the inner limit.
3. The limits are read from `norms/tables/running_mean_limits.csv` by the degrees of freedom
   behind the person's moderated scatter, the number of baseline visits and the
   autocorrelation of weeks in this clinic. `python -m norms.calibration.calibrate` makes it:
   {ALL_LOOKS:.1%} of unchanged people ever leave the limits, {WATCH:.1%} the outer one. It
   aims below 5 % because the scatter of everybody is itself an estimate.
4. The page divides the running mean by the weight so far, which makes it a mean of the visits
   and lets the limits narrow as visits add up. That changes no verdict.

The composite of a hand is judged by the same rule as if it were one more measure.
"""

AFTER_PRICE = """
Why this one: limits that do not grow with the number of visits wait for several visits before
they speak, which suits both slow growth and a scatter that is only estimated; the look named
beforehand buys most of what a single look at the end would find, while the weekly watch keeps
finding large changes early. Two e-values were tried; their limit was set like that of the
others, as their promise of 1 in 20 holds for a known scatter only.
"""

AFTER_FALSE = """
"Shipped" estimates the autocorrelation of weeks from everybody's series so far, and so do the
figures: in a clinic that starts all its people in one week little is known at the first
looks. With one person or few the remedy cannot work yet, and what is left shows above.
"""

AFTER_LINES = """
Each line keeps its 5 %. Somebody who reads five lines a hand meets a false one more often;
that is why the composite stands first, and why secondary measures get no verdict.
"""

AFTER_LEARN = """
A verdict "better" from learning alone is no error of measurement: the person did get better
at the test. Two visits left out and four of baseline keep it below 10 % where learning is over
after six visits; slower learning is not told from change by any rule here, and a composite
sees it as clearly as it sees change. The page therefore notes that learning may explain a
change where the visits left out were worse than the baseline. In these figures the baseline
scatter holds some of the learning too.
"""


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a markdown table; the first column is text, the others are numbers."""
    lines = [header, ["---", *["---:"] * (len(header) - 1)], *rows]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def percent(part: float) -> str:
    """Return a part as percent with one decimal."""
    return f"{100 * part:.1f}"


def by_two(cells: Mapping[tuple[str, str], str], corner: str) -> str:
    """Lay out cells keyed by row and column."""
    rows = list(dict.fromkeys(row for row, _ in cells))
    columns = list(dict.fromkeys(column for _, column in cells))
    return table(
        [corner, *columns], [[r, *(cells.get((r, c), "") for c in columns)] for r in rows]
    )


def document(n_people: int = N_PEOPLE) -> str:
    """Run all simulations and return the page about them."""
    return "\n".join(
        [
            HEAD,
            "## Rules at one price\n",
            "Each rule's limit was set in this run so that 5 % of unchanged people are ever "
            f"flagged in {N_LOOKS} looks. Shares found of people who truly change, on the "
            "right side, %; in the last two columns unchanged people flagged with that "
            "limit, %.\n",
            _prices(n_people),
            AFTER_PRICE,
            "## False verdicts\n",
            f"Unchanged people who ever get a verdict in {N_LOOKS} looks, %.\n",
            _false(n_people),
            AFTER_FALSE,
            "Where the suppositions of the shipped rule do not hold, independent weeks:\n",
            table(
                ["clinic (30 people unless said)", "ever, %"],
                [[k, percent(v)] for k, v in compare.odd_clinics(n_people).items()],
            ),
            "Several lines of one hand, four tasks whose errors correlate 0.3:\n",
            table(
                ["line", "ever, %"],
                [[k, percent(v)] for k, v in compare.several_lines(n_people).items()],
            ),
            AFTER_LINES,
            "## What the shipped rule finds\n",
            f"Change that grows evenly and reaches its size at look {N_LOOKS}, all tasks "
            "alike; found by then, % (in brackets the look by which half of the found were "
            "found). The usual rule stands beside it; most of what it finds it would also "
            "find in people who did not change.\n",
            by_two({k: _found(v) for k, v in compare.power(n_people).items()}, "line"),
            "True change in percent, the same for everybody, by the typical within-person "
            "standard deviation of the logarithm (0.12 is about 12 %); 30 people.\n",
            by_two(
                {
                    (f"{name}, scatter {scatter:g}", f"−{size:.0f} %"): _found(v)
                    for (name, scatter, size), v in compare.percent_changes(
                        n_people, SCATTERS
                    ).items()
                },
                "line",
            ),
            "## People who only learn\n",
            'Verdicts "better", %: one primary / composite of four tasks all learned alike / '
            "one primary without a learning note / one primary by the usual rule (mean ± 2 "
            "SD). What is learned is exponential, 95 % of it gone by the visit named; the "
            "first visit is the first of the visits left out.\n",
            by_two(
                {
                    key: f"{percent(v.primary)} / {percent(v.composite)} / "
                    f"{percent(v.without_note)} / {percent(v.usual)}"
                    for key, v in compare.learners(n_people).items()
                },
                "visits set apart",
            ),
            AFTER_LEARN,
        ]
    )


def _prices(n_people: int) -> str:
    columns = [name for name, *_ in compare.CHANGES]
    header = ["rule", *columns, "false: heavy tails", "false: weeks depend 0.4"]
    found = compare.equal_price(n_people)
    return table(header, [[name, *map(percent, row)] for name, row in found.items()])


def _false(n_people: int) -> str:
    cells = {
        (f"{clinic}, weeks depend {rho:g}", rule): percent(part)
        for (clinic, rho, rule), part in compare.false_verdicts(n_people).items()
    }
    return by_two(cells, "clinic")


def _found(found: compare.Found) -> str:
    look = "–" if math.isnan(found.median_look) else f"{found.median_look:.0f}"
    return f"{percent(found.ever)} ({look})"


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
