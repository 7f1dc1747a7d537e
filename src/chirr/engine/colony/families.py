"""Which unknowns bear on which lot, which lots hang together, and which unknowns can be stepped at once.

Lots that share no crickets share no unknowns of their own either: they are families, independent of one another once
the farm's level is given. An unknown of one family never bears on what another shows, so derivatives by one unknown of
each family are taken in one walk.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from chirr.engine.colony.history import Kind
from chirr.engine.colony.schedule import Schedule

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Families:
    """bearing: for each lot, in order, the local unknowns that bear on it, its parents' included.

    family: of each unknown, -1 for the farm's. colour: likewise; unknowns of one colour never bear on one fact.
    """

    bearing: tuple[Ints, ...]
    family: Ints
    colour: Ints
    colours: int


def make_families(schedule: Schedule, clutch: Ints, lot: Ints, happening: Ints, size: int, farm: int) -> Families:
    """Sort the local unknowns of a farm.

    Parameters
    ----------
    schedule : Schedule
    clutch, lot, happening : ndarray of int, shapes (3, clutches), (4, lots), (happenings,)
        Where each unknown sits, -1 for none.
    size, farm : int
        How many unknowns there are, and how many of them, the first, are the farm's.

    Returns
    -------
    Families
    """
    bearing = _bearing(schedule, clutch, lot, happening)
    family = _families([*bearing, *clutch.T], size, farm)
    colour, several = colours(bearing, family, family >= 0)
    return Families(bearing=bearing, family=family, colour=colour, colours=several)


def _bearing(schedule: Schedule, clutch: Ints, lot: Ints, happening: Ints) -> tuple[Ints, ...]:
    lots = lot.shape[1]
    arrived = np.flatnonzero(schedule.kind == Kind.ARRIVE)
    counted = np.flatnonzero(happening >= 0)
    owner = [np.repeat(np.arange(lots), 4), np.repeat(schedule.lot[arrived], 3), schedule.lot[counted]]
    unknown = [lot.T.ravel(), clutch[:, schedule.other[arrived]].T.ravel(), happening[counted]]
    of, k = np.concatenate(owner), np.concatenate(unknown)
    of, k = of[k >= 0], k[k >= 0]
    order = np.lexsort((k, of))
    own = np.split(k[order], np.searchsorted(of[order], np.arange(1, lots)))[:lots]
    parents: dict[int, set[int]] = {}
    for wave in schedule.waves:
        for kind, at in wave.kinds:
            if kind in _COMING:
                for row in (wave.first + at).tolist():
                    here, there = int(schedule.lot[row]), int(schedule.other[row])
                    parents.setdefault(here, {here}).update(parents.get(there, {there}))
    for i, from_lots in parents.items():
        own[i] = np.unique(np.concatenate([own[p] for p in sorted(from_lots)]))
    return tuple(own)


_COMING = frozenset((Kind.IN, Kind.MIX))


def _families(groups: list[Ints], size: int, farm: int) -> Ints:
    a = np.concatenate([np.zeros(0, dtype=np.int64), *(g[:-1] for g in groups)])
    b = np.concatenate([np.zeros(0, dtype=np.int64), *(g[1:] for g in groups)])
    links = sparse.csr_matrix((np.ones(len(a)), (a, b)), shape=(size, size))
    label = connected_components(links, directed=False)[1][farm:]
    family = np.full(size, -1, dtype=np.int64)
    family[farm:] = np.unique(label, return_inverse=True)[1]
    return family


def colours(bearing: tuple[Ints, ...], family: Ints, chosen: NDArray[np.bool_]) -> tuple[Ints, int]:
    """Colours of the chosen local unknowns, -1 for all others, and how many there are.

    By place in the family, or, in one that is larger than all that bears on any lot, greedily.
    """
    colour = np.full(len(family), -1, dtype=np.int64)
    mine = np.flatnonzero(chosen)
    order = mine[np.argsort(family[mine], kind="stable")]
    sizes = np.bincount(family[mine]) if len(order) else np.zeros(0, dtype=np.int64)
    colour[order] = np.arange(len(order)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    groups = [g[chosen[g]] for g in bearing]
    most = max((len(g) for g in groups), default=3)
    near: dict[int, set[int]] = {}
    for group in groups:
        if len(group) and sizes[family[group[0]]] > max(most, 3):
            for k in group.tolist():
                near.setdefault(k, set()).update(group.tolist())
    colour[list(near)] = -1
    for k in sorted(near):
        taken = {int(colour[j]) for j in near[k]}
        colour[k] = next(c for c in range(len(taken) + 1) if c not in taken)
    return colour, int(colour.max(initial=-1)) + 1
