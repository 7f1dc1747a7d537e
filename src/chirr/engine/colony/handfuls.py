"""The farm in handfuls of families, each small enough for a processor's cache and walked by itself.

Families are put together by size, so that a handful is stepped in as few directions as its largest family needs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from chirr.engine.colony.facts import Facts
from chirr.engine.colony.history import Kind
from chirr.engine.colony.latents import Latents
from chirr.engine.colony.schedule import ClutchArrays, Schedule

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
T = TypeVar("T")

LOTS_AT_ONCE, _EGGS = 800, 0.2
"""A handful holds so many lots; eggs that have joined none yet are the second's part of the work of one."""

THREADS = 2
"""Handfuls are independent and NumPy works outside the interpreter's lock, so two processors share them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Handful:
    """Some families: marks of their lots, clutches besides those that join them, their unknowns and their facts.

    facts: numbers of the facts; some: those facts. farm: how many unknowns are the farm's; colour, of each of
    `unknowns`; width: directions to step in, the farm's first.
    """

    lots: NDArray[np.bool_]
    clutches: Ints
    unknowns: Ints
    facts: Ints
    some: Facts
    size: int
    farm: int
    colour: Ints

    @property
    def width(self) -> int:
        return self.farm + int(self.colour.max(initial=-1)) + 1

    def beside(self, z: Floats, step: float) -> Floats:
        """Unknowns a step from `z` in each direction, shape (latents, width); 0 for those of other handfuls."""
        out = np.zeros((self.size, self.width))
        out[: self.farm] = z[: self.farm, None]
        out[np.arange(self.farm), np.arange(self.farm)] += step
        out[self.unknowns] = z[self.unknowns, None]
        out[self.unknowns, self.farm + self.colour] += step
        return out


def of_each(handfuls: Sequence[Handful], what: Callable[[Handful], T]) -> list[T]:
    """Something of each handful, in order."""
    if len(handfuls) < THREADS:
        return [what(h) for h in handfuls]
    with ThreadPoolExecutor(THREADS) as pool:
        return list(pool.map(what, handfuls))


def make_handfuls(
    latents: Latents, schedule: Schedule, arrays: ClutchArrays, facts: Facts, *, at_once: int = LOTS_AT_ONCE
) -> list[Handful]:
    """Put a farm's families together by size, every fact in one handful."""
    lots, clutches = latents.lot.shape[1], latents.clutch.shape[1]
    kin = _kin(schedule, arrays, lots, clutches)
    of_lot, of_fact = facts.what <= 2, np.empty(len(facts.what), dtype=np.int64)
    of_fact[of_lot] = kin[schedule.lot[facts.row[of_lot]]]
    of_fact[~of_lot] = kin[lots + facts.row[~of_lot]]
    owner = np.full(latents.size, -1, dtype=np.int64)
    for index, of in ((latents.lot, kin[:lots]), (latents.clutch, kin[lots:])):
        there = index >= 0
        owner[index[there]] = np.broadcast_to(of, index.shape)[there]
    counted = np.flatnonzero(latents.happening >= 0)
    owner[latents.happening[counted]] = kin[schedule.lot[counted]]
    groups = int(kin.max(initial=-1)) + 1
    farm = int((latents.families.family < 0).sum())
    unknowns = np.bincount(owner[farm:], minlength=groups)
    told = np.unique(of_fact)
    order = told[np.argsort(unknowns[told], kind="stable")]
    number = np.full(groups, -1, dtype=np.int64)
    number[order] = np.cumsum(np.bincount(kin[:lots], minlength=groups)[order] + _EGGS) / at_once
    out = []
    for n in np.unique(number[of_fact]):
        mine = np.flatnonzero(number[of_fact] == n)
        local = farm + np.flatnonzero(number[owner[farm:]] == n)
        marks = number[kin[:lots]] == n
        beside = np.flatnonzero(number[kin[lots:]] == n)
        out.append(
            Handful(
                lots=marks, clutches=beside, unknowns=local, facts=mine, some=facts.take(mine), size=latents.size,
                farm=farm, colour=latents.families.colour[local],
            )
        )  # fmt: skip
    return out


