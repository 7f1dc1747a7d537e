"""How a search is brought to its end: from afar, or from where an earlier one ended.

From afar every fact is blurred at first, so that none leads astray by looking odd from the start. On a farm with very
many facts a few families show the way: the farm's level and the spreads come out nearly as from all of them, and
from there each family is soon at its own best.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.latents import prior_spreads, rescaled
from chirr.engine.colony.search import NEAR_ENOUGH_TO_GO_ON, Point, Search
from chirr.engine.colony.spreads import learnt_factors

Floats = NDArray[np.float64]

SPREAD_AGAIN = 0.02
"""Spreads are learnt anew when the number of facts has changed by this share."""

BLURS, _FINE_STEPS, _FEW_STEPS = (6.0, 2.0), 8, 3
"""The search begins with every fact's spread multiplied by these in turn, then takes at most so many steps more."""

SPREAD_ROUNDS, SPREAD_FROM, _SAME_SPREAD = 2, 30, 0.02
"""Rounds in which spreads are learnt, facts from which on they are; a smaller change is left alone."""

MANY_FACTS, FEW_FACTS = 8000, 3000
"""With more facts than the first, families that hold the second show the way."""


def from_afar(search: Search) -> tuple[Search, Point]:
    """From the published values to the best fit."""
    if len(search.facts.what) > MANY_FACTS:
        few, point = _toward(_with_few_facts(search))
        search = search.with_spreads_of(few)
        for _ in range(_FEW_STEPS):
            point = search.climb(search.look(point.z), steps=1)
            search.who_laid_at(point.z)
        search, point = _nearer(search, point.z, spread_rounds=1, near=NEAR_ENOUGH_TO_GO_ON)
    else:
        search, point = _toward(search)
    search.who_laid_at(point.z)
    return search, search.climb(search.look(point.z), steps=_FINE_STEPS)


def from_near(search: Search, z: Floats, *, facts_then: int) -> tuple[Search, Point]:
    """From where an earlier search ended, when there were so many facts, to the best fit now."""
    search.who_laid_at(z)
    change = abs(len(search.facts.what) - facts_then)
    rounds = int(change > SPREAD_AGAIN * len(search.facts.what))
    return _nearer(search, z, spread_rounds=rounds, near=None)


def _toward(search: Search) -> tuple[Search, Point]:
    z = np.zeros(search.latents.size)
    for _ in range(2):
        search.who_laid_at(z)
    for blur in BLURS:
        point = search.climb(search.look(z, blur=blur), blur=blur, steps=1)
        search.who_laid_at(point.z)
        z = point.z
    rounds = SPREAD_ROUNDS if len(search.facts.what) >= SPREAD_FROM else 0
    near = NEAR_ENOUGH_TO_GO_ON if rounds else None
    return _nearer(search, z, spread_rounds=rounds, near=near, again=_FEW_STEPS)


def _nearer(
    search: Search, z: Floats, *, spread_rounds: int, near: float | None, again: int = _FINE_STEPS
) -> tuple[Search, Point]:
    """On from a start; `near` where another search follows, `again`: most steps once accidents are believed."""
    rounds = spread_rounds if len(search.facts.what) >= SPREAD_FROM else 0
    before = NEAR_ENOUGH_TO_GO_ON if rounds else near
    point = search.climb(search.look(z), steps=_FINE_STEPS, near=before)
    point = search.climb(search.believe_accidents(point), steps=again, near=before)
    for _ in range(rounds):
        search, point = _with_learnt_spreads(search, point, near)
    return search, point


def _with_few_facts(search: Search) -> Search:
    """The same search on the facts of some families, picked by chance."""
    families, facts = np.unique(search.fact_family, return_counts=True)
    order = np.random.default_rng(1).permutation(len(families))
    few = families[order[: int(np.searchsorted(np.cumsum(facts[order]), FEW_FACTS)) + 1]]
    return search.with_facts(np.flatnonzero(np.isin(search.fact_family, few)))


def _with_learnt_spreads(search: Search, point: Point, near: float | None) -> tuple[Search, Point]:
    """The search and its point under the spreads that the facts show, where they differ from those in use."""
    latents = search.latents
    prior = prior_spreads()
    used = [
        now[:, 0] / first if now.shape[1] else np.ones(len(first))
        for now, first in zip((latents.clutch_sd, latents.lot_sd), prior, strict=True)
    ]
    found = learnt_factors(search, point, used[0], used[1])
    change = [new / old for new, old in zip(found, used, strict=True)]
    if all((np.abs(c - 1) < _SAME_SPREAD).all() for c in change):
        return search, point
    start = point.z.copy()
    for row, factor in zip((*latents.clutch, *latents.lot), np.concatenate(change), strict=True):
        start[row[row >= 0]] /= factor
    new = search.with_latents(rescaled(latents, *change))
    return new, new.climb(new.look(start), steps=_FEW_STEPS, near=near)
