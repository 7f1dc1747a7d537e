"""Scores of forecasts: what must hold whatever the numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtri

from chirr.engine.colony import scores
from chirr.engine.errors import EngineError

LEVELS = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
number = st.floats(-1e6, 1e6)


@given(number, number)
def test_a_forecast_of_one_number_scores_its_distance_from_the_truth(truth: float, said: float) -> None:
    got = float(scores.weighted_interval_score(truth, [said] * 7, LEVELS))
    assert got == pytest.approx(abs(truth - said), rel=1e-9, abs=1e-9)


@given(number, st.lists(number, min_size=7, max_size=7), st.floats(0.01, 100), number)
def test_the_score_does_not_depend_on_where_nought_is_and_grows_with_the_unit(
    truth: float, said: list[float], unit: float, shift: float
) -> None:
    q = np.sort(said)
    one = float(scores.weighted_interval_score(truth, q, LEVELS))
    other = float(scores.weighted_interval_score(truth * unit + shift, q * unit + shift, LEVELS))
    assert other == pytest.approx(one * unit, rel=1e-6, abs=1e-6 * (1 + abs(shift)))


def test_no_forecast_beats_the_true_distribution_on_average() -> None:
    rng = np.random.default_rng(1)
    truth = rng.normal(0, 1, 20_000)

    def mean_score(shift: float, sd: float) -> float:
        q = np.broadcast_to(shift + sd * ndtri(LEVELS), (len(truth), 7))
        return float(scores.weighted_interval_score(truth, q, LEVELS).mean())

    best = mean_score(0, 1)
    assert all(mean_score(shift, sd) > best for shift, sd in [(0.3, 1), (-0.3, 1), (0, 0.6), (0, 1.6)])


def test_a_large_ensemble_scores_as_the_distribution_it_was_drawn_from() -> None:
    members = np.random.default_rng(2).normal(10, 2, 100_000)
    for fair in (False, True):
        got = float(scores.crps_ensemble(13.0, members, fair=fair))
        assert got == pytest.approx(float(scores.crps_normal(13.0, 10.0, 2.0)), abs=0.02)


def test_ensembles_are_scored_one_beside_the_other() -> None:
    both = scores.crps_ensemble([3.0, 2.5], [[1, 2, 3], [2, 4, 7]])
    assert both[1] == pytest.approx(float(scores.crps_ensemble(2.5, [2, 4, 7])))


def test_coverage_counts_both_ends_as_inside() -> None:
    got = scores.coverage([1.0, 2.0, 3.0, 4.0], [1.0, 0.0, 4.0, 4.0], [2.0, 2.0, 5.0, 4.0])
    assert (got.inside, got.of, got.share) == (3, 4, 0.75)


def test_coverage_of_nothing_is_unknown() -> None:
    got = scores.coverage([], [], [])
    assert math.isnan(got.share)
    assert (got.low, got.high) == (0.0, 1.0)


def test_a_band_that_holds_as_often_as_promised_is_no_surprise_and_one_that_fails_often_is() -> None:
    assert scores.chance_of_so_few(32, 40, 0.8) > 0.4
    assert scores.chance_of_so_few(22, 40, 0.8) < 0.001


@given(st.floats(0.1, 50), st.floats(0.0, 50), number)
def test_widening_a_normal_forecast_by_a_normal_error_gives_the_sum_of_both(
    sd: float, error: float, mean: float
) -> None:
    got = scores.wider(mean + sd * ndtri(LEVELS), LEVELS, error)
    assert got == pytest.approx(mean + math.hypot(sd, error) * ndtri(LEVELS), abs=1e-6 * (1 + abs(mean)))


@given(st.lists(st.floats(-100, 100), min_size=7, max_size=7), st.floats(0, 30))
def test_widened_bands_hold_the_old_ones_and_stay_in_order(said: list[float], error: float) -> None:
    q = np.sort(said)
    got = scores.wider(q, LEVELS, error)
    assert (got[:3] <= q[:3] + 1e-9).all()
    assert (got[4:] >= q[4:] - 1e-9).all()
    assert (np.diff(got) >= -1e-9).all()


def test_what_cannot_be_scored_is_refused_in_a_sentence() -> None:
    with pytest.raises(EngineError, match="above nought"):
        scores.crps_normal(1, 0, 0)
    with pytest.raises(EngineError, match="pairs"):
        scores.weighted_interval_score(1, [1, 2], [0.1, 0.9])
    with pytest.raises(EngineError, match="two members"):
        scores.crps_ensemble(1, [1], fair=True)
    with pytest.raises(EngineError, match="between 0 and 1"):
        scores.interval_score(1, 0, 2, 80)
    with pytest.raises(EngineError, match="between 0 and 1"):
        scores.conformal_rank(10, 0)