def _kin(schedule: Schedule, arrays: ClutchArrays, lots: int, clutches: int) -> Ints:
    """Which lots and clutches hang together by crickets that went from one to another, shape (lots + clutches,)."""
    came = np.flatnonzero(np.isin(schedule.kind, (Kind.IN, Kind.MIX)) & (schedule.other >= 0))
    hatched = np.flatnonzero(arrays.lot >= 0)
    a = np.concatenate([schedule.lot[came], lots + hatched])
    b = np.concatenate([schedule.other[came], arrays.lot[hatched]])
    links = sparse.csr_matrix((np.ones(len(a)), (a, b)), shape=(lots + clutches, lots + clutches))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slopes:
    """Where derivatives of facts go: those by the farm's unknowns, one by one, and by the local ones that bear on each.

    fact, column: of each local derivative, handful by handful; in_handful, source: where it is found there.
    """

    fact: Ints
    column: Ints
    each: tuple[tuple[Ints, Ints], ...]
    order: Ints
    indices: Ints
    indptr: Ints
    facts: Ints
    farm: int
    shape: tuple[int, int]
    own_only: NDArray[np.bool_]

    @classmethod
    def of(cls, facts: Facts, latents: Latents, schedule: Schedule, handfuls: Sequence[Handful]) -> Slopes:
        """Sort out once which unknown bears on which fact."""
        none = np.zeros(0, dtype=np.int64)
        fact, column, each = [none], [none], []
        farm = int((latents.families.family < 0).sum())
        for h in handfuls:
            bears = [
                latents.families.bearing[schedule.lot[row]] if what <= 2 else latents.clutch[:, row]
                for what, row in zip(h.some.what.tolist(), h.some.row.tolist(), strict=True)
            ]
            k = np.repeat(np.arange(len(bears)), [len(b) for b in bears])
            c = np.concatenate([none, *bears])
            fact.append(h.facts[k])
            column.append(c)
            each.append((k, farm + latents.families.colour[c]))
        of, by = np.concatenate(fact), np.concatenate(column)
        every = np.concatenate([none, *(h.facts for h in handfuls)])
        rows = np.concatenate([np.repeat(every, farm), of])
        columns = np.concatenate([np.tile(np.arange(farm), len(every)), by])
        order = np.lexsort((columns, rows))
        return cls(
            fact=of, column=by, each=tuple(each), order=order, indices=columns[order],
            indptr=np.searchsorted(rows[order], np.arange(len(facts.what) + 1)),
            facts=every, farm=farm, shape=(len(facts.what), latents.size), own_only=np.isneginf(facts.low),
        )  # fmt: skip

    def sparse(self, slopes: Sequence[Floats]) -> Any:
        """The derivatives of all facts by all unknowns, shape (facts, latents), from those of each handful.

        'Not yet hatched' tells of its own clutch only: an overdue tray is a failure more often than a sign that all
        the farm's eggs are slow.
        """
        none = np.zeros(0)
        by_farm = np.concatenate([np.zeros((0, self.farm)), *(s[:, : self.farm] for s in slopes)])
        by_farm[self.own_only[self.facts]] = 0.0
        local = np.concatenate([none, *(s[at] for s, at in zip(slopes, self.each, strict=True))])
        data = np.concatenate([by_farm.ravel(), local])[self.order]
        return sparse.csr_matrix((data, self.indices, self.indptr), shape=self.shape)

    def family_of_facts(self, family: Ints) -> Ints:
        """The family of each fact, the last one where it has none."""
        fact = np.full(self.shape[0], int(family.max(initial=-1)) + 1, dtype=np.int64)
        fact[self.fact] = family[self.column]
        return fact
