"""Verdicts in words, and what is said where little or nothing can be concluded."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chirr.engine.errors import EngineError
from chirr.engine.trials.judge import Margin, Question, judge
from chirr.engine.trials.pair import Rule, Side, judge_pair

TEN_PCT = Question(margin=Margin(amount=0.1, share=True))


def eggs(rng, n, ratio=1.0, spread=0.1):
    """Counts of two ways, the first laying `ratio` of the second."""
    return np.exp(8 + rng.normal(0, spread, 2 * n) + np.repeat([math.log(ratio), 0.0], n))


def told(values, question=TEN_PCT, block=None):
    """The verdict on two ways of equal number."""
    n = len(values) // 2
    return judge(np.asarray(values, float), ["small"] * n + ["large"] * n, block, question).verdict


def test_ways_that_are_alike_are_as_good_within_the_margin():
    v = told(eggs(np.random.default_rng(1), 30))
    assert v.kind == "as good"
    assert v.says.startswith("as good within your margin")
    assert "90.0 % to 111.1 %" in v.says, "a loss of 10 % and the gain that matters as much"


def test_a_clear_loss_is_worse_and_a_clear_gain_better():
    rng = np.random.default_rng(2)
    assert told(eggs(rng, 30, 0.7)).says.startswith("worse")
    assert told(eggs(rng, 30, 1.4)).says.startswith("better")


def test_less_is_better_for_minutes():
    q = Question(margin=Margin(amount=0.1, share=True), less_is_better=True)
    assert told(eggs(np.random.default_rng(3), 30, 0.4), q).kind == "better"


def test_too_few_is_not_known_yet_and_says_how_many_more():
    v = told(eggs(np.random.default_rng(4), 5, spread=0.4))
    assert v.kind == "not known"
    assert v.more is not None
    assert f"about {v.more} more of each way would settle it" in v.says


def test_so_many_more_do_settle_it_about_four_times_in_five():
    rng = np.random.default_rng(5)
    v = told(eggs(rng, 8, 0.97, spread=0.2))
    assert v.kind == "not known"
    assert v.more is not None
    rule = Rule(ratio=True, low=0.9, high=1 / 0.9)
    blank = np.array([""] * (8 + v.more))
    settled = 0
    for _ in range(200):
        fresh = eggs(rng, 8 + v.more, 0.97, spread=0.2).reshape(2, -1)
        a, b = (Side(name=n, values=x, block=blank, place=np.arange(len(x))) for n, x in zip("ab", fresh, strict=True))
        r = judge_pair(a, b, rule, beside=False)
        assert r.equivalence is not None
        assert r.p is not None
        settled += r.equivalence.equivalent or r.p < 0.05
    assert settled > 100, "the estimate was itself uncertain, so the number is a guide and no promise"


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([0.8, 0.95, 1.0, 1.1]), st.integers(2, 20))
def test_no_verdict_ever_says_that_there_is_no_difference(seed, ratio, n):
    v = told(eggs(np.random.default_rng(seed), n, ratio, spread=0.3))
    assert "no difference" not in v.says
    assert v.kind in ("as good", "better", "worse", "not known")


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.001, 1000))
def test_a_ratio_does_not_depend_on_the_unit(seed, factor):
    values = eggs(np.random.default_rng(seed), 6)
    ways = ["a"] * 6 + ["b"] * 6
    one, other = (judge(v, ways, None, TEN_PCT).pairs[0][0] for v in (values, values * factor))
    assert one.effect == pytest.approx(other.effect)
    assert one.p == pytest.approx(other.p, rel=1e-6)


def test_swapping_the_ways_turns_the_ratio_over():
    values = eggs(np.random.default_rng(6), 9)
    there = judge(values, ["a"] * 9 + ["b"] * 9, None, TEN_PCT).pairs[0][0]
    back = judge(values, ["a"] * 9 + ["b"] * 9, None, Question(margin=TEN_PCT.margin, against="a")).pairs[0][0]
    assert there.effect is not None
    assert back.effect == pytest.approx(1 / there.effect)
    assert back.interval == pytest.approx([1 / x for x in reversed(there.interval)])
    assert (there.equivalence.p_lower, there.equivalence.p_upper) == pytest.approx(
        (back.equivalence.p_upper, back.equivalence.p_lower)
    )


def test_one_way_only_has_nothing_to_be_compared_with():
    found = judge(np.array([3.0, 4.0]), ["small"] * 2, None, TEN_PCT)
    assert "nothing to compare" in found.verdict.says
    assert found.ways[0][1].mean == 3.5


def test_all_noughts_say_nothing_yet():
    assert "Every value is nought".lower() in told([0, 0, 0, 0, 0, 0]).says


def test_one_way_of_noughts_is_judged_by_ranks():
    v = told([0, 0, 0, 0, 0, 0, 4, 7, 3, 9, 6, 5])
    assert v.says == "worse: small gave nothing at all (p 0.0028 by ranks)"


def test_without_a_margin_nothing_is_shown_to_be_as_good():
    v = told(eggs(np.random.default_rng(7), 30), Question(margin=Margin(amount=0.0, share=True)))
    assert v.kind == "not known"
    assert "say how big a loss would matter" in v.says or "would settle it" in v.says


def test_blocks_that_had_one_way_each_are_compared_as_wholes():
    values = eggs(np.random.default_rng(8), 12)
    found = judge(values, ["a"] * 12 + ["b"] * 12, [f"bin {i // 4}" for i in range(24)], TEN_PCT).pairs[0][0]
    assert found.estimate is not None
    assert found.estimate.df < 5, "three bins of each way, not twelve clutches"
    assert any("3 and 3 blocks are what is compared" in r for r in found.remarks)


def test_one_block_for_each_way_cannot_be_told_from_the_ways():
    v = told(eggs(np.random.default_rng(9), 6), block=["north"] * 6 + ["south"] * 6)
    assert v.kind == "not known"
    assert "cannot be told from one between the blocks" in v.says


def test_missing_partners_are_left_out_and_said():
    q = Question(margin=Margin(amount=0.1, share=True), paired=True)
    values = eggs(np.random.default_rng(10), 6)[:-1]
    pairs = [str(i) for i in range(6)] + [str(i) for i in range(5)]
    found = judge(values, ["a"] * 6 + ["b"] * 5, pairs, q).pairs[0][0]
    assert found.estimate is not None
    assert found.estimate.df == 4
    assert any("1 pair has one value only" in r for r in found.remarks)


def test_pairs_without_a_name_must_be_equally_many():
    q = Question(margin=Margin(amount=0.1, share=True), paired=True)
    with pytest.raises(EngineError, match="which go together"):
        judge(np.array([1.0, 2, 3]), ["a", "a", "b"], None, q)


def test_values_that_never_vary_tell_nothing_of_their_spread():
    assert "do not vary" in told([5, 5, 5, 5, 5, 5], Question(margin=Margin(amount=1, share=False))).says


def test_a_ratio_of_values_below_nought_is_refused():
    with pytest.raises(EngineError, match="judge the difference instead"):
        judge(np.array([-1.0, 2, 3, 4]), ["a", "a", "b", "b"], None, Question(margin=TEN_PCT.margin, ratio=True))


def test_three_ways_are_as_good_only_if_every_pair_is():
    rng = np.random.default_rng(11)
    values = np.exp(8 + rng.normal(0, 0.05, 60))
    found = judge(values, ["a", "b", "c"] * 20, None, TEN_PCT)
    assert found.verdict.kind == "as good"
    assert found.overall_p is not None
    values[::3] *= 0.6
    worse = judge(values, ["a", "b", "c"] * 20, None, TEN_PCT)
    assert worse.verdict.says.startswith("a is worse than b (")
    assert "b is as good as c within your margin" in worse.verdict.says


def test_an_odd_value_a_drift_and_unlike_spreads_are_pointed_out():
    rng = np.random.default_rng(12)
    values = eggs(rng, 20)
    odd = values.copy()
    odd[7] *= 30
    assert any(
        "Far from the rest: value 8" in r
        for r in judge(odd, ["a"] * 20 + ["b"] * 20, None, TEN_PCT).pairs[0][0].remarks
    )
    drift = np.exp(8 + np.linspace(0, 1, 40) + rng.normal(0, 0.02, 40))
    assert any(
        "give the date as a block" in r for r in judge(drift, ["a", "b"] * 20, None, TEN_PCT).pairs[0][0].remarks
    )
    wide = np.exp(8 + np.concatenate([rng.normal(0, 1, 20), rng.normal(0, 0.1, 20)]))
    assert any("a varies most" in r for r in judge(wide, ["a"] * 20 + ["b"] * 20, None, TEN_PCT).pairs[0][0].remarks)
