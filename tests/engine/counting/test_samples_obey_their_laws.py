"""Samples, packs and the wall: what must hold whatever the numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chirr.engine.counting import packs, sample, wall
from chirr.engine.counting.packs import Transit
from chirr.engine.counting.sample import CannotTell


@given(st.lists(st.tuples(st.integers(1, 300), st.floats(0.5, 200)), min_size=2, max_size=12))
def test_counting_the_whole_bin_leaves_no_error(pairs) -> None:
    counts, masses = zip(*pairs, strict=True)
    found = sample.weigh_and_count(counts, masses, gross_g=sum(masses))
    assert found.total == pytest.approx(sum(counts))
    assert found.se == pytest.approx(0, abs=1e-6 * found.total)


@given(st.floats(0.1, 10), st.lists(st.tuples(st.integers(1, 300), st.floats(0.5, 200)), min_size=2, max_size=12))
def test_weighing_in_other_units_gives_the_same_number(factor, pairs) -> None:
    counts, masses = (np.array(v, float) for v in zip(*pairs, strict=True))
    whole = 5 * masses.sum()
    one = sample.weigh_and_count(counts, masses, whole)
    other = sample.weigh_and_count(counts, masses * factor, whole * factor)
    assert (other.total, other.se) == pytest.approx((one.total, one.se))


def test_the_ratio_estimate_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(1)
    hits = 0
    for _ in range(400):
        crickets_mg = rng.gamma(16, 20, 5000)
        bag = rng.permutation(5000)[: 6 * 50].reshape(6, 50)
        found = sample.weigh_and_count([50] * 6, crickets_mg[bag].sum(1) / 1000, crickets_mg.sum() / 1000)
        hits += found.low <= 5000 <= found.high
    assert 0.85 <= hits / 400 <= 0.97


def test_squares_hold_the_truth_as_often_as_they_say() -> None:
    rng = np.random.default_rng(2)
    hits = 0
    for _ in range(400):
        tray = rng.poisson(rng.gamma(4, 5, 150))
        found = sample.squares(rng.choice(tray, 10, replace=False), 4, 600)
        hits += found.low <= tray.sum() <= found.high
    assert 0.83 <= hits / 400 <= 0.97


def test_counted_cups_say_how_far_the_filled_ones_may_be_out() -> None:
    rng = np.random.default_rng(3)
    hits = 0
    for _ in range(600):
        cup = rng.normal(110, 9, 5 + 20)
        found = sample.cups(cup[:5], 20)
        hits += found.low <= cup[5:].sum() <= found.high
    assert 0.86 <= hits / 600 <= 0.94


def test_more_samples_are_needed_the_closer_one_wants_to_know() -> None:
    found = sample.squares([23, 30, 17, 25], 4, 600)
    needed = [sample.more_samples(found, within) for within in (0.3, 0.1, 0.05)]
    assert needed == sorted(needed)
    assert sample.more_samples(sample.Estimate(total=100, se=0, samples=3)) == 0


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 3000), st.floats(0.5, 0.999), st.floats(0, 0.4), st.floats(0, 0.05))
def test_the_number_packed_is_enough_and_one_less_is_not(wanted, chance, share, sd) -> None:
    transit = Transit(share=share, sd=min(sd, share / 2))
    packed = packs.to_pack(wanted, chance, transit)
    assert packs.chance_enough(packed, wanted, transit) >= chance
    assert packed == wanted or packs.chance_enough(packed - 1, wanted, transit) < chance


def test_consignments_that_differ_call_for_more_to_be_packed() -> None:
    alike, unlike = (packs.to_pack(500, 0.95, Transit(share=0.03, sd=sd)) for sd in (0, 0.02))
    assert unlike > alike


def test_past_consignments_that_differ_by_chance_alone_show_little_spread() -> None:
    rng = np.random.default_rng(4)
    dead = rng.binomial(1000, 0.03, 40)
    assert packs.transit_from_past([1000] * 40, dead).sd < 0.003
    varied = rng.binomial(1000, rng.beta(3, 97, 40))
    assert packs.transit_from_past([1000] * 40, varied).sd == pytest.approx(0.017, abs=0.008)


@pytest.mark.parametrize(
    "ask",
    [
        lambda: sample.weigh_and_count([50], [20], gross_g=300, tare_g=400),
        lambda: sample.weigh_and_count([50], [2000], gross_g=300),
        lambda: sample.weigh_and_count([0], [20], gross_g=300),
        lambda: sample.cups([100], 5),
        lambda: sample.squares([5, 6], 400, 600),
        lambda: sample.share_interval(5, 3),
        lambda: packs.to_pack(10, 0.9, Transit(share=1.0)),
        lambda: packs.transit_from_past([10], [11]),
        lambda: wall.geometric_factor(0, 1, 1),
        lambda: wall.tray_eggs(0, 0.1, wall.geometric_factor(30, 20, 30)),
    ],
)
def test_a_sample_from_which_nothing_can_be_said_is_refused_in_a_sentence(ask) -> None:
    with pytest.raises(CannotTell, match=r"\.$"):
        ask()


def test_the_factor_moves_from_geometry_to_what_the_farm_counted_both_ways() -> None:
    prior = wall.geometric_factor(30, 20, 30)
    rng = np.random.default_rng(5)
    seen = rng.uniform(100, 400, 12)
    true = prior.middle * 2.5
    learnt = wall.learn_factors(seen, seen * true * rng.lognormal(0, 0.2, 12), ["deep"] * 12, {"deep": prior})["deep"]
    assert learnt.middle == pytest.approx(true, rel=0.2)
    assert learnt.log_se < 0.25 * prior.log_se
    assert learnt.trays == 12


def test_a_tray_type_never_counted_leans_on_the_farms_other_types() -> None:
    priors = {"deep": wall.geometric_factor(30, 20, 30), "flat": wall.geometric_factor(40, 30, 40)}
    learnt = wall.learn_factors([100.0] * 6, [100 * priors["deep"].middle * 2] * 6, ["deep"] * 6, priors)
    assert priors["flat"].middle < learnt["flat"].middle < 2 * priors["flat"].middle
    assert learnt["deep"].log_se < learnt["flat"].log_se < priors["flat"].log_se
    assert learnt["flat"].trays == 0


def test_learning_from_nothing_keeps_geometry_and_its_width() -> None:
    prior = wall.geometric_factor(30, 20, 30)
    learnt = wall.learn_factors([], [], [], {"deep": prior})["deep"]
    assert learnt.middle == pytest.approx(prior.middle)
    assert learnt.log_se >= prior.log_se
