"""Writes what the rules do on simulated clinics.

Run ``python -m norms.calibration.simulate_rules FILE``.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from norms.band import LEVELS
from norms.calibration import false_verdicts, found_changes, learners, one_price
from norms.calibration.hand_verdicts import Share
from norms.limits import PAGE_PRICE, PRICES
from norms.running import (
    KEPT_SHARE,
    MAX_CHANGE_SD,
    N_LOOKS,
    NEWEST_WEIGHT,
    RULE_VERSION,
    YEAR_LOOKS,
)
from norms.spread import FULL_WEIGHT_SD, NO_WEIGHT_SD

# Pages a cell of the long table, with normal errors so many times as many; hands or lines a
# cell of the others.
N_PAGES = 60
TIMES_OF_NORMAL = 5
N_PEOPLE = 480
NORMAL = "normal errors"

HEAD = """# How the rule behind a verdict was chosen

Rule version {version}. Made by `python -m norms.calibration.simulate_rules
norms/verdict-rule.md`; change the program, not this page. Unless said otherwise: 4 baseline
visits, weekly looks, clinics whose people all start in the same week, scatter that differs
between people (scaled inverse chi-squared variances, 8 degrees of freedom), normal errors,
independent weeks, four tasks whose errors correlate 0.3. Two hands are drawn independently,
which meets false verdicts most often. SD is the person's own standard deviation from visit to
visit; percents are set against a typical one of {typical:g} on the log scale. Standard errors
stand in brackets or are named above a table.

"Before" is version 1 of the rule, kept in `norms/calibration/first_rule.py`. All figures before
and after come from one run on the same simulated participants.

## The rule

1. Level and scatter. A baseline visit counts in full up to {full:g} standard deviations from
   the middle of the baseline and not at all beyond {none:g} (of Student's t where the scatter
   is uncertain). Scatter is everybody's, the own baseline's and what later visits tell by
   differences two visits apart, together; each look is judged by what was known then.
2. Changes from baseline in these standard deviations are cut at {cut:g} and averaged, the
   newest look weighing {newest:g}, the one before it {older:g} of that, and so on, starting
   from 0 at baseline: the running mean.
3. "Beyond error" when it has left the early limit at looks 2 to {before}, the named one at
   look {named}, the late one after it. It stays so until the running mean is back within
   {kept:.0%} of the limit.
4. The limits are read from `norms/tables/running_mean_limits.csv` by the degrees of freedom
   behind the scatter at baseline, the number of baseline visits, the autocorrelation of weeks
   in this clinic, and what the line is on its page. `python -m norms.calibration.calibrate`
   makes it. Aims, in {named} looks and in {year}: {prices}. In clinics of more than 30 people
   they are wider, by 2.5% at 100 and more.
5. A hand's composite is its headline. A task is told at the price of a line where the headline
   of its hand has moved, else at the small price of a task alone. So the ten lines of a page
   together are meant to stay within {page_named:.0%} in {named} looks and {page_year:.0%} in
   {year}.
6. "Possible, repeat" when the latest look lies outside the band of one visit
   ({lead:.1%} of visits for a headline, {other:.1%} for any other line). A visit within four
   days of the first of a look repeats it: both count as one look, by their mean, and the band
   is that of a mean of two.
7. The autocorrelation of weeks is estimated from everybody's series, freed of slow change and
   of a step at the end of the baseline, and weighed by an exponential guess of mean 0.2.
8. Doubtful visits (a strong rise of symptoms, help, uncertain hand, few trials) are left out;
   but whatever is worse with them counted is told, with the doubt beside it.
"""

AFTER_PRICE = """
Why this one. Cutting changes makes rare large errors cheap, so that limits can be lower: most
of the gain where nobody can be pooled, and under skewed errors. Differences of later visits
make an uncertain scatter known; alone that is worth as much as cutting. They are taken two
visits apart because neighbours that resemble each other would make the scatter look too small.
The robust baseline costs little and saves much of what one bad visit spoiled. A newest visit
that weighs 0.3 in place of 0.25 finds what comes at once sooner and even growth a little more
often; the price is a small lasting change by look 12. Cutting at 2.5 or 3 SD would find as much
by look 12, but then nobody alone could be told before look 5, however large the change.

Tried and left. e-values: their promise holds for a known scatter only; with limits set like
those of the others they find less. A hierarchical model (level, variance and size of the change
integrated out) is the best rule for the shape of change it supposes and poor for the other; a
mixture of both shapes finds about what the running mean finds, cannot be drawn as a line that
leaves its limits, and is spoiled by one bad baseline visit. Permutation of visits is exact
without any pooling and needs no normal errors, but finds nothing before enough visits can be
exchanged, grows with their number, and fails where weeks depend, like all others. A look at
the end that compares the last visits with the first ones too would find 5 % more of even growth
and lose as much of what came at once.
"""

AFTER_PAGE = """
Every line for itself is what version 1 did: one page in four or more says what is not so. The
other ways keep one price. One joint limit finds a task that moves alone most often and finds
least where all tasks move together, which is what the headline, named in advance, is there for.
A gate alone hides a single task that moves by itself. The small share left for it buys back
some of that and costs the headline little: this is shipped. Its cost is that a single task is
found about half as often as under the joint limit.
"""

MEASURED_APART = """
The same apart, with more pages: normal errors. 10, 30 and 100 people: 6,500, 5,000 and 5,000
pages with the limits shipped. The others: 10,000 pages, limits for a task alone a hundredth
narrower and the headline's alone a little too, so that a few pages too many are told. Growth:
12,000 hands. With 100 people the price is met within one standard error, not below it.

| clinic | line, 12 / 52 | headline, 12 / 52 | page, 12 / 52 | all grow by 30 %, by look 12 |
| --- | ---: | ---: | ---: | ---: |
| nobody to pool | 3.4 / 4.7 (0.1) | 2.8 / 4.3 (0.1) | 6.1 / 9.2 (0.3) | 76.5 (0.4) |
| 3 people | 3.3 / 4.7 (0.1) | 3.0 / 4.6 (0.1) | 6.0 / 9.3 (0.3) | 82.0 (0.4) |
| 10 people | 3.3 / 4.7 (0.1) | 2.8 / 4.6 (0.2) | 5.9 / 9.4 (0.4) | not kept |
| 30 people | 3.2 / 4.7 (0.2) | 2.6 / 4.2 (0.2) | 5.5 / 8.7 (0.4) | 86.1 (0.3) |
| 100 people | 3.5 / 5.1 (0.2) | 3.1 / 5.0 (0.2) | 6.4 / 10.1 (0.4) | 85.7 (0.3) |
"""

AFTER_FALSE = """
"One baseline visit 4 SD off": a tenth of a clinic's people, and only they are counted.
Weeks that depend on each other cannot be told from slow change in a clinic of one or few
people; what is left shows above and is the largest known weakness of the rule. Where scatter
grows after the baseline, later visits let the limits grow along. The usual rule (mean ± 2 SD)
flags nearly every page within weeks.
"""

AFTER_FOUND = """
In clinics with many people a headline is found somewhat later than before: that is the price
of a promise for the page and the year. With one person or few it is found more often. A task
that moves alone is found less often than before, and that much less is false.
"""

AFTER_LEARN = """
A verdict "better" from learning alone is no error of measurement: the person did get better
at the test. Slow learning is not told from change by any rule here. The page therefore says so
wherever "better" stands, for half a year of weekly visits and longer where the visits left out
were worse than the baseline, and says what the other hand did. In these figures the baseline
scatter holds some of the learning too.
"""


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
            MEASURED_APART,
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
