"""Draws by lot that are even, sizes that are consistent, minutes learnt, and money with its chances."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chirr.engine.errors import EngineError
from chirr.engine.trials.allocation import allocate, allocate_crossing
from chirr.engine.trials.durations import learnt, set_up_and_each
from chirr.engine.trials.pair import Rule
from chirr.engine.trials.power import Design, equivalence_power, equivalence_size
from chirr.engine.trials.rows import Spread, Units, judge_units, spread_of
from chirr.engine.trials.sizing import sized, smallest_margin
from chirr.engine.trials.worth import Effect, Stakes, knowing_all, knowing_more, what_if, worth


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 4), min_size=3, max_size=40), st.integers(2, 3), st.integers(0, 999))
def test_a_draw_is_even_in_every_block_and_over_all(blocks, k, seed):
    of = {f"B{i}": b for i, b in enumerate(blocks)}
    ways = ["net", "none", "lid"][:k]
    drawn = allocate(of, ways, rng=np.random.default_rng(seed))
    assert list(drawn) == list(of)
    for block in set(blocks):
        n = Counter(drawn[u] for u in of if of[u] == block)
        assert max(n.values()) - min(n.get(w, 0) for w in ways) <= 1
    n = Counter(drawn.values())
    assert max(n.values()) - min(n.get(w, 0) for w in ways) <= 1


def test_a_draw_is_by_lot_and_can_be_drawn_again():
    of = {f"B{i}": 0 for i in range(12)}
    one, same, other = (allocate(of, ["a", "b"], rng=np.random.default_rng(s)) for s in (1, 1, 2))
    assert one == same
    assert one != other
    often = Counter(allocate({"x": 0, "y": 0}, ["a", "b"], rng=np.random.default_rng(s))["x"] for s in range(400))
    assert 150 < often["a"] < 250


def test_crossing_gives_every_way_to_every_bin_and_every_order_equally():
    drawn = allocate_crossing({f"B{i}": i % 2 for i in range(8)}, ["a", "b"], 2, rng=np.random.default_rng(3))
    assert all(sorted(order) == ["a", "b"] for order in drawn.values())
    assert Counter(drawn.values()) == {("a", "b"): 4, ("b", "a"): 4}


def test_a_draw_needs_two_ways_and_as_many_bins():
    with pytest.raises(EngineError, match="two different ways"):
        allocate({"x": 0, "y": 0}, ["a", "a"], rng=np.random.default_rng(0))
    with pytest.raises(EngineError, match="too few"):
        allocate({"x": 0}, ["a", "b"], rng=np.random.default_rng(0))


@settings(max_examples=25, deadline=None)
@given(st.floats(0.05, 0.4), st.floats(0.1, 0.3), st.sampled_from(["parallel", "paired", "crossover"]))
def test_the_size_is_the_smallest_that_reaches_the_power(sd, margin, kind):
    d, bound = Design(kind=kind, sd=sd), -math.log1p(-margin)
    n = equivalence_size(d, 0.0, -bound, bound)
    assert n is not None
    step = 2 if kind == "crossover" else 1
    assert equivalence_power(0.0, -bound, bound, d.se(n), d.df(n)) >= 0.8
    if n - step >= max(d.least, 2 * step):
        assert equivalence_power(0.0, -bound, bound, d.se(n - step), d.df(n - step)) < 0.8


def test_nothing_can_be_shown_as_good_when_the_truth_lies_at_the_edge():
    assert equivalence_size(Design(kind="parallel", sd=0.2), 0.1, -0.1, 0.1) is None


def test_crossing_over_within_bins_is_cheaper_where_bins_differ():
    plan = {
        "bins": 20,
        "ways": 2,
        "clutches_per_bin_week": 4.0,
        "low": -0.22,
        "high": 0.22,
        "alpha": 0.05,
        "wanted": 0.8,
    }
    spread = Spread(bin_sd=0.15, clutch_sd=0.4)
    apart, crossing = sized("apart", spread, **plan), sized("crossing", spread, **plan)
    assert apart is not None
    assert crossing is not None
    assert crossing.enough
    assert crossing.clutches < apart.clutches
    assert sized("apart", spread, **{**plan, "bins": 3}) is None
    each = crossing.clutches // 40
    assert smallest_margin("crossing", spread, per_way=20, clutches_each=each, alpha=0.05, wanted=0.8) <= 1 - math.exp(
        -0.22
    )


def made_up_units(rng, *, ratio=1.0, bins=8, each=12):
    """A farm's record: both ways in every bin, bins and dates that differ, counts with an error of 20 %."""
    bin_ = np.repeat(np.arange(bins), each)
    date = np.tile(np.arange(each), bins)
    way = (bin_ + date) % 2
    log = 8 + math.log(ratio) * way + rng.normal(0, 0.3, bins)[bin_] + rng.normal(0, 0.2, each)[date]
    log = log + rng.normal(0, 0.25, len(bin_))
    return Units(
        value=np.exp(log), way=np.where(way == 1, "new", "old"), bin=np.char.add("B", bin_.astype(str)),
        date=np.char.add("2031-04-", (date + 10).astype(str)), cv=np.full(len(bin_), 0.2),
    )  # fmt: skip


