"""How often verdicts are wrong, by simulation; the full ten thousand stand in bench/trials.py."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chirr.engine.trials.estimates import paired, summary, unpaired
from chirr.engine.trials.looks import always_interval, bounds, spent
from chirr.engine.trials.pair import Rule, Side, judge_pair

ALPHA, EDGE = 0.05, 0.9
TRIALS = 1000
GIVE = 3 * math.sqrt(ALPHA * (1 - ALPHA) / TRIALS)
"""Three Monte Carlo standard errors: 2.1 %."""


def side(name, values, block=None):
    """A way's values, blocks or none."""
    labels = np.array([""] * len(values)) if block is None else block
    return Side(name=name, values=values, block=labels, place=np.arange(len(values)))


def wrong_claims(draw, *, blocks=None, pairs=False, trials=TRIALS):
    """Share of trials that claim equivalence although the loss is exactly the margin."""
    rng, rule, wrong = np.random.default_rng(1), Rule(ratio=True, low=EDGE, high=1 / EDGE, alpha=ALPHA), 0
    for _ in range(trials):
        a, b = draw(rng)
        r = judge_pair(side("new", a, blocks), side("old", b, blocks), rule, pairs=pairs, beside=False)
        wrong += r.equivalence is not None and r.equivalence.equivalent
    return wrong / trials


def test_clutches_at_the_edge_of_the_margin_are_called_as_good_at_most_as_often_as_said():
    def draw(rng):
        return np.exp(8 + math.log(EDGE) + rng.normal(0, 0.1, 10)), np.exp(8 + rng.normal(0, 0.1, 14))

    assert 0.02 < wrong_claims(draw) <= ALPHA + GIVE


def test_the_same_in_blocks():
    labels = np.array([f"bin {i}" for i in range(10)])

    def draw(rng):
        bins = rng.normal(0, 0.4, 10)
        return np.exp(8 + math.log(EDGE) + bins + rng.normal(0, 0.08, 10)), np.exp(8 + bins + rng.normal(0, 0.08, 10))

    assert 0.02 < wrong_claims(draw, blocks=labels) <= ALPHA + GIVE
    assert 0.02 < wrong_claims(draw, blocks=labels, pairs=True) <= ALPHA + GIVE


def test_the_same_of_small_counts_that_vary_more_than_chance():
    def draw(rng):
        return tuple(rng.poisson(rng.gamma(50, m / 50, 100)).astype(float) for m in (10 * EDGE, 10.0))

    assert wrong_claims(draw, trials=250) <= ALPHA + 2 * GIVE, "a quarter of the trials, twice the Monte Carlo error"


@pytest.mark.parametrize("groups", [False, True])
def test_the_always_valid_interval_survives_peeking_after_every_unit(groups):
    """400 trials of 60 looks: give or take 1.1 %; a plain t interval misses about five times as often."""
    rng, missed, plain = np.random.default_rng(2), 0, 0
    for _ in range(400):
        x, y = rng.normal(0.3, 1.7, 60), rng.normal(0, 1.7, 60)
        always, naive = True, True
        for n in range(3, 60):
            a, b = summary(x[:n]), summary(y[:n])
            e = unpaired(a, b, equal_spread=True) if groups else paired(a)
            low, high = always_interval(e, ALPHA, tuned_for=20)
            always &= low <= 0.3 <= high
            naive &= abs(e.value - 0.3) <= 2.0 * e.se
        missed += not always
        plain += not naive
    assert missed / 400 <= ALPHA + 3 * math.sqrt(ALPHA * (1 - ALPHA) / 400)
    assert plain / 400 > 0.15, "otherwise this test could not fail"


def test_the_interval_shrinks_and_first_has_no_end():
    rng = np.random.default_rng(3)
    x = rng.normal(0, 1, 500)
    ends = [always_interval(paired(summary(x[:n])), tuned_for=20) for n in (2, 20, 100, 500)]
    assert ends[0] == (-math.inf, math.inf)
    widths = [high - low for low, high in ends[1:]]
    assert widths == sorted(widths, reverse=True)


def test_one_look_at_the_end_is_the_ordinary_test():
    assert bounds([1.0]) == pytest.approx([1.959964], abs=1e-5)
    assert spent(1.0) == pytest.approx(0.05)
    assert spent(0.0) == 0.0
