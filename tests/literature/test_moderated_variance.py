"""The moderated variance of Smyth (2004) against other ways of getting it, no line shared.

Smyth GK (2004). Linear models and empirical Bayes methods for assessing differential expression
in microarray experiments. Stat Appl Genet Mol Biol 3:3.
"""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq, minimize
from scipy.special import polygamma
from scipy.stats import f as fisher
from scipy.stats import gamma

from norms.scatter import fit_prior, inverse_trigamma, moderate


def draw(d0, s0, n_people, df, seed=1):
    """The model of section 3: 1/sigma² is chi²(d0)/(d0 s0²), s² is sigma² chi²(d)/d."""
    generator = np.random.default_rng(seed)
    variances = d0 * s0 / generator.chisquare(d0, n_people)
    return variances * generator.chisquare(df, n_people) / df


@pytest.mark.parametrize(("d0", "df"), [(4.0, 3), (8.0, 3), (20.0, 7)])
def test_moments_agree_with_maximum_likelihood_in_large_clinics(d0, df):
    """Section 6.1: marginally s² is s0² times F(d, d0); its likelihood maximised by search."""
    variances = draw(d0, 2.0, 20_000, df)

    def miss(logs):
        return -fisher.logpdf(variances / math.exp(logs[0]), df, math.exp(logs[1])).sum() + (
            len(variances) * logs[0]
        )

    best = np.exp(minimize(miss, [0.0, 1.0], method="Nelder-Mead").x)
    ours = fit_prior(variances, float(df), guess_weight=0)
    assert float(ours[0]) == pytest.approx(best[0], rel=0.02)
    assert float(ours[1]) == pytest.approx(best[1], rel=0.12)
    assert float(ours[0]) == pytest.approx(2.0, rel=0.03)


def test_moments_are_those_of_the_log_variances_by_integration():
    """Mean and spread of log s², integrated over the density of F, solved for prior by search.

    No digamma and no trigamma: both moments are integrals, both unknowns come from a root.
    """
    variances = draw(6.0, 0.5, 40, 3, seed=4)
    logs = np.log(variances)

    def moment(d0, power, about):
        top = 60.0
        return quad(
            lambda x: (x - about) ** power * fisher.pdf(math.exp(x), 3, d0) * math.exp(x),
            -top, top, limit=400, points=[-5, 0, 5],
        )[0]  # fmt: skip

    def spread(log_d0):
        d0 = math.exp(log_d0)
        return moment(d0, 2, moment(d0, 1, 0.0))

    d0 = math.exp(brentq(lambda x: spread(x) - logs.var(ddof=1), 0.0, 5.0))
    variance = math.exp(logs.mean() - moment(d0, 1, 0.0))
    ours = fit_prior(variances, 3.0, guess_weight=0)
    assert float(ours[0]) == pytest.approx(variance, rel=1e-4)
    assert float(ours[1]) == pytest.approx(d0, rel=1e-4)


def test_the_moderated_variance_is_the_posterior_of_the_precision():
    """Section 3: E(1/sigma² given s²)⁻¹ is (d0 s0² + d s²)/(d0 + d); Bayes by integration."""
    d0, s0, d, own = 6.0, 1.5, 3, 4.0

    def unscaled(precision, power):
        prior = gamma.pdf(precision, d0 / 2, scale=2 / (d0 * s0))
        likelihood = gamma.pdf(own, d / 2, scale=2 / (d * precision))
        return precision**power * prior * likelihood

    top, bottom = (quad(unscaled, 0, 20, args=(power,))[0] for power in (1, 0))
    variance, _ = moderate(own, d, s0, d0, 10**9)
    assert float(variance) == pytest.approx(bottom / top, rel=1e-6)


def test_a_known_prior_gives_the_sum_of_the_degrees_of_freedom():
    """Section 4: the moderated t has d0 + d degrees of freedom."""
    assert float(moderate(1.0, 3, 1.0, 8.0, 10**9)[1]) == pytest.approx(11)


@pytest.mark.parametrize("y", [1e-4, 0.02, 0.3, 1.0, 5.0, 80.0, 1e5])
def test_inverse_trigamma_against_a_plain_search(y):
    def miss(log_x):
        return math.log(float(polygamma(1, math.exp(log_x))) / y)

    assert float(inverse_trigamma(y)) == pytest.approx(
        math.exp(brentq(miss, -20, 20)), rel=1e-9
    )
