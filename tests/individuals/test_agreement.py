"""Thousands of crickets, each simulated alone with SimPy, add up to what the colony code says in closed form.

The outside witness is the discrete-event simulation of `crickets.py` (SimPy 4): it shares with the colony code the
species table and nothing else. Where it says within Monte Carlo error, that is four standard errors of the simulation.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from chirr.engine.biology.species import species
from individuals.crickets import simulate_clutch
from individuals.one_clutch import Floats, OneClutch

EGGS = 5000
DAYS = 92
ERRORS = 4.0

TAKEN_FOR_NORMAL = 0.01
"""The closed form takes log mass for normal and hatch dates for close together; it does so at this cost beyond the
Monte Carlo error, felt around the adult moult."""

HOURS = np.arange(24 * (DAYS + 4))
WAVES = {
    "steady": np.full(len(HOURS), 30.0),
    "daily wave": 29.5 + 1.0 * np.cos(2 * np.pi * HOURS / 24),
    "warming": 27.5 + 3.5 * HOURS / HOURS[-1] + 0.5 * np.cos(2 * np.pi * HOURS / 24),
}
SPECIES_WAVES = [("acheta-domesticus", w) for w in WAVES] + [("gryllus-bimaculatus", "daily wave")]


@cache
def alone(name: str, wave: str, laid_to_h: float, per_cm2: float = 0.0, days: int = DAYS + 2) -> dict[str, Floats]:
    surface = EGGS * species(name).hatch_share.value / per_cm2 if per_cm2 else float("inf")
    air = WAVES[wave][: 24 * days]
    return simulate_clutch(EGGS, 0.0, laid_to_h, air, species(name), np.random.default_rng(21), surface_cm2=surface)


def together(name: str, wave: str, laid_to_h: float, per_cm2: float = 0.0) -> OneClutch:
    one = OneClutch(temperature_c=WAVES[wave], species=species(name), laid_to_h=laid_to_h, surface_cm2=1e12)
    if not per_cm2:
        return one
    pinheads = float(one.belief(0.0).told.clutches.pinheads[0, 0])
    return OneClutch(
        temperature_c=WAVES[wave], species=species(name), laid_to_h=laid_to_h, surface_cm2=pinheads / per_cm2
    )


def worst(days: Floats, off: Floats) -> str:
    """The days that are furthest off, in standard errors."""
    order = np.argsort(-np.abs(off))[:6]
    return ", ".join(f"day {days[i]}: {off[i]:+.1f}" for i in sorted(order))


def alive_error(share: Floats, hatched: int) -> Floats:
    """Standard error of a share of the hatched, at least that of a handful."""
    return np.sqrt(np.maximum(share * (1 - share), 5 / hatched) / hatched)


@pytest.mark.parametrize("laid_to_h", [4.0, 56.0, 120.0])
@pytest.mark.parametrize("wave", WAVES)
def test_the_hatch_curve_of_single_eggs_is_the_closed_form(wave: str, laid_to_h: float) -> None:
    found = alone("acheta-domesticus", wave, laid_to_h, days=30)
    hours = found["hatch_h"]
    said = together("acheta-domesticus", wave, laid_to_h).share_hatched_by(hours)
    seen = (np.arange(len(hours)) + 0.5) / len(hours)
    widest = np.abs(said - seen).max()
    kolmogorov_at_one_in_ten_thousand = 2.23 / np.sqrt(len(hours))
    assert widest < kolmogorov_at_one_in_ten_thousand


@pytest.mark.parametrize(("name", "wave"), SPECIES_WAVES)
def test_alive_by_day_looking_back_agrees_within_monte_carlo_error(name: str, wave: str) -> None:
    found = alone(name, wave, 56.0)
    hatched = len(found["hatch_h"])
    days = np.arange(16, DAYS, 4)
    seen = found["alive"][days] / hatched
    said = together(name, wave, 56.0).looked_back_on(days).alive
    off = (said - seen) / alive_error(said, hatched)
    assert np.abs(off).max() < ERRORS, worst(days, off)


@pytest.mark.parametrize(("name", "wave"), SPECIES_WAVES)
def test_alive_by_day_looking_ahead_agrees_within_monte_carlo_error(
    name: str, wave: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = alone(name, wave, 56.0)
    hatched = len(found["hatch_h"])
    said = together(name, wave, 56.0).looked_ahead_on(5 * 24.0, DAYS - 6, monkeypatch).alive
    days = np.arange(5, 5 + len(said))
    seen = found["alive"][days] / hatched
    off = (said - seen) / alive_error(said, hatched)
    assert np.abs(off).max() < ERRORS, worst(days, off)


@pytest.mark.parametrize("per_cm2", [0.3, 0.6])
def test_a_crowd_loses_as_many_as_its_single_crickets(per_cm2: float) -> None:
    found = alone("acheta-domesticus", "daily wave", 56.0, per_cm2)
    hatched = len(found["hatch_h"])
    days = np.arange(20, 80, 6)
    seen = found["alive"][days] / hatched
    said = together("acheta-domesticus", "daily wave", 56.0, per_cm2).looked_back_on(days).alive
    off = (said - seen) / alive_error(said, hatched)
    assert np.abs(off).max() < ERRORS, worst(days, off)


def mass_off(said: Floats, days: Floats, found: dict[str, Floats]) -> Floats:
    """How far mean masses lie apart, in standard errors of the simulated one and beyond what the closed form costs."""
    apart = np.log(said / found["mean_mg"][days])
    beyond = np.sign(apart) * np.maximum(np.abs(apart) - TAKEN_FOR_NORMAL, 0.0)
    return np.asarray(beyond / (found["mean_mg_error"][days] / found["mean_mg"][days]))


@pytest.mark.parametrize(("name", "wave"), SPECIES_WAVES)
def test_mean_mass_by_day_agrees_within_monte_carlo_error(name: str, wave: str) -> None:
    found = alone(name, wave, 56.0)
    days = np.arange(18, DAYS, 4)
    said = together(name, wave, 56.0).looked_back_on(days).mean_mg
    off = mass_off(said, days, found)
    assert np.abs(off).max() < ERRORS, worst(days, off)


@pytest.mark.parametrize(("name", "wave"), SPECIES_WAVES)
def test_mean_mass_looking_ahead_agrees_within_monte_carlo_error(
    name: str, wave: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = alone(name, wave, 56.0)
    said = together(name, wave, 56.0).looked_ahead_on(5 * 24.0, DAYS - 6, monkeypatch).mean_mg
    days = np.arange(18, DAYS - 1)
    off = mass_off(said[days - 5], days, found)
    assert np.abs(off).max() < ERRORS, worst(days, off)
