"""The simulation of single crickets is itself checked, against closed forms that need neither it nor the colony."""

from __future__ import annotations

import numpy as np
import pytest

from chirr.engine.biology.rates import egg_rate_per_day, nymph_rate_per_day
from chirr.engine.biology.species import SPECIES, species
from individuals.crickets import Clock, Insect, simulate_clutch

HOUSE = species("acheta-domesticus")
STEADY_C = np.full(24 * 110, 30.0)


def test_a_clock_reads_and_inverts_itself() -> None:
    clock = Clock(np.array([0.0, 0.0, 0.5, 1.0, 0.0, 2.0]))
    for hour in (2.5, 3.25, 5.5):
        assert clock.when(clock.at(hour)) == pytest.approx(hour)
    assert clock.when(1.0) == float("inf")


@pytest.mark.parametrize("name", SPECIES)
def test_at_a_steady_temperature_the_middle_egg_hatches_after_one_over_the_rate(name: str) -> None:
    kind = species(name)
    found = simulate_clutch(1500, 0.0, 1.0, STEADY_C[: 24 * 40], kind, np.random.default_rng(3))
    days = found["hatch_h"] / 24
    expected = 1 / float(egg_rate_per_day(30.0, kind))
    assert days.mean() == pytest.approx(expected, rel=0.01)
    assert days.std() / days.mean() == pytest.approx(kind.egg_cv.value, rel=0.1)
    share = len(days) / 1500
    assert share == pytest.approx(kind.hatch_share.value, abs=4 * np.sqrt(0.25 / 1500))


def test_as_many_turn_adult_as_the_two_survivals_say() -> None:
    insect = Insect.of(HOUSE, adult_life_days=1e6, nymph_cv=0.05)
    found = simulate_clutch(3000, 0.0, 24.0, STEADY_C, HOUSE, np.random.default_rng(4), insect=insect)
    expected = insect.to_day14 * insect.day14_to_adult
    adults = found["adults"][-1] / len(found["hatch_h"])
    assert adults == pytest.approx(expected, abs=4 * np.sqrt(expected * (1 - expected) / len(found["hatch_h"])))


def test_adults_live_as_long_on_average_as_the_table_says() -> None:
    insect = Insect.of(HOUSE, to_day14=1.0, day14_to_adult=1.0, egg_cv=1e-4, nymph_cv=1e-4, adult_life_days=20.0)
    found = simulate_clutch(1500, 0.0, 0.1, STEADY_C, HOUSE, np.random.default_rng(5), insect=insect)
    adult_day = 1 / float(egg_rate_per_day(30.0, HOUSE)) + 1 / float(nymph_rate_per_day(30.0, HOUSE))
    days_lived = found["alive"][int(adult_day) + 1 :].sum() / len(found["hatch_h"])
    assert days_lived + 0.5 - (adult_day % 1) == pytest.approx(20.0, abs=1.0)


def test_a_crowd_dies_as_the_density_trial_says() -> None:
    """Survival to maturity 31 % lower at 0.47 crickets/cm2: Mahavidanage et al. (2023), J. Orthoptera Res. 32:25-31."""
    changes = {"to_day14": 1.0, "day14_to_adult": 1.0, "hatch_share": 1.0, "adult_life_days": 1e6}
    insect = Insect.of(HOUSE, **changes)
    steady = Insect.of(HOUSE, **changes)
    assert steady.nymph_loss(0.0, 1.0, 0.47) == pytest.approx(-np.log(0.69))
    rng = np.random.default_rng(6)
    tight = simulate_clutch(1500, 0.0, 1.0, STEADY_C, HOUSE, rng, insect=insect, surface_cm2=1500 / 0.47)
    left = tight["adults"][-1] / 1500
    assert 0.69 < left < 0.85, "the crowd thins as some die, so more are left than at a steady density"


def test_the_mean_adult_weighs_what_the_table_says_at_the_reference_temperature() -> None:
    insect = Insect.of(HOUSE, adult_life_days=1e6)
    found = simulate_clutch(3000, 0.0, 24.0, STEADY_C, HOUSE, np.random.default_rng(7), insect=insect)
    error = insect.mass_cv / np.sqrt(found["alive"][-1])
    assert found["mean_mg"][-1] == pytest.approx(insect.adult_mg, rel=4 * error)
