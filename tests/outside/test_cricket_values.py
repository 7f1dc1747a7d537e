"""The species table against what publications say of crickets: each value a band, its witness in the docstring."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import trapezoid

from chirr.engine.biology.delays import (
    lognormal_cdf,
    lognormal_quantile,
    sex_clock_factors,
)
from chirr.engine.biology.growth import (
    adult_mass_at_mg,
    feed_eaten_mg,
    instar,
    mean_mass_mg,
    sexed_adult_mass_mg,
)
from chirr.engine.biology.laying import eggs_per_female_day, medium_preference, moisture_preference
from chirr.engine.biology.rates import egg_rate_per_day, nymph_rate_per_day
from chirr.engine.biology.species import species
from chirr.engine.biology.survival import (
    day14_clock,
    mean_adult_life_days,
    nymph_survival,
)

house = species("acheta-domesticus")
banded = species("gryllodes-sigillatus")
two_spotted = species("gryllus-bimaculatus")
ALL = (house, banded, two_spotted)

FIRST = 0.01
"""The first individuals of a group: the first 1 %."""


def egg_days(temp_c, kind):
    return 1 / egg_rate_per_day(temp_c, kind)


def nymph_days(temp_c, kind):
    return 1 / nymph_rate_per_day(temp_c, kind)


def first_hatch_days(temp_c, kind):
    return egg_days(temp_c, kind) * lognormal_quantile(FIRST, 1.0, kind.egg_cv.value)


# --- eggs


def test_house_cricket_eggs_hatch_after_about_13_days_at_30_5_degrees():
    """Clifford, Roe & Woodring 1977: 13 d."""
    assert 12 <= egg_days(30.5, house) <= 14


def test_house_cricket_eggs_start_to_hatch_on_day_12_at_30_degrees():
    """Mitchaothai et al. 2024: 12 d to the onset."""
    assert 11 <= first_hatch_days(30, house) <= 13


def test_house_cricket_eggs_take_about_16_days_in_a_tropical_laboratory():
    """Douan et al. 2020: 16 d at ambient temperature, taken as 27 degC."""
    assert 14 <= egg_days(27, house) <= 18


def test_house_cricket_eggs_average_near_the_pooled_trial():
    """Mitchaothai et al. 2024: 13.70 d pooled over these eight temperatures; the band is derived."""
    assert 13 <= egg_days([23, 25, 27, 29, 30, 31, 32, 33], house).mean() <= 15.5


def test_two_spotted_eggs_start_to_hatch_on_day_6_at_31_degrees():
    """Mitchaothai et al. 2024: onset after 6 d."""
    assert 5.5 <= first_hatch_days(31, two_spotted) <= 7.5
    assert egg_days(31, two_spotted) == pytest.approx(7.2, abs=0.05)


def test_two_spotted_eggs_follow_the_published_degree_days():
    """Magara et al. 2024: T0 15.9, K 108.7; exact arithmetic."""
    assert egg_days([30, 25], two_spotted) == pytest.approx([7.7, 11.9], abs=0.1)


def test_banded_eggs_take_about_10_6_days_at_30_degrees():
    """Gs life history 2025: 10.6 +- 0.5 d."""
    assert 10 <= egg_days(30, banded) <= 11.5


def test_two_spotted_eggs_are_faster_than_banded_and_banded_than_house_cricket():
    """Mitchaothai et al. 2024; Gs life history 2025 (at 30 degC)."""
    temps = np.linspace(23, 33, 101)
    assert (egg_days(temps, two_spotted) < egg_days(temps, banded)).all()
    assert (egg_days(temps, banded) < egg_days(temps, house)).all()


def test_no_egg_hatches_at_10_or_at_40_degrees():
    """Otieno/Magara et al. 2019, on a related farmed cricket."""
    for kind in ALL:
        assert egg_rate_per_day([10, 40], kind).tolist() == [0, 0]


# --- nymphs


def test_house_cricket_nymphs_take_about_49_days_at_28_degrees():
    """Booth & Kiddell 2007: 49 d."""
    assert 44 <= nymph_days(28, house) <= 58


def test_house_cricket_nymphs_take_about_119_days_at_25_degrees():
    """Booth & Kiddell 2007: 119 d, 2.4 times that at 28 degC."""
    assert 85 <= nymph_days(25, house) <= 125
    assert nymph_days(25, house) >= 1.7 * nymph_days(28, house)


def test_house_cricket_nymphs_take_about_a_month_at_32_degrees():
    """Univ. of Illinois: 30-35 d at 90 degF."""
    assert 29 <= nymph_days(32.2, house) <= 37


def test_house_cricket_nymphs_take_twice_as_long_at_80_as_at_90_fahrenheit():
    """Univ. of Illinois: about twice."""
    assert 1.7 <= nymph_days(26.7, house) / nymph_days(32.2, house) <= 2.3


@pytest.mark.parametrize(("temp_c", "week", "low", "high"), [(27, 8, 52, 60), (29, 6, 38, 46)])
def test_house_crickets_gain_most_in_the_published_week(temp_c, week, low, high):
    """Morales-Ramos et al. 2018: peak weekly gain in week 8 at 27 degC, week 6 at 29."""
    days = np.arange(0, 120.01, 0.25)
    mass = mean_mass_mg(days * nymph_rate_per_day(temp_c, house), adult_mass_at_mg(temp_c, house), house)
    assert np.diff(mass[:: 4 * 7]).argmax() + 1 == week
    assert low <= days[np.diff(mass).argmax()] + 0.125 <= high


def test_two_spotted_nymphs_follow_the_published_degree_days():
    """Magara et al. 2024: T0 16.2, K 555.6; exact arithmetic."""
    assert nymph_days([30, 32], two_spotted) == pytest.approx([40.3, 35.2], abs=0.1)


def test_banded_females_moult_from_day_29_and_males_from_day_35_at_30_degrees():
    """Gs life history 2025: first adult female on day 29, first male on day 35."""
    female, male, within = sex_clock_factors(banded)
    first = nymph_days(30, banded) * lognormal_quantile(FIRST, np.array([female, male]), within)
    assert 27 <= first[0] <= 31
    assert 33 <= first[1] <= 37


@pytest.mark.parametrize("temp_c", [28, 29, 30, 31])
def test_house_crickets_are_in_about_the_fourth_instar_at_14_days(temp_c):
    """Mahavidanage et al. 2023: 4th instar at 14 d."""
    assert 3 <= instar(14 * nymph_rate_per_day(temp_c, house), house) <= 5


def test_house_crickets_take_about_two_months_from_egg_to_adult_at_30_degrees():
    """Odhiambo et al.: 66.3 d, which is on the slow side of the other sources."""
    assert 48 <= egg_days(30, house) + nymph_days(30, house) <= 68


@pytest.mark.parametrize("kind", ALL, ids=lambda kind: kind.key)
def test_nymphs_are_fastest_between_32_and_36_degrees(kind):
    """Vadboncoeur et al. 2025 (preprint), Ad and Gs; Magara et al. 2024, Gb."""
    temps = np.linspace(15, 45, 3001)
    rates = nymph_rate_per_day(temps, kind)
    best = rates[(temps >= 32) & (temps <= 36)].max()
    assert best == rates.max()
    assert rates[temps <= 26].max() < 0.9 * best
    assert rates[temps >= 39].max() < 0.9 * best


# --- size and feed


def test_warmer_house_crickets_are_smaller():
    """Booth & Kiddell 2007: 48 mg dry at 28 degC, 61 at 25; ratio 0.787, band 0.7-0.9."""
    assert 0.7 <= adult_mass_at_mg(28, house) / adult_mass_at_mg(25, house) <= 0.9


def test_house_crickets_grow_at_the_published_mean_rate():
    """Booth & Kiddell 2007: 0.51 and 0.99 mg dry a day at 25 and 28 degC, for their strain of 48 mg dry at 28."""
    dry_mg = 48 * adult_mass_at_mg([25, 28], house) / adult_mass_at_mg(28, house)
    growth = dry_mg / nymph_days([25, 28], house)
    assert 0.45 <= growth[0] <= 0.57
    assert 0.9 <= growth[1] <= 1.1


def test_feed_conversion_agrees_with_a_good_diet_and_stays_above_the_floor():
    """Bawa et al. 2020: 1.50-1.81; Nakagaki & DeFoliart 1991: never below 0.92."""
    assert 1.4 <= house.feed_conversion.value <= 1.95
    assert all(kind.feed_conversion.low > kind.feed_conversion_floor.value for kind in ALL)
    assert house.feed_conversion_floor.value < 0.92


def test_most_feed_is_eaten_in_the_last_growth_stage():
    """Akiyama et al. 2024, Gb: 50-68 % in the late stage, read as the last instar; band 45-70."""
    last_instar = 1 - two_spotted.instar_shares.value[-1]
    eaten = feed_eaten_mg(np.array([last_instar, 1.0]), 30, two_spotted)
    assert 0.45 <= 1 - eaten[0] / eaten[1] <= 0.70


def test_banded_females_and_males_have_the_published_masses():
    """Gs life history 2025: 292.0 +- 74.09 and 200.96 +- 34.51 mg."""
    assert sexed_adult_mass_mg(banded) == pytest.approx((292.0, 200.96), rel=0.02)


# --- laying


def test_banded_females_lay_about_28_eggs_a_day_for_30_days():
    """Gs life history 2025: 56.74 per 48 h over 30 d; bands 20-36 a day, 600-1100 in 30 d."""
    for start in (0, banded.pre_oviposition_days.value):
        ages = start + np.arange(0, 30.001, 0.05)
        total = trapezoid(eggs_per_female_day(ages, 30, banded), ages)
        assert 600 <= total <= 1100
        assert 20 <= total / 30 <= 36


def lifetime_eggs(temp_c, kind):
    ages = np.arange(0, 100.001, 0.05)
    return trapezoid(eggs_per_female_day(ages, temp_c, kind), ages)


@pytest.mark.parametrize("temp_c", [26, 28, 30])
def test_house_crickets_lay_600_to_2600_eggs_in_a_lifetime(temp_c):
    """Odhiambo et al. 1360 at 26 degC; Tasee et al. 1795; Univ. of Illinois up to 2600."""
    assert 600 <= lifetime_eggs(temp_c, house) <= 2600
    assert 600 <= house.lifetime_eggs.low < house.lifetime_eggs.high <= 2600


def test_house_crickets_lay_few_eggs_at_18_degrees():
    """Odhiambo et al.: 101 eggs; band below 200."""
    assert lifetime_eggs(18, house) < 200


def test_more_eggs_are_laid_by_night():
    """Tasee et al.: 1059 by night, 688 by day; band 55-67 %."""
    assert house.night_laying_share.value == pytest.approx(1059 / (1059 + 688), abs=5e-4)
    assert 0.55 <= house.night_laying_share.value <= 0.67


def test_half_wet_substrate_is_liked_best():
    """Tasee et al.: 50 % best of 10-70 % with 35.18 % of the eggs."""
    offered = np.arange(10, 80, 10)
    liked = moisture_preference(offered, house)
    assert offered[liked.argmax()] == 50
    assert (liked[[0, 1, 2, 6]] < liked[4]).all()
    assert liked[4] / liked.sum() == pytest.approx(0.3518, abs=0.002)


def test_peat_is_liked_at_least_as_well_as_vermiculite_coir_and_burnt_husk():
    """Tasee et al.: 38.75, 31.97, 22.12, 7.17 % of the eggs when offered together."""
    liked = medium_preference(house)
    assert list(liked.values()) == pytest.approx([0.3875, 0.3197, 0.2212, 0.0717], abs=1e-4)
    assert liked["peat"] >= liked["vermiculite"] >= liked["coir"] > 2 * liked["burnt rice husk"]


# --- survival


def test_most_house_crickets_live_through_grow_out_at_low_density():
    """Takacs et al. 2023: 80-83 % at 25-35 degC; band 75-88."""
    survived = nymph_survival(1.0, 0.09, house) / nymph_survival(day14_clock(house), 0.09, house)
    assert 0.75 <= survived <= 0.88


def test_crowding_costs_house_crickets_their_lives():
    """Density and food-surface study: mortality rises with density. Mahavidanage et al. 2023: significant losses at
    0.47 and 0.93 per cm2; 45 % at 0.93, read as 'reduced by', band at least 25 % below 0.09."""
    survived = nymph_survival(1.0, np.array([0.09, 0.19, 0.47, 0.93]), house)
    assert (np.diff(survived) <= 0).all()
    assert survived[1] == survived[0]
    assert survived[2] < 0.9 * survived[0]
    assert survived[3] <= 0.75 * survived[0]


def test_a_kilogram_of_crickets_gives_a_quarter_kilogram_of_powder():
    """Derived from moisture 68-77 % (Finke 2002): 0.22-0.30 kg."""
    for kind in ALL:
        assert 0.22 <= kind.powder_share.value <= 0.30
        assert kind.powder_share.value < kind.dry_matter_share.value / 0.95


def test_adults_live_shorter_when_warmer():
    """Odhiambo et al.: Ad at 38 degC 20.2 d females, 26.7 males; band 18-30. Longest in the coolest rooms."""
    for kind in ALL:
        assert (np.diff(mean_adult_life_days(np.arange(18, 42), kind)) < 0).all()
    assert 18 <= mean_adult_life_days(38, house) <= 30
    assert mean_adult_life_days(26.7, house) >= 1.2 * mean_adult_life_days(30, house)


def two_spotted_at(days_from_laying):
    """A cohort at 27 degC. The abstract of JoVE 63277 gives ages of 22 and 65 days without saying from when. Counted
    from laying, survival, mass and share of adults all agree with the published degree-days (Magara et al. 2024);
    counted from the hatch, 99 % would be adult on day 65."""
    x = (days_from_laying - egg_days(27, two_spotted)) * nymph_rate_per_day(27, two_spotted)
    return SimpleNamespace(x=x, alive=nymph_survival(x, 0.1, two_spotted))


def test_two_spotted_crickets_survive_from_day_22_to_65_as_published():
    """JoVE 63277, 27 degC: 89 %; band 0.82-0.95."""
    assert 0.82 <= two_spotted_at(65).alive / two_spotted_at(22).alive <= 0.95


def test_two_spotted_crickets_weigh_on_day_65_as_published():
    """JoVE 63277, 27 degC: 0.724 +- 0.190 g; band 0.55-0.90 g."""
    assert 550 <= mean_mass_mg(two_spotted_at(65).x, adult_mass_at_mg(27, two_spotted), two_spotted) <= 900


def test_two_thirds_of_two_spotted_crickets_are_adult_on_day_65():
    """JoVE 63277, 27 degC: 68.2 %; band 55-80 %."""
    female, male, within = sex_clock_factors(two_spotted)
    adult = lognormal_cdf(two_spotted_at(65).x, np.array([female, male]), within).mean()
    assert 0.55 <= adult <= 0.80


def test_heat_and_carbon_dioxide_agree_by_gas_energetics():
    """Derived: W/kg is 0.135 +- 0.015 times g CO2/kg/day at a respiratory quotient of 0.8-1.0."""
    for kind in ALL:
        assert kind.heat_w_per_kg.value / kind.co2_g_per_kg_day.value == pytest.approx(0.135, abs=0.015)
