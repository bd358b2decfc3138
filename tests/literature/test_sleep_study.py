"""Drift of real people: reaction time, ms, of 18 people over ten days of a sleep study.

Belenky et al. 2003, J Sleep Res 12:1-12, as distributed with lme4 under the name sleepstudy
(every value, to four places). lme4's documentation prints the mixed model with intercepts and
slopes by person: 251.405 + 10.467 a day, standard errors 6.825 and 1.546.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from norms.reliability import reliability
from norms.trend import theil_sen, trend
from tests.literature.test_reliability import SLEEP

DATA = Path(__file__).resolve().parents[1] / "data" / "sleepstudy.csv"
PRINTED_SLOPE, PRINTED_ERROR = 10.467, 1.546


@pytest.fixture(scope="module")
def people():
    table = pd.read_csv(DATA, index_col="Subject")
    assert table.shape == (18, 10)
    return table


def test_the_data_give_the_printed_model(people):
    """That the file is the published data: a second program finds the printed coefficients.

    The program itself fits no mixed model: it judges people one by one.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM

    long = people.reset_index().melt("Subject", var_name="day", value_name="ms")
    day = np.column_stack([np.ones(len(long)), long["day"].astype(float)])
    model = MixedLM(long["ms"].to_numpy(), day, groups=long["Subject"].to_numpy(), exog_re=day)
    fit = model.fit()
    assert fit.fe_params == pytest.approx([251.405, PRINTED_SLOPE], abs=0.0006)
    assert fit.bse_fe == pytest.approx([6.825, PRINTED_ERROR], abs=0.0006)


def test_the_median_slopes_of_people_agree_with_the_printed_slope(people):
    """They weigh odd days less; their mean lies within a quarter of its standard error."""
    slopes = [theil_sen(row, range(10)).value for row in people.to_numpy()]
    assert np.mean(slopes) == pytest.approx(PRINTED_SLOPE, abs=PRINTED_ERROR / 4)
    assert np.std(slopes, ddof=1) / 18**0.5 == pytest.approx(PRINTED_ERROR, rel=0.1)


def test_most_people_drift_upwards_and_the_test_says_so(people):
    """Sixteen of eighteen slow down in a least-squares fit too."""
    found = [trend(row, range(10), log_scale=False) for row in people.to_numpy()]
    up = sum(f.per_week.value > 0 for f in found)
    least_squares = [np.polyfit(range(10), row, 1)[0] for row in people.to_numpy()]
    assert up == sum(slope > 0 for slope in least_squares)
    assert sum(f.p < 0.05 and f.per_week.value > 0 for f in found) >= 12


def test_the_first_two_days_are_those_of_the_reliability_check(people):
    days = people[["0", "1"]].to_numpy()
    assert days == pytest.approx(SLEEP, abs=5e-5)
    assert reliability(days, log_scale=False).sem == pytest.approx(16.842, abs=0.0005)
