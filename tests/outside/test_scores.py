"""Forecast scores against published closed forms, other libraries' values and the arithmetic of conformal ranks."""

from __future__ import annotations

import math

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from chirr.engine.colony import scores

# Values computed with properscoring 0.1 and scoringrules 0.10.0, which agree to the digits shown.
GAUSSIAN = [
    (0.0, 0.0, 1.0, 0.2336949773),
    (1.0, 0.0, 1.0, 0.6024413576),
    (13.0, 10.0, 2.0, 1.9888480080),
    (26.0, 28.0, 1.5, 1.2809009698),
]


@pytest.mark.parametrize(("truth", "mean", "sd", "expected"), GAUSSIAN)
def test_the_normal_score_is_that_of_two_scoring_libraries(
    truth: float, mean: float, sd: float, expected: float
) -> None:
    assert float(scores.crps_normal(truth, mean, sd)) == pytest.approx(expected, abs=1e-9)


def test_the_standard_normal_score_at_its_mean_is_the_closed_form() -> None:
    # Gneiting and Raftery (2007), eq. 21 at 0: 2 phi(0) - 1/sqrt(pi)
    closed = 2 / math.sqrt(2 * math.pi) - 1 / math.sqrt(math.pi)
    assert float(scores.crps_normal(0, 0, 1)) == pytest.approx(closed, abs=1e-12)


def test_the_ensemble_score_and_its_fair_form_are_those_of_two_scoring_libraries() -> None:
    # properscoring 0.1 and scoringrules 0.10.0
    assert float(scores.crps_ensemble(3, [1, 2, 3, 4, 5])) == pytest.approx(0.4, abs=1e-12)
    assert float(scores.crps_ensemble(2.5, [2, 4, 7])) == pytest.approx(1.0555556, abs=1e-7)
    assert float(scores.crps_ensemble(2.5, [2, 4, 7], fair=True)) == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize(
    ("truth", "low", "high", "alpha", "expected"),
    [(10, 12, 20, 0.1, 48), (15, 12, 20, 0.1, 8), (23, 12, 20, 0.2, 38)],
)
def test_the_interval_score_is_that_of_a_scoring_library(
    truth: float, low: float, high: float, alpha: float, expected: float
) -> None:
    # scoringrules 0.10.0; by hand for the first (Gneiting and Raftery 2007, eq. 43): 8 + 2/0.1 * (12 - 10)
    assert float(scores.interval_score(truth, low, high, alpha)) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("forecast", "level", "expected"),
    [
        ([0, 2, 3], 0.1, 0.1 / 3),
        ([1, 2, 4], 0.1, 0.3),
        ([0, 2, 3], 0.9, 0.3),
        ([1, 2, 4], 0.9, 0.1 / 3),
    ],
)
def test_the_pinball_loss_is_that_of_the_machine_learning_library(
    forecast: list[float], level: float, expected: float
) -> None:
    # scikit-learn 1.9.1, mean_pinball_loss on the truths 1, 2, 3 (documentation example, from memory)
    assert float(scores.pinball([1, 2, 3], forecast, level).mean()) == pytest.approx(expected, abs=1e-9)


ALL = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)


@pytest.mark.parametrize("levels", [ALL, (0.1, 0.5, 0.9), (0.5,)])
def test_the_weighted_score_is_the_sum_of_its_intervals_as_published(levels: tuple[float, ...]) -> None:
    # Bracher et al. (2021), eq. 2: (1/2 |y - m| + sum alpha_k/2 IS_k) / (K + 1/2)
    q = np.interp(levels, ALL, [4.0, 5.5, 7.0, 9.0, 10.0, 14.0, 15.0])
    for truth in (-3.0, 6.0, 9.5, 31.0):
        k = len(levels) // 2
        total = 0.5 * abs(truth - q[k])
        for i in range(k):
            alpha = 2 * levels[i]
            total += alpha / 2 * float(scores.interval_score(truth, q[i], q[-1 - i], alpha))
        assert float(scores.weighted_interval_score(truth, q, levels)) == pytest.approx(total / (k + 0.5), rel=1e-12)


@pytest.mark.parametrize(("n", "expected"), [(19, 18), (99, 90), (9, 9), (8, None)])
def test_the_conformal_rank_is_the_ceiling_and_says_when_no_finite_bound_exists(n: int, expected: int | None) -> None:
    # ceil((n + 1)(1 - alpha)), alpha 0.1; Lei et al. (2018): with 8 errors no bound covers nine times in ten
    assert scores.conformal_rank(n, 0.1) == expected
    bound = scores.conformal_bound(np.arange(1.0, n + 1), 0.1)
    assert bound == (math.inf if expected is None else float(expected))


def test_a_conformal_bound_covers_exactly_as_often_as_its_rank_says() -> None:
    # exchangeable continuous errors: coverage is k / (n + 1) exactly; 40,000 runs, within four standard errors
    rng = np.random.default_rng(4)
    errors = rng.exponential(size=(40_000, 20))
    held = np.mean([new <= scores.conformal_bound(known, 0.1) for *known, new in errors])
    assert held == pytest.approx(18 / 20, abs=4 * math.sqrt(0.9 * 0.1 / 40_000))


@pytest.mark.parametrize(("inside", "of"), [(0, 12), (8, 10), (82, 100), (100, 100)])
def test_the_interval_of_a_share_is_that_of_the_statistics_library(inside: int, of: int) -> None:
    # statsmodels, proportion_confint(method="beta"), the exact interval of Clopper and Pearson (1934)
    low, high = proportion_confint(inside, of, 0.05, method="beta")
    assert scores.binomial_interval(inside, of) == pytest.approx((float(low), float(high)), abs=1e-9)