def test_a_farms_record_gives_back_the_ratio_it_was_made_with():
    found = [judge_units(made_up_units(np.random.default_rng(s), ratio=0.8), "new", "old", RULE) for s in range(5)]
    assert all(r.estimate is not None for r in found)
    assert float(np.mean([r.effect for r in found])) == pytest.approx(0.8, abs=0.05)
    assert sum(r.interval[0] < 0.8 < r.interval[1] for r in found) >= 3
    assert "bins and dates as random effects" in found[0].method


RULE = Rule(ratio=True, low=0.9, high=1 / 0.9)


def test_ways_in_one_bin_each_cannot_be_told_from_the_bins():
    u = made_up_units(np.random.default_rng(4), bins=2)
    split = Units(value=u.value, way=np.where(u.bin == "B0", "new", "old"), bin=u.bin, date=u.date, cv=u.cv)
    r = judge_units(split, "new", "old", RULE)
    assert r.p is None
    assert "cannot be told from one between bins" in r.why


def test_ways_used_one_after_the_other_are_pointed_out():
    u = made_up_units(np.random.default_rng(5))
    late = np.where(u.date >= "2031-04-16", "new", "old")
    r = judge_units(Units(value=u.value, way=late, bin=u.bin, date=u.date, cv=u.cv), "new", "old", RULE)
    assert any("at different times" in x for x in r.remarks)


def test_spreads_of_a_record_are_those_it_was_made_with():
    u = made_up_units(np.random.default_rng(6), bins=40, each=20)
    found = spread_of(u.value, u.bin, u.way)
    assert found.bin_sd == pytest.approx(0.3, abs=0.1)
    assert found.clutch_sd == pytest.approx(math.hypot(0.25, 0.2), abs=0.06)


def test_minutes_are_drawn_to_the_default_until_there_are_many():
    assert learnt([], 2.0).middle == pytest.approx(2.0)
    few, many = learnt([4.0] * 3, 2.0), learnt([4.0, 4.2, 3.8] * 40, 2.0)
    assert few.middle == pytest.approx(math.sqrt(8)), "three timings weigh as much as the default"
    assert 3.8 < many.middle < 4.0
    assert many.middle_interval[1] - many.middle_interval[0] < few.middle_interval[1] - few.middle_interval[0]
    with pytest.raises(EngineError, match="Two timings"):
        learnt([3.0])


def test_set_up_time_is_told_from_the_time_of_each():
    assert set_up_and_each([1, 2, 4, 8], [5, 7, 11, 19]) == pytest.approx((3, 2))
    with pytest.raises(EngineError, match="different sizes"):
        set_up_and_each([2, 2, 2], [5, 6, 7])


def test_minutes_saved_are_worth_their_wage():
    s = Stakes(trays_per_week=60, wage_per_hour=15)
    w = worth(None, Effect(value=2.0, se=1e-9), s, rng=np.random.default_rng(1))
    assert w.gain_per_week[3] == pytest.approx(60 * 2 / 60 * 15)
    assert w.hours_per_week[3] == pytest.approx(2.0)
    assert (w.chance_pays, w.knowing_all) == (1.0, pytest.approx(0.0, abs=1e-6))


def test_eggs_lost_cost_nothing_where_space_is_short():
    ratio, minutes = Effect(value=math.log(0.9), se=0.02), Effect(value=1.0, se=0.1)
    short = Stakes(trays_per_week=60, wage_per_hour=15, output_per_tray=3000, worth_per_output=0.0)
    dear = Stakes(trays_per_week=60, wage_per_hour=15, output_per_tray=3000, worth_per_output=0.002)
    chances = [worth(ratio, minutes, s, rng=np.random.default_rng(2)).chance_pays for s in (short, dear)]
    assert chances == [pytest.approx(1.0), pytest.approx(0.0, abs=0.05)]
    rows = what_if(ratio, minutes, short, wages=[5, 50], worths=[0.001])
    assert rows[0][3] < rows[1][3]


def test_knowing_more_is_worth_less_than_knowing_all_and_more_than_nothing():
    all_ = knowing_all(0.0, 1.0)
    assert all_ == pytest.approx(1 / math.sqrt(2 * math.pi)), "the unit normal loss at nought, by hand"
    some = [knowing_more(0.0, 1.0, e) for e in (10.0, 1.0, 0.1)]
    assert 0 < some[0] < some[1] < some[2] < all_
    assert knowing_all(5.0, 0.1) == pytest.approx(0.0, abs=1e-12), "what is certain already is worth no trial"


def test_knowing_more_agrees_with_drawing_trials():
    """A simulation of 400,000 trials is the witness, give or take 0.001."""
    rng = np.random.default_rng(7)
    truth = rng.normal(0.2, 1.0, 400_000)
    seen = truth + rng.normal(0, 0.7, 400_000)
    after = (0.2 * 0.7**2 + seen) / (1 + 0.7**2)
    assert np.maximum(after, 0).mean() - 0.2 == pytest.approx(knowing_more(0.2, 1.0, 0.7), abs=0.004)
