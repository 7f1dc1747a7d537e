"""Ahead: what may and may not happen in the weeks to come, and the arithmetic of its quantiles."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from chirr.engine.biology.species import SPECIES
from chirr.engine.colony.ahead import QUANTILES, quantiles
from chirr.engine.colony.history import Happening, Kind
from chirr.engine.colony.horizon import EVERY_DAY
from chirr.engine.colony.size_classes import normal_share
from engine.colony.small_farm import DAY, ahead_of, belief_in, clutch, happening, history, lot, steady, stocked

WARM = steady(30.0)


@settings(max_examples=25, deadline=None)
@given(
    st.floats(50, 20_000),
    st.floats(0, 1),
    st.floats(0, 40),
    st.floats(20, 34),
    st.lists(
        st.tuples(
            st.floats(2, 20), st.sampled_from([Kind.COUNT, Kind.DEATHS, Kind.TAKE, Kind.PLACE]), st.floats(1, 500)
        ),
        max_size=4,
    ),
)
def test_alive_never_rises_without_a_stock_or_a_hatch(
    number: float, x: float, adult_days: float, temp_c: float, events: list[tuple[float, Kind, float]]
) -> None:
    facts = [happening(day, kind, quantity=q, log_sd=0.2) for day, kind, q in sorted(events)]
    clocks = steady(temp_c)
    first = stocked(number, x=x, adult_days=adult_days if x >= 1 else 0.0)
    ahead = ahead_of(belief_in(history(21.0, lots=(lot(first, *facts),)), clocks), clocks, draws=60).lots[0]
    assert (np.diff(ahead.alive, axis=0) <= 1e-6 * ahead.alive[:-1] + 1e-6).all()
    assert (ahead.alive >= 0).all()


def test_a_hatch_to_come_brings_a_lot_to_life() -> None:
    farm = history(8.0, lots=(lot(happening(4, Kind.PLACE)),), clutches=(clutch(lot=0),))
    ahead = ahead_of(belief_in(farm, WARM), WARM)
    alive = ahead.lots[0].alive[:, 3]
    assert ahead.lots[0].waiting
    assert alive[0] < 1
    assert alive[10] > 0.5 * ahead.clutches[0].pinheads[3]


def test_an_empty_farm_has_nothing_ahead_on_any_day() -> None:
    ahead = ahead_of(belief_in(history(20.0), WARM), WARM, days=30, draws=50)
    assert (ahead.lots, ahead.clutches) == ((), ())
    assert ahead.stock.kg.shape == ahead.stock.crickets.shape == (3, 31, 50)
    assert not ahead.stock.crickets.any()


def test_size_classes_add_up_to_all_that_are_alive() -> None:
    farm = history(20.0, lots=(lot(stocked(1000, x=0.2)), lot(stocked(500, x=0.7))), clutches=(clutch(),))
    ahead = ahead_of(belief_in(farm, WARM), WARM)
    total, kg = ahead.stock.crickets.sum(axis=0), ahead.stock.kg.sum(axis=0)
    both = ahead.lots[0].alive[0] + ahead.lots[1].alive[0]
    assert np.isclose(np.median(total[0]), both[3], rtol=0.03)
    assert (ahead.stock.crickets >= -1e-2 * total.max()).all()
    assert np.isclose(np.median(kg[0]), ahead.lots[0].kg[0, 3] + ahead.lots[1].kg[0, 3], rtol=0.05)


def test_a_warmer_room_is_ready_sooner() -> None:
    def ready(temp_c: float) -> float:
        clocks = steady(temp_c)
        ahead = ahead_of(belief_in(history(3.0, lots=(lot(stocked(1000, x=0.1)),)), clocks), clocks)
        return float(ahead.lots[0].ready_h[3])

    times = [ready(t) for t in (26.0, 28.0, 30.0, 32.0)]
    assert times == sorted(times, reverse=True)


def test_bands_widen_with_the_time_ahead_and_shrink_with_a_weighing() -> None:
    def lot_of(*more: Happening) -> np.ndarray:
        ahead = ahead_of(belief_in(history(20.0, lots=(lot(stocked(1000), *more),)), WARM), WARM)
        return np.log(ahead.lots[0].mean_mg[:, 5] / ahead.lots[0].mean_mg[:, 1])

    bare, weighed = lot_of(), lot_of(happening(19.9, Kind.WEIGH, quantity=35.0, log_sd=0.02, sample=80))
    assert weighed[0] < 0.4 * bare[0]
    assert weighed[14] < bare[14]
    assert weighed[10] > weighed[0]


@pytest.mark.parametrize("key", SPECIES)
def test_every_species_goes_from_egg_to_harvest(key: str) -> None:
    farm = history(3.0, lots=(lot(happening(2, Kind.PLACE)),), clutches=(clutch(lot=0),))
    ahead = ahead_of(belief_in(farm, WARM, key), WARM, days=90)
    egg_days = (ahead.clutches[0].half_hatched_h[3] - 2.5 * DAY) / DAY
    ready_days = (ahead.lots[0].ready_h[3] - ahead.clutches[0].half_hatched_h[3]) / DAY
    assert 6 < egg_days < 15
    assert 20 < ready_days < 60


def test_quantiles_are_those_of_numpy() -> None:
    draws = np.random.default_rng(4).normal(size=(3, 501))
    np.testing.assert_allclose(quantiles(draws), np.quantile(draws, QUANTILES, axis=1).T, rtol=1e-12)


def test_the_quick_normal_share_is_that_of_scipy_within_two_in_ten_thousand() -> None:
    u = np.linspace(-8, 8, 4001, dtype=np.float32)
    assert np.abs(normal_share(u) - ndtr(u)).max() < 2e-4


def test_the_same_draws_come_from_the_same_seed() -> None:
    farm = history(20.0, lots=(lot(stocked(1000)),), clutches=(clutch(),))
    one, two = (ahead_of(belief_in(farm, WARM), WARM) for _ in range(2))
    np.testing.assert_array_equal(one.stock.crickets, two.stock.crickets)


@pytest.mark.parametrize("x", [0.0, 0.3, 0.7])
def test_days_between_those_worked_out_are_nearly_those_of_every_day_worked_out(x: float) -> None:
    """The other side is the same look ahead with nothing left to a spline; a lot of one age, a tray to hatch."""
    farm = history(14.0, lots=(lot(stocked(900, x=x)),), clutches=(clutch(laid_h=9 * DAY, pulled_h=12 * DAY),))
    belief = belief_in(farm, WARM)
    quick, every = ahead_of(belief, WARM), ahead_of(belief, WARM, strides=EVERY_DAY)
    assert (quick.lots[0].kg != every.lots[0].kg).any()
    for part in ("alive", "mean_mg", "kg"):
        here, there = getattr(quick.lots[0], part), getattr(every.lots[0], part)
        off = np.abs(here - there) / (there + 0.001 * there.max())
        assert np.quantile(off, 0.98) < 0.03
        assert off.max() < 0.1, "two draws near the edge of a band may change places"
    for part in ("crickets", "kg"):
        total, exact = (getattr(a.stock, part).sum(axis=0).mean(axis=1) for a in (quick, every))
        np.testing.assert_allclose(total, exact, rtol=0.005)
