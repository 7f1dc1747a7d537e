"""Eggs in a tray against the days it is left in, and how many trays a bin deserves, as draws of the farm's belief.

The curve is the law that belief itself is fitted with (`eggs_per_cm2_in_tray`): its level, the filling up, how fast
eggs are eaten and what a tray type does are all the farm's own, learnt from its trays left in shorter and longer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chirr.engine.biology.laying import eggs_per_cm2_in_tray
from chirr.engine.biology.species import Species
from chirr.engine.colony.belief import Belief, draw
from chirr.engine.colony.latents import FarmLevel, farm_level
from chirr.engine.colony.walk import clutches_of, laying_at

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EGG_COUNT, PINHEAD_COUNT = 3, 4
"""Kinds of fact, as `Facts.what` numbers them."""

USUAL_AGES = np.arange(7.0, 36.0)
"""Adult days over which breeders usually lay, where no tray says how old they are: two to four weeks of laying (common
practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayingDraws:
    """What says how a tray fills, each of shape (draws,).

    offered_per_female_day: eggs that one female lays in a day, into all trays of her bin together, at her best age and
    warmth; capacity_per_cm2; eating_per_day2; level: factor on what then stands in a tray of this type.
    """

    offered_per_female_day: Floats
    capacity_per_cm2: Floats
    eating_per_day2: Floats
    level: Floats


def usual_vigour(belief: Belief, farm: FarmLevel) -> Floats:
    """Laying of the farm's breeders relative to the best age and warmth: the median of its latest trays, (draws,).

    By the farm's own ages of laying, in the same draws as the eggs for each female: the two are known together better
    than apart. Where the farm has no tray, of the usual ages.
    """
    laid, animal = belief.laid, belief.bio.species
    if not len(laid.age_days):
        return np.asarray(laying_at(USUAL_AGES, farm, animal).mean(axis=0))
    latest = np.argsort(belief.arrays.laid_h)[-60:]
    return np.asarray(
        np.median(laying_at(laid.age_days[latest], farm, animal) * laid.warmth_factor[latest, None], axis=0)
    )


def laying_draws(farm: FarmLevel, *, trays: float, tray_type: int) -> LayingDraws:
    """How a tray of one type fills on this farm.

    Parameters
    ----------
    farm : FarmLevel
        In joint draws, as `farm_draws` gives them.
    trays : float
        How many trays stand in one of its breeding bins together.
    tray_type : int
        Index of the type; -1 for one the farm does not know.

    Returns
    -------
    LayingDraws
        With nothing counted, the published values and their ranges.
    """
    of_type = farm.tray_type[tray_type] if 0 <= tray_type < len(farm.tray_type) else 0.0 * farm.eggs_per_female_day
    return LayingDraws(
        offered_per_female_day=farm.eggs_per_female_day * trays,
        capacity_per_cm2=farm.capacity_per_cm2,
        eating_per_day2=farm.eating_per_day2,
        level=np.exp(of_type),
    )


def farm_draws(belief: Belief, draws: int, rng: np.random.Generator) -> FarmLevel:
    """The farm's own level in joint draws."""
    z = draw(belief, draws, rng, lots=np.zeros(belief.latents.lot.shape[1], dtype=bool))
    return farm_level(z, belief.latents, belief.bio.species)


def eggs_left(
    d: LayingDraws, *, females: float, vigour: float | Floats, area_cm2: float, trays: float, days: Floats
) -> Floats:
    """Eggs in one of several equal trays of a bin that share its females, shape (days, draws).

    Parameters
    ----------
    d : LayingDraws
    females : float
        Females in the bin.
    vigour : float or ndarray, shape (draws,)
        Their age factor times warmth factor, 0 to 1.
    area_cm2 : float
        Surface of one tray.
    trays : float
        Equal trays in the bin together, > 0.
    days : ndarray, shape (days,)
        Days left in.

    Returns
    -------
    ndarray
        A usual tray of its type: half of them hold more.
    """
    offered = d.offered_per_female_day * females * vigour / (trays * area_cm2)
    per_cm2 = eggs_per_cm2_in_tray(offered, np.asarray(days)[:, None], d.capacity_per_cm2, d.eating_per_day2)
    return np.asarray(area_cm2 * per_cm2 * d.level)


def longest_days(temp_c: float, egg_log_speed: Floats, species: Species, *, most: int = 10) -> int:
    """Whole days that a tray can stay in a bin and still be out a day before its first pinheads, with 19 chances in 20.

    egg_log_speed: the farm's, shape (draws,). Adults eat hatchlings (common practice).
    """
    from chirr.engine.biology.rates import egg_rate_per_day

    rate = float(egg_rate_per_day(temp_c, species))
    if rate <= 0:
        return most
    first = (1 - 2.33 * species.egg_cv.value) / (rate * np.exp(egg_log_speed))
    return int(np.clip(np.floor(np.quantile(first, 0.05)) - 1, 2, most))


@dataclass(frozen=True, slots=True, kw_only=True)
class CountedTrays:
    """Trays whose eggs or pinheads were counted: index of the clutch, and the count over what was to be expected of a
    usual tray of its type with its breeders and days in; shape (counts,)."""

    clutch: Ints
    ratio: Floats


def counted_trays(belief: Belief) -> CountedTrays:
    """Every counted tray beside its expectation at the best fit, to be drawn along any curve."""
    facts = belief.facts
    rows = np.flatnonzero(np.isin(facts.what, (EGG_COUNT, PINHEAD_COUNT)))
    level = belief.mode.copy()
    level[belief.latents.clutch] = 0.0
    farm = farm_level(level[:, None], belief.latents, belief.bio.species)
    every = np.arange(len(belief.arrays.lot))
    told = clutches_of(level[:, None], farm, belief.latents, belief.arrays, belief.laid, belief.bio, only=every)
    c, eggs = facts.row[rows], facts.what[rows] == EGG_COUNT
    expected = np.where(eggs, told.eggs[c, 0] * np.exp(farm.seen[0]), told.pinheads[c, 0] * np.exp(farm.seen[1]))
    return CountedTrays(clutch=c, ratio=np.asarray(np.exp(facts.value[rows]) / expected))
