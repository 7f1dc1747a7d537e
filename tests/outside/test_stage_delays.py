"""Stage durations against scipy's distributions, the linear chain and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from chirr.engine.biology.delays import (
    gamma_cdf,
    gamma_quantile,
    lognormal_cdf,
    lognormal_quantile,
    lognormal_window_cdf,
    share_surviving_stage,
)

# Computed (scipy 1.17.1 gamma); the identity of chain and gamma: Hurtado & Kirosingh 2019, J. Math. Biol. 79:1831.
# compartments, mean days, SD, share finished at the mean, 10/50/90 % quantiles (1e-5 relative)
ERLANG = [
    (4, 10, 5, 0.566530, (4.36192, 9.18015, 16.70197)),
    (9, 30, 10, 0.544344, (18.10823, 28.89650, 43.31571)),
    (25, 50, 10, 0.526602, (37.68865, 49.33494, 63.16712)),
]


@pytest.mark.parametrize(("k", "mean", "sd", "share", "quantiles"), ERLANG)
def test_a_chain_of_k_compartments_is_a_gamma_delay(k, mean, sd, share, quantiles):
    cv = 1 / np.sqrt(k)
    assert cv * mean == pytest.approx(sd)
    assert gamma_cdf(mean, mean, cv) == pytest.approx(share, abs=1e-5)
    assert gamma_quantile([0.1, 0.5, 0.9], mean, cv) == pytest.approx(quantiles, rel=1e-5)
    assert gamma_quantile([0.1, 0.5, 0.9], mean, cv) == pytest.approx(
        stats.gamma(k, scale=mean / k).ppf([0.1, 0.5, 0.9])
    )
    assert gamma_cdf(quantiles, mean, cv) == pytest.approx([0.1, 0.5, 0.9], abs=1e-6)


def test_one_compartment_is_an_exponential_delay():
    """Computed (scipy 1.17.1): 1 - exp(-1)."""
    assert gamma_cdf(10, 10, 1.0) == pytest.approx(0.632121, abs=1e-5)


def test_stepping_a_chain_keeps_the_mean_but_loses_spread_which_the_clock_does_not():
    """k 4, D 10 days, dt 0.25, all mass at stage 1, transfer k dt/D per step: mean 10.000, variance 22.500, not 25
    (scipy 1.17.1, negative-binomial identity). The clock's distribution has the whole 25."""
    k, mean, dt, steps = 4, 10.0, 0.25, 2000
    chain, left = np.zeros(k), np.zeros(steps)
    chain[0] = 1.0
    for step in range(steps):
        moving = chain * k * dt / mean
        left[step] = moving[-1]
        chain += np.concatenate(([0.0], moving[:-1])) - moving
    exit_days = dt * (1 + np.arange(steps))
    stepped_mean = (exit_days * left).sum()
    stepped_variance = ((exit_days - stepped_mean) ** 2 * left).sum()
    assert stepped_mean == pytest.approx(10.0, abs=1e-3)
    assert stepped_variance == pytest.approx(22.5, abs=1e-3)

    days = np.linspace(0, 200, 400_001)
    alive = 1 - gamma_cdf(days, mean, 1 / np.sqrt(k))
    clock_mean = np.trapezoid(alive, days)
    clock_variance = 2 * np.trapezoid(days * alive, days) - clock_mean**2
    assert clock_mean == pytest.approx(10.0, abs=1e-3)
    assert clock_variance == pytest.approx(25.0, abs=1e-3)


def test_deaths_during_a_delay_match_the_closed_form():
    """Hazard 0.02 a day, D 10, k 4: (1 + mu D/k)^-k; fixed delay exp(-0.2). Derived (closed form)."""
    assert share_surviving_stage(0.02, 10, 0.5) == pytest.approx(0.8227025, abs=1e-7)
    assert share_surviving_stage(0.02, 10, 0.0) == pytest.approx(0.8187308, abs=1e-7)


def test_deaths_during_a_delay_match_a_sum_over_scipys_gamma():
    """scipy.stats.gamma: expectation of exp(-hazard T)."""
    expected = stats.gamma(a=400, scale=30 / 400).expect(lambda t: np.exp(-0.03 * t))
    assert share_surviving_stage(0.03, 30, 0.05) == pytest.approx(expected, rel=1e-7)


def test_lognormal_delays_match_scipy():
    """scipy.stats.lognorm with the same mean and coefficient of variation."""
    mean, cv = 12.7, 0.05
    sigma = np.sqrt(np.log1p(cv**2))
    witness = stats.lognorm(s=sigma, scale=mean * np.exp(-(sigma**2) / 2))
    days = np.array([10.0, 12.0, 12.7, 13.5, 16.0])
    np.testing.assert_allclose(lognormal_cdf(days, mean, cv), witness.cdf(days), rtol=1e-9)
    np.testing.assert_allclose(lognormal_quantile([0.01, 0.5, 0.9], mean, cv), witness.ppf([0.01, 0.5, 0.9]), rtol=1e-9)


@pytest.mark.parametrize(("last", "first"), [(9.0, 12.0), (11.5, 14.5), (-1.0, 2.0), (12.0, 12.0), (12.5, 12.50001)])
def test_eggs_laid_over_a_window_hatch_as_the_average_over_the_window(last, first):
    """A second method: the mean of scipy.stats.lognorm over 4,001 laying moments."""
    mean, cv = 12.7, 0.05
    sigma = np.sqrt(np.log1p(cv**2))
    witness = stats.lognorm(s=sigma, scale=mean * np.exp(-(sigma**2) / 2))
    expected = witness.cdf(np.linspace(last, first, 4001)).mean()
    assert lognormal_window_cdf(last, first, mean, cv) == pytest.approx(expected, abs=3e-4)
