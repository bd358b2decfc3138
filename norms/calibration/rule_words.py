"""The words of the page about the rule; its figures are filled in by `simulate_rules`."""

from norms.running import KEPT_SHARE

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
   differences two visits apart, together. Each look is judged by what visits had told by then,
   the person's own and everybody's until the end of its week, so that no later visit takes back
   what was said.
2. Changes from baseline in these standard deviations are cut at {cut:g} and averaged, the
   newest look weighing {newest:g}, the one before it {older:g} of that, and so on, starting
   from 0 at baseline: the running mean.
3. "Beyond error" when it has left the early limit at looks 2 to {before}, the named one at
   look {named}, the late one after it. It stays so until the running mean is back within
   {kept:.0%} of the limit.
4. The limits are read from `norms/tables/running_mean_limits.csv` by the degrees of freedom
   behind the scatter at baseline, the number of baseline visits, the autocorrelation of weeks
   in this clinic, and what the line is on its page. `python -m norms.calibration.calibrate`
   makes it. Aims, in {named} looks and in {year}: {prices}. With so
   many people pooled they are wider by: {wider}; between these in proportion to the
   logarithm, and beyond them no more.
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
found about half as often as under the joint limit: of hands with one task 30 % worse about one
in three is told by look 12, where a line for itself would tell four in five.
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

AFTER_HOLDING = f"""
Shipped is {100 * KEPT_SHARE:.0f} %: of the parts tried the largest, so the shortest stay, with
which at least 95 % of the true changes found stay told for as long as they last, in every row.
The price is in the lower half: a change that went away is told for three more looks as a rule
and for seven to nine in one person of ten; a false verdict stays for three months as a rule,
often because a baseline that was off by chance stays so. The page says since which visit a
verdict stands, where the running mean is now, and within what it would end.

The part alone does not keep a verdict. In version 3 the whole past was judged anew by what was
known at the latest visit: a new estimate of scatter or of how weeks depend could move the
limits over a path that had left them. Of changes found there 85 to 97 % stayed told, by a part
of 30 %, and no more than 87 to 97 % by a part of nothing (+20 %, 600 hands a cell). Later
visits take nothing back now. Where people join in turn, so that limits move most, 95 % stayed
told (standard error 1; +20 % at once, 10 people two weeks apart and 30 people a week apart,
some 350 found in each, pages made every week by the functions that make pages), in version 3
84 %.
"""

AFTER_LEARN = """
A verdict "better" from learning alone is no error of measurement: the person did get better
at the test. Slow learning is not told from change by any rule here. The page therefore says so
wherever "better" stands, for half a year of weekly visits and longer where the visits left out
were worse than the baseline, and says what the other hand did. In these figures the baseline
scatter holds some of the learning too.
"""
