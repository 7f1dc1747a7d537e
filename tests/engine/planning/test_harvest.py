"""The day to harvest: what a day more brings, and when a bin has yielded most for its days."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.biology.growth import adult_mass_at_mg, mean_mass_mg
from chirr.engine.biology.rates import nymph_rate_per_day
from chirr.engine.biology.species import species
from chirr.engine.planning.harvest import HarvestDays, Prices, harvest_days

HOUSE = "acheta-domesticus"
DRAWS = 60


def grown(
    temp_c: float = 30.0,
    *,
    from_day: int = 0,
    days: int = 110,
    alive: float = 1000.0,
    dying: float = 0.0,
    key: str = HOUSE,
):
    """Number and kilograms of a lot that lives by the published clock from a day of its life on."""
    animal = species(key)
    day = from_day + np.arange(days + 1)
    x = day * nymph_rate_per_day(temp_c, animal)
    mass = mean_mass_mg(x, np.full(len(x), adult_mass_at_mg(temp_c, animal)), animal)
    number = alive * np.exp(-dying * day)
    return tuple(np.repeat(v[None, :, None], DRAWS, axis=2) for v in (number, number * mass / 1e6))


def judged(*, prices: Prices | None = None, from_day: int = 0, key: str = HOUSE, **more: float) -> HarvestDays:
    number, kg = grown(from_day=from_day, key=key, **more)  # type: ignore[arg-type]
    return harvest_days(number, kg, species(key), np.random.default_rng(1), days_so_far=from_day, prices=prices)


def priced(per_kg: float, feed_per_kg: float, bin_day: float) -> Prices:
    """One price for all sizes."""
    return Prices(
        per_kg=np.array([per_kg]), per_cricket=np.zeros(1), feed_per_kg=feed_per_kg, bin_day=bin_day
    )  # fmt: skip


FREE = priced(20.0, 0.0, 0.0)


def test_with_nothing_to_pay_the_best_day_is_that_of_most_kilograms_a_day() -> None:
    d = judged(prices=FREE, dying=0.003)
    assert (d.best_margin_day == d.best_kg_day).all()


def test_the_best_day_is_when_a_day_more_gains_what_the_mean_day_has() -> None:
    """The theorem of the mean: at the top of an average, the marginal equals it."""
    d = judged(dying=0.003)
    kg = grown(dying=0.003)[1][0]
    k = int(d.best_kg_day[0])
    mean = kg[k, 0] / (k + 1.0)
    assert d.gain_kg[k - 1, 0] >= mean >= d.gain_kg[k, 0]


@given(st.floats(0.5, 3.0))
def test_dearer_feed_never_makes_the_harvest_later(price: float) -> None:
    cheap, dear = (judged(prices=priced(15.0, p, 0.1), dying=0.003) for p in (price, price * 2))
    assert np.median(dear.best_margin_day) <= np.median(cheap.best_margin_day)


@given(st.floats(25, 30))
def test_the_warmer_the_sooner_the_harvest(temp_c: float) -> None:
    cooler, warmer = (judged(temp_c=t, dying=0.003).best_kg_day for t in (temp_c, temp_c + 2))
    assert np.median(warmer) < np.median(cooler)


@pytest.mark.parametrize("from_day", [10, 25, 40])
def test_asking_later_gives_the_same_day(from_day: int) -> None:
    first, later = judged(dying=0.003), judged(dying=0.003, from_day=from_day)
    assert later.best_kg_day[0] + from_day == first.best_kg_day[0]


def test_feed_for_growth_follows_the_conversion_and_adults_still_eat() -> None:
    d = judged()
    total = d.feed_kg[:45].sum(axis=0) / d.gain_kg[:45].sum(axis=0)
    assert np.median(total) == pytest.approx(species(HOUSE).feed_conversion.value, rel=0.2)
    assert (d.feed_kg[-1] > 0).all()
    assert d.gain_kg[-1] == pytest.approx(0.0, abs=1e-6)


def test_a_dying_lot_is_worth_less_each_day() -> None:
    prices = priced(15.0, 1.0, 0.2)
    well, ill = judged(prices=prices, dying=0.0), judged(prices=prices, dying=0.02)
    assert well.worth is not None
    assert ill.worth is not None
    assert (ill.worth[20:60] < well.worth[20:60]).all()


def in_two_classes(bound_mg: float):
    """The usual lot, all of it in the lower class until its mean mass reaches a bound, then all in the upper one."""
    number, kg = grown(dying=0.003)
    large = kg * 1e6 >= bound_mg * number
    return (np.concatenate([np.where(large, 0.0, v), np.where(large, v, 0.0)]) for v in (number, kg))


def two_prices(*, per_kg: tuple[float, float] = (0.0, 0.0), per_cricket: tuple[float, float] = (0.0, 0.0)) -> Prices:
    return Prices(per_kg=np.array(per_kg), per_cricket=np.array(per_cricket), feed_per_kg=0.0, bin_day=0.0)


def days_of(prices: Prices, bound_mg: float) -> HarvestDays:
    number, kg = in_two_classes(bound_mg)
    return harvest_days(number, kg, species(HOUSE), np.random.default_rng(1), days_so_far=0.0, prices=prices)


def test_one_price_for_all_classes_is_one_price() -> None:
    split = days_of(two_prices(per_kg=(20.0, 20.0)), 100.0)
    whole = judged(prices=FREE, dying=0.003)
    assert split.worth is not None
    assert whole.worth is not None
    np.testing.assert_allclose(split.worth, whole.worth)
    np.testing.assert_allclose(split.feed_kg, whole.feed_kg)


@pytest.mark.parametrize("bound_mg", [60.0, 150.0])
def test_where_only_small_ones_sell_the_harvest_waits_for_the_last_small_day_and_not_longer(bound_mg: float) -> None:
    number, kg = grown(dying=0.003)
    last_small = int((kg[0, :, 0] * 1e6 < bound_mg * number[0, :, 0]).sum()) - 1
    best = days_of(two_prices(per_kg=(20.0, 0.0)), bound_mg).best_margin_day
    assert best is not None
    assert (best == last_small).all()


def test_sold_by_the_thousand_a_lot_goes_as_soon_as_it_is_of_the_dear_class() -> None:
    """By number a day more within a class sells for no more, and some die: the day on which it begins is best."""
    number, kg = grown(dying=0.003)
    first_large = int((kg[0, :, 0] * 1e6 < 100.0 * number[0, :, 0]).sum())
    best = days_of(two_prices(per_cricket=(0.0, 0.03)), 100.0).best_margin_day
    assert best is not None
    assert (best == first_large).all()


def test_a_day_more_is_worth_what_the_lot_sells_for_a_day_later_less_what_it_sells_for_today() -> None:
    """A thousand crickets at 30 a thousand that turn into a class of 50 a thousand: 20 more, but for those that die."""
    d = days_of(two_prices(per_cricket=(0.03, 0.05)), 100.0)
    assert d.worth is not None
    number = grown(dying=0.003)[0][0, :, 0]
    first_large = int(d.worth[:, 0].argmax()) + 1
    assert d.worth[first_large - 1, 0] == pytest.approx(0.05 * number[first_large] - 0.03 * number[first_large - 1])


def test_an_empty_lot_stays_finite() -> None:
    none = np.zeros((1, 31, DRAWS))
    d = harvest_days(none, none, species(HOUSE), np.random.default_rng(1), days_so_far=0.0, prices=FREE)
    assert np.isfinite(d.gain_kg).all()
    assert np.isfinite(d.feed_kg).all()
