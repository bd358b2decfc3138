"""Reliability against print and against pingouin."""

import math

import numpy as np
import pandas as pd
import pytest

from norms.reliability import (
    bland_altman,
    icc,
    mdc95,
    mean_squares,
    percent_up,
    reliability,
    sem,
    sem_from_icc,
)

# Shrout PE, Fleiss JL (1979) Psychol Bull 86:420-428, table 2: six targets, four judges. The
# table and its printed correlations are from memory; pingouin gives the same four digits.
SHROUT_FLEISS_1979 = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]],
    dtype=float,
)
PRINTED_1979 = {
    "(1,1)": (0.17, 0.1657),
    "(2,1)": (0.29, 0.2898),
    "(3,1)": (0.71, 0.7148),
    "(1,k)": (0.44, 0.4428),
    "(2,k)": (0.62, 0.6201),
    "(3,k)": (0.91, 0.9093),
}

# Weir JP (2005) J Strength Cond Res 19:231-240: two sets with the same error, one with much
# less spread between people. From memory; F .530 and (3,k) .973 of set A also read in course
# slides.
WEIR_2005_A = np.array(
    [[146, 148, 170, 90, 157, 156, 176, 205], [140, 152, 152, 99, 145, 153, 167, 218]], float
).T
WEIR_2005_B = np.array(
    [[166, 168, 160, 150, 147, 146, 156, 155], [160, 172, 142, 159, 135, 143, 147, 168]], float
).T

# Reaction time, ms, of 18 people on the first two days of a sleep study (Belenky et al. 2003, J
# Sleep Res 12:1-12), as distributed with lme4 under the name sleepstudy.
SLEEP = np.array(
    [
        [249.5600, 258.7047], [222.7339, 205.2658], [199.0539, 194.3322],
        [321.5426, 300.4002], [287.6079, 285.0000], [234.8606, 242.8118],
        [283.8424, 289.5550], [265.4731, 276.2012], [241.6083, 273.9472],
        [312.3666, 313.8058], [236.1032, 230.3167], [256.2968, 243.4543],
        [250.5265, 300.0576], [221.6771, 298.1939], [271.9235, 268.4369],
        [225.2640, 234.5235], [269.8804, 272.4428], [269.4117, 273.4740],
    ]
)  # fmt: skip


@pytest.mark.parametrize("name", PRINTED_1979)
def test_correlations_are_those_of_shrout_and_fleiss(name):
    printed, computed = PRINTED_1979[name]
    value = icc(SHROUT_FLEISS_1979)[name].value
    assert value == pytest.approx(printed, abs=0.005)
    assert value == pytest.approx(computed, abs=6e-5)


def test_mean_squares_are_those_of_shrout_and_fleiss():
    """Their table 3 (from memory): BMS 11.24, WMS 6.26, JMS 32.49, EMS 1.02."""
    assert mean_squares(SHROUT_FLEISS_1979)[2:] == pytest.approx(
        (11.24, 6.26, 32.49, 1.02), abs=0.005
    )


# pingouin 0.7 uses what pandas 3.1 will give up; that is theirs, the figures are what counts.
@pytest.mark.filterwarnings("ignore:The inplace keyword")
@pytest.mark.parametrize("table", [SHROUT_FLEISS_1979, WEIR_2005_A, WEIR_2005_B, SLEEP])
def test_correlations_and_intervals_are_those_of_pingouin(table):
    """Version 0.7 names them ICC(1,1), ICC(A,1), ICC(C,1)...; its intervals have 2 digits."""
    import pingouin

    n, k = table.shape
    long = pd.DataFrame(
        {
            "person": np.repeat(np.arange(n), k),
            "visit": np.tile(np.arange(k), n),
            "value": table.ravel(),
        }
    )
    theirs = pingouin.intraclass_corr(long, targets="person", raters="visit", ratings="value")
    ours = icc(table)
    names = ["(1,1)", "(2,1)", "(3,1)", "(1,k)", "(2,k)", "(3,k)"]
    intervals = next(c for c in theirs.columns if c.startswith("CI95"))
    for name, value, interval in zip(names, theirs["ICC"], theirs[intervals], strict=True):
        assert ours[name].value == pytest.approx(value, abs=1e-6)
        assert [round(x, 2) for x in ours[name][1:]] == pytest.approx(
            list(interval), abs=0.0101
        )


def test_the_standard_error_does_not_depend_on_the_spread_between_people():
    """Weir's lesson: (3,1) .947 and .538, the same SEM 7.6 and minimal difference 21."""
    a, b = icc(WEIR_2005_A), icc(WEIR_2005_B)
    assert a["(3,1)"].value == pytest.approx(0.947, abs=0.0005)
    assert a["(3,k)"].value == pytest.approx(0.973, abs=0.0005)
    assert b["(3,1)"].value == pytest.approx(0.538, abs=0.0005)
    for table in (WEIR_2005_A, WEIR_2005_B):
        assert sem(table) == pytest.approx(7.5569, abs=0.0005)
        assert mdc95(sem(table)) == pytest.approx(20.9467, abs=0.001)


