"""Belief is as sure as it may be: truths drawn from the prior fall evenly among the draws of belief.

Simulation-based calibration: Talts, Betancourt, Simpson, Vehtari and Gelman (2018), arXiv:1804.06788. A truth is drawn
from the prior, a farm's facts are made of it with errors of exactly the law that belief assumes, belief is formed, and
the truth is ranked among its draws. With a right belief the ranks are even. The size is what a test run can bear;
bench/calibration.py does it in full.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.latents import FARM
from engine.colony.told_by_the_prior import DRAWS, Plan, ranks, truths_and_draws, unevenness

RUNS, BINS = 40, 5
UNEVEN = 23.5
"""Chi-square with four degrees of freedom goes beyond this once in ten thousand: one of the farm's seventeen unknowns
would once in seven hundred seeds, and the seed is fixed."""

Floats = NDArray[np.float64]


@cache
def told() -> tuple[Floats, Floats]:
    return truths_and_draws(Plan(clutches=4, harvested=2), RUNS, seed=2018)


def coverage(found: NDArray[np.int64], share: float) -> Floats:
    """Share of truths inside the middle `share` of the draws."""
    edge = (DRAWS + 1) * (1 - share) / 2
    return np.asarray(((found >= edge) & (found < DRAWS + 1 - edge)).mean(axis=0))


def test_ranks_of_the_farms_unknowns_are_even() -> None:
    uneven = dict(zip(FARM, unevenness(ranks(*told()), BINS), strict=True))
    assert max(uneven.values()) < UNEVEN, uneven


def test_bands_hold_the_truth_as_often_as_they_say() -> None:
    """Over all unknowns, half of the truths in the 50 % band and four fifths in the 80 % band, to 0.08."""
    found = ranks(*told())
    assert abs(coverage(found, 0.5).mean() - 0.5) < 0.08
    assert abs(coverage(found, 0.8).mean() - 0.8) < 0.08


def test_a_belief_that_is_twice_as_sure_as_it_may_be_would_be_found_out() -> None:
    truths, drawn = told()
    middle = drawn.mean(axis=-1, keepdims=True)
    found = ranks(truths, middle + 0.5 * (drawn - middle))
    assert unevenness(found, BINS).max() > UNEVEN
    assert coverage(found, 0.8).mean() < 0.65


def test_a_belief_that_is_off_by_a_spread_would_be_found_out() -> None:
    truths, drawn = told()
    found = ranks(truths, drawn + drawn.std(axis=-1, keepdims=True))
    assert unevenness(found, BINS).max() > UNEVEN
