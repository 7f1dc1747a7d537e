"""Laws that hold whatever the numbers in the table."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.biology import delays, growth, laying, rates, survival
from chirr.engine.biology.species import SPECIES, species
from chirr.engine.errors import OutOfRange

kinds = st.sampled_from([species(key) for key in SPECIES])
clocks = st.floats(0, 1.5)
shares = st.floats(0.01, 0.99)
comfortable_c = st.floats(20, 33)
densities = st.floats(0, 5)
each_kind = pytest.mark.parametrize("kind", [species(key) for key in SPECIES], ids=SPECIES)


@given(kinds, comfortable_c, comfortable_c)
def test_warmer_within_20_to_33_degrees_is_never_slower(kind, one, other):
    cool, warm = sorted((one, other))
    for rate in (rates.egg_rate_per_day, rates.nymph_rate_per_day, rates.nymph_linear_rate_per_day):
        assert rate(warm, kind) >= rate(cool, kind) * (1 - 1e-12)


@given(kinds, st.floats(-10, 60))
def test_rates_are_finite_and_never_negative(kind, temp_c):
    for rate in (rates.egg_rate_per_day, rates.nymph_rate_per_day, survival.adult_rate_per_day):
        assert 0 <= rate(temp_c, kind) < 1


@each_kind
def test_nothing_develops_in_the_cold_or_in_deadly_heat(kind):
    for rate in (rates.egg_rate_per_day, rates.nymph_rate_per_day):
        assert rate([-10.0, 5.0, 12.0, 42.0, 60.0], kind).tolist() == [0, 0, 0, 0, 0]


def test_house_crickets_creep_on_in_a_cool_room():
    """Odhiambo et al. report completion at 18 degC, though the curve fitted to warmer rooms would say never."""
    house = species("acheta-domesticus")
    assert rates.nymph_rate_per_day([18.0, 20.0, 22.0], house) == pytest.approx([1 / 250] * 3)
    assert rates.nymph_rate_per_day(24.0, house) > 1 / 250


def test_a_broken_sensor_is_named_with_its_place():
    with pytest.raises(OutOfRange, match=r"temp_c\[1, 0\] is 212; it must lie between -10 and 60. Check the sensor"):
        rates.egg_rate_per_day([[20.0, 21.0], [212.0, 22.0]], species("acheta-domesticus"))


@given(kinds, clocks, clocks, densities)
def test_survival_never_rises_along_the_clock(kind, one, other, density):
    young, old = sorted((one, other))
    assert survival.nymph_survival(old, density, kind) <= survival.nymph_survival(young, density, kind)
    assert survival.adult_survival(old, kind) <= survival.adult_survival(young, kind)


@given(kinds, clocks, densities, densities)
def test_survival_and_mass_never_rise_with_density(kind, x, one, other):
    roomy, crowded = sorted((one, other))
    assert survival.nymph_survival(x, crowded, kind) <= survival.nymph_survival(x, roomy, kind)
    assert survival.density_mass_factor(crowded, kind) <= survival.density_mass_factor(roomy, kind)


@given(kinds, clocks, densities)
def test_survival_is_a_share(kind, x, density):
    assert 0 <= survival.nymph_survival(x, density, kind) <= 1
    assert 0 <= survival.adult_survival(x, kind) <= 1


@each_kind
def test_all_pinheads_live_at_the_hatch_and_all_adults_at_the_moult(kind):
    assert survival.nymph_survival([-0.2, 0.0], 0.9, kind).tolist() == [1, 1]
    assert survival.adult_survival([-0.2, 0.0], kind).tolist() == [1, 1]


@each_kind
def test_a_mean_adult_life_is_one_turn_of_the_adult_clock(kind):
    """The integral of the survival curve is the mean life."""
    clock = np.linspace(0, 6, 60_001)
    assert np.trapezoid(survival.adult_survival(clock, kind), clock) == pytest.approx(1, abs=1e-4)


@given(kinds, st.floats(0.5, 5000))
def test_mass_and_length_are_inverse(kind, mass_mg):
    length = growth.body_length_mm(mass_mg, kind)
    assert growth.mass_of_length_mg(length, kind) == pytest.approx(mass_mg)


@given(kinds, clocks, clocks, comfortable_c)
def test_nymphs_never_shrink(kind, one, other, temp_c):
    young, old = sorted((one, other))
    assert growth.nymph_mass_mg(young, temp_c, kind) <= growth.nymph_mass_mg(old, temp_c, kind)
    assert growth.feed_eaten_mg(young, temp_c, kind) <= growth.feed_eaten_mg(old, temp_c, kind)
    assert growth.instar(young, kind) <= growth.instar(old, kind)


@each_kind
def test_a_nymph_starts_as_a_hatchling_in_the_first_instar_and_ends_as_an_adult(kind):
    adult = float(growth.adult_mass_at_mg(30.0, kind))
    assert growth.nymph_mass_mg([0.0, 1.0], 30.0, kind) == pytest.approx([kind.hatchling_mg.value, adult])
    assert growth.instar([0.0, 0.9999, 1.0], kind).tolist() == [
        1,
        kind.nymph_instars.value,
        kind.nymph_instars.value + 1,
    ]


@given(kinds, clocks, st.floats(0.1, 2000), st.floats(0.1, 2000))
def test_fewer_are_above_a_heavier_mark(kind, x, one, other):
    light, heavy = sorted((one, other))
    adult = kind.adult_mass_mg.value
    low, high = growth.share_heavier(heavy, x, adult, kind), growth.share_heavier(light, x, adult, kind)
    assert 0 <= low <= high <= 1


@given(kinds, clocks)
def test_mean_mass_is_what_the_shares_above_every_mark_add_up_to(kind, x):
    """A second method: the integral over marks of the share above them."""
    marks = np.linspace(0, 4000, 8001)
    shares_above = growth.share_heavier(marks, x, kind.adult_mass_mg.value, kind)
    assert shares_above[0] == 1
    total = np.trapezoid(shares_above, marks)
    assert growth.mean_mass_mg(x, kind.adult_mass_mg.value, kind) == pytest.approx(total, rel=2e-3, abs=0.02)


@each_kind
def test_spread_of_mass_agrees_with_crickets_drawn_one_by_one(kind):
    """A second method: 200,000 individuals, each with its own requirement and its own size."""
    draw = np.random.default_rng(20240611)
    n, x, adult = 200_000, 0.8, kind.adult_mass_mg.value
    log_sd = np.sqrt(np.log1p(np.array([kind.nymph_cv.value, kind.mass_cv.value]) ** 2))
    requirement = np.exp(draw.normal(-(log_sd[0] ** 2) / 2, log_sd[0], n))
    size = np.exp(draw.normal(-(log_sd[1] ** 2) / 2, log_sd[1], n))
    mass = size * growth.growth_curve_mg(x / requirement, kind.hatchling_mg.value, adult, kind.growth_exponent.value)
    assert growth.mean_mass_mg(x, adult, kind) == pytest.approx(mass.mean(), rel=0.01)
    for mark in np.quantile(mass, [0.1, 0.5, 0.9]):
        assert growth.share_heavier(mark, x, adult, kind) == pytest.approx((mass >= mark).mean(), abs=0.01)


@given(kinds, comfortable_c, comfortable_c)
def test_warmer_rooms_never_give_larger_adults(kind, one, other):
    cool, warm = sorted((one, other))
    assert growth.adult_mass_at_mg(warm, kind) <= growth.adult_mass_at_mg(cool, kind)


@given(st.floats(0, 1e4), st.floats(0, 100), st.floats(1, 500), st.floats(0, 0.2))
def test_eggs_in_a_tray_never_exceed_its_room_or_what_was_laid(laid, days, capacity, eating):
    eggs = laying.eggs_per_cm2_in_tray(laid, days, capacity, eating)
    assert 0 <= eggs <= min(capacity, laid * days) * (1 + 1e-9)


def test_a_tray_without_limit_or_eating_keeps_every_egg():
    assert laying.eggs_per_cm2_in_tray(12.0, [0.0, 1.0, 3.0], np.inf, 0.0).tolist() == [0, 12, 36]


def test_eggs_in_a_tray_rise_flatten_and_fall_with_days_in():
    eggs = laying.eggs_per_cm2_in_tray(10.0, np.arange(0, 40.0), 80.0, 0.02)
    steps = np.diff(eggs)
    assert (steps[:5] > 0).all()
    assert steps[4] < steps[0] / 2
    assert steps[-1] < 0


def test_a_wider_tray_holds_more_of_the_same_eggs():
    kind = species("acheta-domesticus")
    small, large = laying.eggs_in_tray(20_000, 3.0, np.array([400.0, 800.0]), kind)
    assert small < large < 2 * small


@given(kinds, st.floats(0, 120), st.floats(0, 50))
def test_no_female_lays_before_her_time_or_above_her_peak(kind, age, temp_c):
    eggs = laying.eggs_per_female_day(age, temp_c, kind)
    assert 0 <= eggs <= kind.eggs_per_female_day_peak.value
    if age <= kind.pre_oviposition_days.value or age >= kind.laying_end_day.value:
        assert eggs == 0


@given(shares, st.floats(0.5, 100), st.floats(0.02, 1.0))
def test_delay_quantiles_and_shares_are_inverse(share, mean, cv):
    assert delays.gamma_cdf(delays.gamma_quantile(share, mean, cv), mean, cv) == pytest.approx(share, abs=1e-7)
    assert delays.lognormal_cdf(delays.lognormal_quantile(share, mean, cv), mean, cv) == pytest.approx(share, abs=1e-7)


@given(kinds, st.floats(-0.5, 2), st.floats(0, 0.5), st.floats(0, 0.3))
def test_hatching_never_goes_back(kind, clock, window, later):
    now = delays.share_hatched(clock, clock + window, kind)
    then = delays.share_hatched(clock + later, clock + window + later, kind)
    assert 0 <= now <= then + 1e-9 <= 1 + 1e-9


@each_kind
def test_both_sexes_together_keep_the_mean_and_the_spread_of_the_table(kind):
    female, male, within = delays.sex_clock_factors(kind)
    p = kind.female_share.value
    assert p * female + (1 - p) * male == pytest.approx(1)
    assert male / female - 1 == pytest.approx(kind.male_slower_share.value)
    assert within**2 + p * (1 - p) * (male - female) ** 2 == pytest.approx(kind.nymph_cv.value**2)


@each_kind
def test_what_is_not_known_stays_unknown(kind):
    missing = np.array([np.nan, 0.5])
    temps = np.array([np.nan, 30.0])
    found = [
        rates.egg_rate_per_day(temps, kind),
        rates.nymph_rate_per_day(temps, kind),
        survival.adult_rate_per_day(temps, kind),
        survival.nymph_survival(missing, 0.1, kind),
        survival.nymph_survival(0.5, missing, kind),
        survival.adult_survival(missing, kind),
        growth.nymph_mass_mg(missing, 30.0, kind),
        growth.nymph_mass_mg(0.5, temps, kind),
        growth.mean_mass_mg(missing, 300.0, kind),
        growth.share_heavier(10.0, missing, 300.0, kind),
        growth.instar(missing, kind),
        growth.body_length_mm(missing, kind),
        laying.eggs_per_female_day(10.0, temps, kind),
        laying.eggs_per_female_day(temps, 30.0, kind),
        laying.eggs_in_tray(missing, 3.0, 400.0, kind),
        delays.share_hatched(missing, missing, kind),
        delays.gamma_cdf(missing, 1.0, 0.1),
    ]
    for result in found:
        assert np.isnan(result[0])
        assert not np.isnan(result[1])


@each_kind
def test_functions_broadcast_draws_against_hours(kind):
    draws, hours = np.linspace(0.8, 1.2, 5)[:, None], np.linspace(18, 36, 7)
    assert (draws * rates.nymph_rate_per_day(hours, kind)).shape == (5, 7)
    assert survival.nymph_survival(draws, np.full(7, 0.3), kind).shape == (5, 7)
    assert growth.share_heavier(np.full(7, 50.0), draws, 300.0, kind).shape == (5, 7)
    assert laying.eggs_per_female_day(draws * 20, hours, kind).shape == (5, 7)
    assert delays.share_hatched(draws - 0.1, draws, kind).shape == (5, 1)