def test_the_trials_of_weir_do_not_differ():
    """F(1,7) = .530, printed."""
    ms = mean_squares(WEIR_2005_A)
    assert ms.visits / ms.error == pytest.approx(0.530, abs=0.0005)


def test_real_reaction_times():
    """Computed once with other programs: (3,1) .7361, SEM 16.842 ms, MDC95 46.68 ms."""
    told = reliability(SLEEP, log_scale=False)
    assert told.icc["(3,1)"].value == pytest.approx(0.7361, abs=0.00005)
    assert told.sem == pytest.approx(16.842, abs=0.0005)
    assert told.mdc95 == pytest.approx(46.68, abs=0.005)
    assert math.isnan(told.sem_percent)


def test_the_standard_error_from_a_published_correlation():
    """SD 10, ICC .90: SEM 3.1623, MDC95 8.7654 (by definition)."""
    assert mdc95(sem_from_icc(10, 0.90)) == pytest.approx(8.765386, abs=1e-6)


def test_the_smallest_ratio_beyond_error():
    """Scatter of the logarithm .15: exp(1.96 √2 · .15) = 1.515551."""
    assert percent_up(mdc95(0.15)) == pytest.approx(51.5551, abs=5e-4)


def test_several_baseline_visits_make_the_smallest_change_smaller():
    """1.96 · sqrt(1 + 1/4) against 1.96 · √2."""
    assert mdc95(1.0, n_baseline=4) == pytest.approx(1.96 * math.sqrt(1.25))


# Bland JM, Altman DG (1986) Lancet 1:307-310: peak flow, l/min, of 17 people by two meters,
# first measurement of each. From memory; their mean difference -2.1, SD 38.8, limits -79.7 and
# 75.5 (they take 2 for 1.96) come out of these numbers.
LARGE_METER = [
    494,
    395,
    516,
    434,
    476,
    557,
    413,
    442,
    650,
    433,
    417,
    656,
    267,
    478,
    178,
    423,
    427,
]
MINI_METER = [
    512,
    430,
    520,
    428,
    500,
    600,
    364,
    380,
    658,
    445,
    432,
    626,
    260,
    477,
    259,
    350,
    451,
]


def test_agreement_is_that_of_bland_and_altman():
    told = bland_altman(MINI_METER, LARGE_METER)
    assert told.bias.value == pytest.approx(-2.1, abs=0.05)
    assert told.sd == pytest.approx(38.8, abs=0.05)
    ratio = 2 / 1.96
    assert told.bias.value + ratio * (told.low - told.bias.value) == pytest.approx(
        -79.7, abs=0.1
    )
    assert told.bias.value + ratio * (told.high - told.bias.value) == pytest.approx(
        75.5, abs=0.1
    )


def test_the_interval_of_the_bias_is_that_of_pingouin():
    import pingouin

    told = bland_altman(MINI_METER, LARGE_METER)
    theirs = pingouin.ttest(LARGE_METER, MINI_METER, paired=True)
    interval = theirs[next(c for c in theirs.columns if c.startswith("CI95"))].iloc[0]
    assert [told.bias.low, told.bias.high] == pytest.approx(list(interval), abs=0.006)


def test_on_the_log_scale_percents_are_given():
    """Scatter s of logarithms: coefficient of variation sqrt(exp(s²) - 1)."""
    generator = np.random.default_rng(2)
    logs = generator.normal(2, 0.5, (200, 1)) + generator.normal(0, 0.1, (200, 3))
    told = reliability(np.exp(logs), log_scale=True)
    assert told.sem == pytest.approx(0.1, abs=0.01)
    assert told.sem_percent == pytest.approx(100 * math.sqrt(math.exp(told.sem**2) - 1))
    assert told.mdc95_percent == pytest.approx(100 * (math.exp(told.mdc95) - 1))


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (np.ones((2, 4)), "too small"),
        (np.ones((5, 1)), "too small"),
        (np.array([[1, 2], [2, np.nan], [3, 4.0]]), "1 people have a missing visit"),
    ],
)
def test_a_table_that_cannot_say_anything_is_an_error(table, said):
    with pytest.raises(ValueError, match=said):
        icc(table)


def test_pairs_must_match():
    with pytest.raises(ValueError, match="not the same"):
        bland_altman([1, 2, 3], [1, 2])


def test_a_published_correlation_must_be_one():
    with pytest.raises(ValueError, match="between 0 and 1"):
        sem_from_icc(10, 1.2)
