"""Breeders: what age does to laying, when a lot has had its day, and how far ahead its followers must be begun."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.biology.species import SPECIES, species
from chirr.engine.biology.survival import adult_survival
from chirr.engine.colony.clocks import make_clocks
from chirr.engine.planning.breeders import (
    Ages,
    adults_left,
    breeders_ahead,
    cold_nights,
    life_course,
    renewal_age,
    replacement,
    spent_age,
    temperature_behind,
)
from chirr.engine.planning.laying import farm_draws
from chirr.engine.planning.lot_draws import lot_draws
from engine.colony.small_farm import HOUSE, belief_in, history, lot, steady, stocked

ANIMAL = species(HOUSE)
DRAWS = 400


def ages_of(key: str = HOUSE) -> Ages:
    """With nothing in the book."""
    return Ages.of(
        farm_draws(belief_in(history(2.0), steady(30.0), key), DRAWS, np.random.default_rng(1)), species(key)
    )


def ahead_at(temp_c: float, *, adult_days: float = 5.0, x: float = 1.0, yields: tuple[float, ...] = ()):
    """A thousand breeders stocked on day 1 of a room at one temperature, seen on day 2."""
    farm = history(2.0, lots=(lot(stocked(1000, x=x, adult_days=adult_days)),))
    clocks = steady(temp_c)
    lots = np.array([0])
    (draws,) = lot_draws(belief_in(farm, clocks), clocks, lots, days=60, draws=DRAWS, rng=np.random.default_rng(2))
    return breeders_ahead(draws, ANIMAL, ages_of(), warmth=1.0, trays=1.0, yields=yields)


@pytest.mark.parametrize("key", SPECIES)
def test_a_lot_lays_nothing_young_peaks_and_is_spent_before_it_ends(key: str) -> None:
    age, course = life_course(ages_of(key), np.full(DRAWS, np.log(species(key).adult_longevity_days.value)), 3.0)
    peak, spent = age[course.argmax(axis=0)], spent_age(age, course)
    assert (np.median(course[age < 2], axis=1) < 0.05 * np.median(course.max(axis=0))).all()
    assert (spent > peak).all()
    assert (np.diff(course[course.shape[0] // 2 :], axis=0) <= 1e-12).all()


def test_half_of_the_peak_falls_within_the_two_to_four_weeks_of_laying_that_growers_allow() -> None:
    """Breeders go after 2-4 weeks of laying: common practice, no published source; a few days' grace for the band."""
    age, course = life_course(ages_of(), np.full(DRAWS, np.log(ANIMAL.adult_longevity_days.value)), 3.0)
    laying = np.stack([f(age, course) for f in (spent_age, renewal_age)]) - ages_of().first_day
    low, high = np.quantile(laying, (0.1, 0.9))
    assert low > 14 - 4
    assert high < 28 + 4


def test_renewing_at_the_found_age_beats_renewing_sooner_or_later() -> None:
    age, course = life_course(ages_of(), np.full(DRAWS, np.log(40.0)), 3.0)
    best = renewal_age(age, course)

    def per_bin_day(at: np.ndarray) -> np.ndarray:
        k = np.clip(np.searchsorted(age, at), 0, len(age) - 1)
        return np.cumsum(course, axis=0)[k, np.arange(DRAWS)] / (at + 1.0)

    assert (per_bin_day(best) >= per_bin_day(best + 4) - 1e-9).all()
    assert (per_bin_day(best) >= per_bin_day(best - 4) - 1e-9).all()


def test_a_longer_empty_turn_never_makes_renewal_earlier() -> None:
    age, course = life_course(ages_of(), np.full(DRAWS, np.log(40.0)), 3.0)
    assert (renewal_age(age, course, turn_days=6.0) >= renewal_age(age, course, turn_days=1.0)).all()


@given(st.floats(24, 31))
def test_the_warmer_the_sooner_a_lot_has_had_its_day(temp_c: float) -> None:
    cooler, warmer = ahead_at(temp_c), ahead_at(temp_c + 2)
    assert np.median(warmer.retire_day) < np.median(cooler.retire_day)


def test_eggs_a_day_at_todays_age_are_those_of_today() -> None:
    b = ahead_at(30.0, adult_days=14.0)
    at_now = b.eggs_at_age[np.searchsorted(b.ages, 15.0)]
    np.testing.assert_allclose(np.median(at_now), np.median(b.eggs_per_day[0]), rtol=0.1)


def test_nymphs_lay_later_than_adults() -> None:
    nymphs = ahead_at(30.0, x=0.7, adult_days=0.0)
    assert np.median(nymphs.retire_day) > np.median(ahead_at(30.0).retire_day) + 8
    assert (nymphs.eggs_per_day[:3] == 0).all()
    assert (nymphs.eggs_per_day[:5].mean(axis=1) < 0.02 * nymphs.eggs_per_day.mean(axis=1).max()).all()


def test_adults_left_agree_with_the_species_own_survival() -> None:
    mean = ANIMAL.adult_longevity_days.value
    ages = np.array([0.0, 10.0, 40.0, 60.0])
    left = adults_left(ages, np.log(mean), ANIMAL.longevity_shape.value)
    np.testing.assert_allclose(left, adult_survival(ages / mean, ANIMAL))


def test_followers_are_laid_before_they_hatch_before_they_are_adult_before_they_lay() -> None:
    retire = np.full(DRAWS, 30.0)
    back = replacement(
        retire, ages_of(), nymph_days=np.full(DRAWS, 45.0), egg_days=np.full(DRAWS, 12.0), adult_days_per_day=1.0
    )
    assert (back.laid < back.hatched).all()
    assert (back.hatched < back.adult).all()
    assert (back.adult < back.lays).all()
    np.testing.assert_allclose(back.adult - back.laid, 57.0)


def test_nights_near_eighteen_degrees_are_cold_and_warm_ones_are_not() -> None:
    assert cold_nights(np.array([17.5, 18.3, 22.0, 29.0]), ANIMAL).tolist() == [True, True, False, False]


@given(st.lists(st.floats(5, 45), min_size=1, max_size=50))
def test_the_ageing_clock_tells_the_temperature_it_was_made_from(temps: list[float]) -> None:
    for key in SPECIES:
        clocks = make_clocks(np.array([temps]), species(key))
        told = temperature_behind(np.diff(clocks.sums[4, 0]), species(key))
        np.testing.assert_allclose(told, temps, atol=1e-6)


def test_trays_below_half_of_the_best_end_a_lot_now_whatever_its_age() -> None:
    assert float(np.median(ahead_at(29.0).retire_day)) > 5
    spent = ahead_at(29.0, yields=(900, 1000, 420, 460))
    assert spent.trays_share == pytest.approx(0.44)
    assert (spent.retire_day <= 0).all()
    for too_few_or_once in ((1000, 400), (900, 1000, 900, 300)):
        assert ahead_at(29.0, yields=too_few_or_once).trays_share is None


def test_lots_drawn_together_share_the_farms_level_and_keep_their_own_numbers() -> None:
    farm = history(2.0, lots=tuple(lot(stocked(n, x=1.0, adult_days=5.0)) for n in (1000, 300)))
    clocks = steady(29.0)
    rng = np.random.default_rng(2)
    big, small = lot_draws(belief_in(farm, clocks), clocks, np.array([0, 1]), days=60, draws=DRAWS, rng=rng)
    assert big.farm is small.farm
    assert np.median(big.number[0]) == pytest.approx(1000, rel=0.1)
    assert np.median(small.number[0]) == pytest.approx(300, rel=0.1)
