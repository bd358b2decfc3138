"""What must hold of any series."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from norms.band import Prior, band, pool
from norms.baseline import BaselineRule, Point, split
from norms.composite import composite
from norms.limits import limits
from norms.reliability import icc, sem
from norms.series import SeriesKey, breaks, series_of
from norms.trend import mann_kendall
from norms.verdict import judge

VALUES = st.floats(0.1, 100).map(lambda x: round(x, 3))
SERIES = st.lists(VALUES, min_size=8, max_size=24)
FACTORS = st.sampled_from([0.001, 0.5, 3.0, 1000.0])
PRIORS = st.none() | st.builds(
    Prior,
    variance=st.floats(0.001, 0.1),
    df=st.floats(1, 1000),
    n_people=st.integers(3, 100),
    n_visits=st.integers(12, 400),
    autocorrelation=st.sampled_from([0.0, 0.3, 0.7]),
)


def points(values):
    return [Point(i + 1, v) for i, v in enumerate(values)]


def judged(values, prior, direction="lower", *, log_scale=True):
    return judge(points(values), prior, log_scale=log_scale, direction=direction)


@given(SERIES, PRIORS, FACTORS)
def test_another_unit_changes_no_verdict(values, prior, factor):
    """Millimetres or micrometres: words, percents and learning note stay."""
    one, other = judged(values, prior), judged([factor * v for v in values], prior)
    assert (one.word, one.better, one.learning) == (other.word, other.better, other.learning)
    if one.average is not None:
        assert other.average.change_percent == pytest.approx(one.average.change_percent)
        assert other.recent.high == pytest.approx(factor * one.recent.high)


@given(SERIES, PRIORS)
def test_turned_upside_down_the_word_stays_and_better_with_the_other_direction(values, prior):
    """On the log scale 1/x mirrors a series."""
    one = judged(values, prior, "lower")
    other = judged([1 / v for v in values], prior, "higher")
    assert (one.word, one.better, one.learning) == (other.word, other.better, other.learning)


@given(SERIES, PRIORS)
def test_the_other_direction_turns_better_into_worse(values, prior):
    lower, higher = judged(values, prior, "lower"), judged(values, prior, "higher")
    if lower.word != higher.word:
        # A last visit far out on the worse side takes good news back, never bad news.
        good, bad = sorted((lower, higher), key=lambda told: told.word == "beyond error")
        assert (good.word, good.better) == ("possible, repeat", False)
        assert (bad.word, bad.better) == ("beyond error", False)
    elif lower.better is not None:
        assert lower.better is not higher.better


@given(SERIES, PRIORS, st.data())
def test_flagged_visits_neither_count_nor_vanish(values, prior, data):
    """Wild flagged values put anywhere change no verdict; all of them stay in the split."""
    series = [Point(10 * (i + 1), v) for i, v in enumerate(values)]
    places = data.draw(st.lists(st.integers(1, 10 * len(values) + 9), unique=True, max_size=5))
    taken = {p.visit for p in series}
    wild = [Point(v, 1e6, comparable=False, reason="helped") for v in places if v not in taken]
    mixed = sorted([*series, *wild], key=lambda p: p.visit)
    plain = judge(series, prior, log_scale=True, direction="lower")
    assert judge(mixed, prior, log_scale=True, direction="lower") == plain
    parts = split(mixed, BaselineRule())
    assert sorted(
        (*parts.familiarisation, *parts.baseline, *parts.later, *parts.aside),
        key=lambda p: p.visit,
    ) == mixed  # fmt: skip


@given(SERIES, PRIORS)
def test_a_band_encloses_its_centre_and_the_word_follows_from_it(values, prior):
    told = judged(values, prior)
    if told.band is None:
        return
    assert told.band.low < told.band.centre < told.band.high
    assert told.average is None or told.average.low < told.band.centre < told.average.high
    outside = told.average is not None and told.band.side(told.latest.value) != 0
    # Every visit is a look of its own here.
    if told.word == "within error":
        assert not outside
    if told.word == "possible, repeat":
        assert outside


@given(st.lists(VALUES, min_size=4, max_size=4, unique=True), st.integers(3, 200))
def test_knowing_everybodys_scatter_narrows_the_band(values, n_people):
    """With the same scatter, more people and a prior worth more give a narrower band."""
    own = band(values, None, log_scale=True)
    variance = own.sd**2

    def width(df, people):
        made = band(values, Prior(variance, df, people, 4 * people), log_scale=True)
        return math.log(made.high / made.low)

    assert width(8, n_people) < math.log(own.high / own.low)
    assert width(8, n_people + 1) < width(8, n_people)
    assert width(20, 10**6) < width(8, 10**6)


@given(
    st.floats(3, 1e4),
    st.floats(0, 0.7),
    st.integers(2, 12),
    st.sampled_from(["headline", "line", "alone"]),
)
def test_limits_are_read_for_any_person(df, rho, n_baseline, kind):
    early, named, late = limits(df, n_baseline=n_baseline, autocorrelation=rho, kind=kind)
    assert 0 < named < early < 5
    assert named < late < 5


@given(st.lists(st.lists(VALUES, min_size=4, max_size=4, unique=True), min_size=3, max_size=8))
def test_a_prior_lies_within_peoples_scatter_and_does_not_mind_their_order(groups):
    prior = pool(groups, log_scale=True)
    backwards = pool(groups[::-1], log_scale=True)
    assert prior.variance == pytest.approx(backwards.variance)
    assert prior.df == pytest.approx(backwards.df)
    assert prior.df > 0
    own = [np.log(g).var(ddof=1) for g in groups]
    assert min(own) / 10 < prior.variance < 10 * max(own)


@given(st.lists(VALUES, min_size=5, max_size=9))
def test_a_series_read_backwards_has_the_opposite_trend(values):
    one, other = mann_kendall(values), mann_kendall(values[::-1])
    assert one.s == -other.s
    assert one.p == pytest.approx(other.p)
    assert 0 < one.p <= 1


@given(st.lists(st.lists(VALUES, min_size=3, max_size=3), min_size=4, max_size=8), FACTORS)
def test_reliability_does_not_mind_the_unit(table, factor):
    scores = np.array(table)
    if np.ptp(scores.mean(axis=1)) < 0.1 or sem(scores) < 0.1:
        return
    assert sem(factor * scores) == pytest.approx(factor * sem(scores))
    for one, other in zip(icc(scores).values(), icc(factor * scores).values(), strict=True):
        assert other.value == pytest.approx(one.value, rel=1e-6, abs=1e-9)


@given(st.lists(VALUES, min_size=2, max_size=10), st.floats(0.2, 5))
def test_a_composite_lies_between_what_it_is_made_of(values, ratio):
    made = composite({"tapping": points(values), "trail": points([ratio * v for v in values])})
    for point, value in zip(made, values, strict=True):
        low, high = sorted((value, ratio * value))
        assert low * (1 - 1e-9) <= point.value <= high * (1 + 1e-9)


KEYS = st.builds(SeriesKey, device=st.sampled_from("ab"), weight=st.sampled_from(["", "600 g"]))


@given(st.lists(KEYS, max_size=12))
def test_every_point_is_in_one_series_and_every_break_is_told(keys):
    keyed = [(Point(i, 1.0), key) for i, key in enumerate(keys)]
    made = series_of(keyed)
    assert sorted(p.visit for s in made for p in s.points) == list(range(len(keys)))
    assert len({s.key for s in made}) == len(made)
    if made:
        assert made[-1].points[-1].visit == len(keys) - 1
    told = breaks([(p.visit, key) for p, key in keyed])
    assert [b.visit for b in told] == [i for i in range(1, len(keys)) if keys[i] != keys[i - 1]]
    assert all(b.reason for b in told)
