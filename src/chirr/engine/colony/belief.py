"""Learning from the book: the unknowns that fit published values and the farm's own facts together.

On the log scale the model is close to linear and its errors close to normal, so belief is a normal distribution: its
mode is found by damped Gauss-Newton steps with derivatives taken through the walk itself, its precision is the
curvature there. A fact far from all others pulls with less and less weight and is named (Student t errors).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chirr.engine.biology.laying import after_cold
from chirr.engine.biology.species import Species
from chirr.engine.colony.approach import from_afar, from_near
from chirr.engine.colony.arrow import Arrow
from chirr.engine.colony.clocks import Clocks
from chirr.engine.colony.facts import Facts, gather
from chirr.engine.colony.history import FarmHistory
from chirr.engine.colony.latents import Latents, make_latents, rescaled
from chirr.engine.colony.learnt import Learnt, start_at
from chirr.engine.colony.schedule import ClutchArrays, Schedule, clutch_arrays, make_schedule
from chirr.engine.colony.search import FarmPrior, Point, Search
from chirr.engine.colony.walk import Biology, Laid, Told

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ODD_BEYOND = 4.0
"""A fact this many spreads from what the rest says is named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Odd:
    """A fact that does not go with the rest: its entry, and how many spreads it lies off."""

    entry: str
    spreads: float


@dataclass(kw_only=True)
class Belief:
    """What the facts leave open: mode and precision of the unknowns, and what is needed to run them on.

    weight: how much each fact still pulls; off: how many spreads it lies from what is believed, shape (facts,).
    """

    mode: Floats
    precision: Any
    jacobian: Any
    weight: Floats
    off: Floats
    family: Ints
    latents: Latents
    schedule: Schedule
    arrays: ClutchArrays
    laid: Laid
    bio: Biology
    history: FarmHistory
    facts: Facts
    told: Told
    odd: tuple[Odd, ...]

    @cached_property
    def arrow(self) -> Arrow:
        """Its precision taken apart once, for all that is drawn from it or explained by it."""
        return Arrow(self.precision, self.family)


def believe(
    history: FarmHistory,
    clocks: Clocks,
    clutch_temp_c: Floats,
    species: Species,
    *,
    learnt: Learnt | None = None,
    farm_prior: FarmPrior | None = None,
) -> Belief:
    """Form belief from a farm's history.

    Parameters
    ----------
    history : FarmHistory
    clocks : Clocks
        Clocks of its places.
    clutch_temp_c : ndarray, shape (clutches,)
        Mean temperature while each tray was in its breeding bin [degC].
    species : Species
    learnt : Learnt, optional
        Where an earlier search of this farm ended; this one starts there and is soon done.
    farm_prior : FarmPrior, optional
        What is known of the farm's level without these lots, where they are only some of the farm's; then the spreads
        between lots are those learnt.

    Returns
    -------
    Belief
        With no facts at all, the published values and their spreads.
    """
    bio = Biology.of(species)
    cv = species.egg_cv.value
    arrays = clutch_arrays(history, clocks, egg_cv=cv)
    schedule = make_schedule(history, arrays, clocks, egg_cv=cv)
    latents = make_latents(history, schedule)
    facts = gather(history, arrays, schedule, egg_cv=cv)
    warmth = np.interp(clutch_temp_c, species.laying_at_temperature.at, species.laying_at_temperature.value)
    warmth = warmth * after_cold([c.since_cold_days for c in history.clutches], species)
    laid = Laid(
        females=arrays.area_cm2.copy(),
        age_days=np.full(len(arrays.laid_h), np.nan),
        warmth_factor=np.maximum(warmth, 0.02),
    )
    if learnt is not None and len(learnt.clutch) == len(latents.clutch_sd) and len(learnt.lot) == len(latents.lot_sd):
        latents = rescaled(latents, np.array(learnt.clutch), np.array(learnt.lot))
    search = Search(latents, schedule, arrays, bio, facts, laid, farm_prior)
    if learnt is None:
        return belief_at(*from_afar(search), history)
    then = learnt.facts if farm_prior is None else len(facts.what)
    return belief_at(*from_near(search, start_at(learnt, history, schedule, latents), facts_then=then), history)


def belief_at(search: Search, point: Point, history: FarmHistory) -> Belief:
    """Belief where a search has ended: the point it came to, and the curvature there."""
    far = np.flatnonzero(np.abs(point.off) > ODD_BEYOND)
    sure = search.as_sure_as_tails_allow(point)
    return Belief(
        mode=point.z, precision=search.precision(sure),
        jacobian=sure.jacobian.sparse(), weight=sure.curve, off=sure.off,
        family=search.family,
        latents=search.latents, schedule=search.schedule, arrays=search.arrays, laid=search.laid, bio=search.bio,
        history=history, facts=search.facts, told=search.tell(point.z),
        odd=tuple(Odd(entry=search.facts.entry[i], spreads=float(point.off[i])) for i in far),
    )  # fmt: skip


class Drawn:
    """Joint draws of a belief's unknowns: the farm's level drawn once, each family when it is asked for.

    Given the farm's level, lots that share no crickets are independent, so what is left out changes nothing.
    """

    def __init__(self, belief: Belief, draws: int, rng: np.random.Generator) -> None:
        self.belief, self.draws = belief, draws
        self.farm = belief.arrow.draw_farm(draws, rng)

    def families(self, wanted: Ints | None, rng: np.random.Generator) -> Floats:
        """The farm's level and some families (default all), shape (latents, draws); the others are left at 0."""
        out = np.zeros((len(self.belief.mode), self.draws))
        out[: len(self.farm)] = self.belief.mode[: len(self.farm), None] + self.farm
        for member, own in self.belief.arrow.draw_families(self.farm, rng, wanted):
            out[member] = self.belief.mode[member, None] + own
        return out


def draw(belief: Belief, draws: int, rng: np.random.Generator, *, lots: NDArray[np.bool_] | None = None) -> Floats:
    """Joint draws of the unknowns, shape (latents, draws).

    Parameters
    ----------
    belief : Belief
    draws : int
    rng : numpy Generator
    lots : ndarray of bool, shape (lots,), optional
        Lots whose unknowns are wanted (with their parents), and those of clutches that have joined no lot yet; the
        others keep their mode.

    Returns
    -------
    ndarray
    """
    if lots is None:
        return Drawn(belief, draws, rng).families(None, rng)
    loose = np.flatnonzero(~belief.arrays.arrived)
    families = families_of(belief, np.flatnonzero(lots), loose)
    out = Drawn(belief, draws, rng).families(families, rng)
    others = (belief.family >= 0) & ~np.isin(belief.family, families)
    out[others] = belief.mode[others, None]
    return out


def families_of(belief: Belief, lots: Ints, clutches: Ints) -> Ints:
    """Families that bear on some lots and clutches, given by number."""
    bearing = [belief.latents.families.bearing[i] for i in lots]
    return np.unique(belief.family[np.concatenate([belief.latents.clutch[:, clutches].ravel(), *bearing])])
