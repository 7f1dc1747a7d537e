"""The day on which to harvest a lot: what a day more gains, eats and costs, and when its bin has yielded most a day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chirr.engine.biology.species import Species

Floats = NDArray[np.float64]

UPKEEP_KG_PER_KG_DAY = (0.02, 0.04, 0.07)
"""Feed that living crickets use in a day even when they gain nothing, kg for each kg live: low, middle, high. From
about 9 W of heat for each kg (4-15, from memory) and about 11 MJ that a kg of feed yields, taken at half for quiet
adults: judgement, no published source."""

TURN_DAYS = 1.0
"""Days in which a bin stands empty between two lots: emptied, cleaned, filled (judgement)."""

_Z90 = 1.645


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """What size classes sell for, from light to heavy, each by the kilogram and by the cricket (one of the two is 0 as
    a rule), shape (classes,); what a kilogram of feed costs, and what a bin costs in a day; in one currency."""

    per_kg: Floats
    per_cricket: Floats
    feed_per_kg: float
    bin_day: float

    def takings(self, number: Floats, kg: Floats) -> Floats:
        """What crickets of shape (classes, days, draws) sell for, shape (days, draws)."""
        return np.asarray(np.tensordot(self.per_kg, kg, axes=1) + np.tensordot(self.per_cricket, number, axes=1))


@dataclass(frozen=True, slots=True, kw_only=True)
class HarvestDays:
    """A growing lot day by day, arrays of shape (days, draws) where day k runs from k to k + 1 days from now.

    gain_kg: live kilograms gained, deaths taken off; feed_kg: feed used; worth: what the lot sells for a day later,
    less what it sells for that day, feed and the bin's day; None without prices. best_kg_day, best_margin_day: shape
    (draws,), days from now at which the bin has yielded most kilograms, and most margin, for each day of its turn.
    margin_per_bin_day: (days + 1, draws).
    """

    gain_kg: Floats
    feed_kg: Floats
    worth: Floats | None
    best_kg_day: Floats
    best_margin_day: Floats | None
    margin_per_bin_day: Floats | None

    @property
    def best_day(self) -> Floats:
        """By margin where there are prices, else by kilograms."""
        return self.best_kg_day if self.best_margin_day is None else self.best_margin_day


def harvest_days(
    number: Floats,
    kg: Floats,
    species: Species,
    rng: np.random.Generator,
    *,
    days_so_far: float,
    prices: Prices | None = None,
) -> HarvestDays:
    """Follow a lot to its best day.

    Parameters
    ----------
    number, kg : ndarray, shape (classes, days + 1, draws)
        Crickets alive and their live mass in each size class, from light to heavy, from now on.
    species : Species
        Its feed conversion is drawn over its range.
    rng : numpy Generator
    days_so_far : float
        Days that the lot has lived in bins until now.
    prices : Prices, optional

    Returns
    -------
    HarvestDays
    """
    takings = None if prices is None else prices.takings(number, kg)
    number, kg = number.sum(axis=0), kg.sum(axis=0)
    draws = kg.shape[1]
    conversion, upkeep = feed_draws(species, draws, rng)
    each = kg / np.maximum(number, 1e-9)
    grown = np.maximum(np.diff(each, axis=0), 0.0) * number[1:]
    middle = 0.5 * (kg[1:] + kg[:-1])
    feed = np.maximum(conversion * grown, upkeep * middle)
    gain = np.diff(kg, axis=0)
    spent_days = days_so_far + np.arange(kg.shape[0])[:, None] + TURN_DAYS
    best_kg = (kg / spent_days).argmax(axis=0).astype(np.float64)
    if prices is None or takings is None:
        return HarvestDays(
            gain_kg=gain, feed_kg=feed, worth=None, best_kg_day=best_kg, best_margin_day=None, margin_per_bin_day=None
        )
    worth = np.diff(takings, axis=0) - prices.feed_per_kg * feed - prices.bin_day
    so_far = takings[0] - prices.feed_per_kg * conversion * kg[0] - prices.bin_day * (days_so_far + TURN_DAYS)
    margin = (so_far + np.concatenate([np.zeros((1, draws)), np.cumsum(worth, axis=0)])) / spent_days
    return HarvestDays(
        gain_kg=gain,
        feed_kg=feed,
        worth=worth,
        best_kg_day=best_kg,
        best_margin_day=margin.argmax(axis=0).astype(np.float64),
        margin_per_bin_day=margin,
    )


def feed_draws(species: Species, draws: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Feed for each kg gained [kg/kg] and for each kg kept a day [kg/kg/day], lognormal over their ranges, (draws,)."""
    table = species.feed_conversion
    low, middle, high = UPKEEP_KG_PER_KG_DAY
    spread = (np.log(high) - np.log(low)) / (2 * _Z90)
    conversion = table.value * np.exp(table.log_sd * rng.standard_normal(draws))
    return np.asarray(conversion), np.asarray(middle * np.exp(spread * rng.standard_normal(draws)))
