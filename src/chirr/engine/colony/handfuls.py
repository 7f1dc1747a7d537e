"""The farm in handfuls of families, each small enough for a processor's cache and walked by itself.

Families are put together by size, so that a handful is stepped in as few directions as its largest family needs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from chirr.engine import hands
from chirr.engine.colony.facts import Facts, predict
from chirr.engine.colony.families import colours
from chirr.engine.colony.history import Kind
from chirr.engine.colony.latents import Latents
from chirr.engine.colony.part import Part, rested_on
from chirr.engine.colony.schedule import ClutchArrays, Schedule
from chirr.engine.colony.walk import Biology, Laid, Told, tell

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
T = TypeVar("T")

LOTS_AT_ONCE, _EGGS = 800, 0.2
"""A handful holds so many lots; eggs that have joined none yet are the second's part of the work of one."""

WORTH_SHARING = 4
"""From so many handfuls on they are shared among the machine's processors."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Handful:
    """Some families as a farm of their own, with their facts.

    facts: numbers of the facts among all, those of lots first; of_lots, of_clutches: those facts, with rows of the
    part; shown: where what each happening should show goes. of_fact, bears: pairs of a fact, counted within the
    handful, and a local unknown of the part that bears on it; for each fact of a clutch its three. colour: of each
    unknown of the part, -1 for those that need no walk of their own; unknowns of one colour never bear on one fact.
    """

    part: Part
    farm: int
    facts: Ints
    of_lots: Facts
    of_clutches: Facts
    shown: Ints
    of_fact: Ints
    bears: Ints
    colour: Ints

    def tell(self, z: Floats, laid: Laid, bio: Biology) -> Told:
        """The part's story under columns of its own unknowns."""
        p = self.part
        return tell(z, p.latents, p.schedule, p.arrays, laid.some(p.clutches), bio, shown=self.shown)

    def said(self, told: Told) -> Floats:
        """What its facts should have been by a story, shape (facts, columns)."""
        return np.concatenate([predict(told, self.of_lots), predict(told, self.of_clutches)])

    def with_spreads_of(self, latents: Latents) -> Handful:
        """The same with the spreads of the whole farm's unknowns."""
        p = self.part
        clutch_sd, lot_sd = latents.clutch_sd[:, p.clutches], latents.lot_sd[:, p.lots]
        return replace(self, part=replace(p, latents=replace(p.latents, clutch_sd=clutch_sd, lot_sd=lot_sd)))


def of_each(handfuls: Sequence[Handful], what: Callable[[Handful], T]) -> list[T]:
    """Something of each handful, in order."""
    if len(handfuls) < WORTH_SHARING:
        return [what(h) for h in handfuls]
    return hands.share([partial(what, h) for h in handfuls])


def make_handfuls(
    latents: Latents, schedule: Schedule, arrays: ClutchArrays, facts: Facts, *, at_once: int = LOTS_AT_ONCE
) -> list[Handful]:
    """Put a farm's families together by the number of walks they need, every fact in one handful."""
    lots, clutches = latents.lot.shape[1], latents.clutch.shape[1]
    kin = _kin(schedule, arrays, lots, clutches)
    of_lot, of_fact = facts.what <= 2, np.empty(len(facts.what), dtype=np.int64)
    of_fact[of_lot] = kin[schedule.lot[facts.row[of_lot]]]
    of_fact[~of_lot] = kin[lots + facts.row[~of_lot]]
    wanted = np.zeros(len(schedule.lot), dtype=bool)
    wanted[facts.row[of_lot]] = True
    told = rested_on(schedule, wanted)
    walked = np.zeros(lots, dtype=bool)
    walked[schedule.lot[told]] = True
    which, bears = _bearing(latents, schedule, facts)
    there = np.zeros(latents.size + 1, dtype=bool)  # the last for those that are nowhere
    for some in (latents.clutch, latents.lot[:, walked], latents.happening[told]):
        there[some] = True
    which, bears = which[there[bears]], bears[there[bears]]
    stepped = np.zeros(latents.size, dtype=bool)
    stepped[bears[of_lot[which]]] = True
    stepped[latents.clutch[HATCH]] = False
    colour, _ = colours(latents.families.bearing, latents.families.family, stepped)

    groups = int(kin.max(initial=-1)) + 1
    walks = np.zeros(groups, dtype=np.int64)
    np.maximum.at(walks, of_fact[which], colour[bears])
    there = np.unique(of_fact)
    order = there[np.argsort(walks[there], kind="stable")]
    number = np.full(groups, -1, dtype=np.int64)
    weight = np.bincount(kin[:lots], weights=walked, minlength=groups) + _EGGS
    number[order] = np.cumsum(weight[order]) / at_once
    out = []
    for n in np.unique(number[of_fact]).tolist():
        mine = number[of_fact] == n
        part = Part.of(
            latents, schedule, arrays,
            lots=walked & (number[kin[:lots]] == n), clutches=np.flatnonzero(number[kin[lots:]] == n), happenings=told,
        )  # fmt: skip
        out.append(_handful(part, facts, np.flatnonzero(mine), which, bears, colour))
    return out


HATCH = 2
"""Row of `Latents.clutch` of the unknowns that only change how many pinheads there are, as those of eggs do."""


def _handful(part: Part, facts: Facts, mine: Ints, which: Ints, bears: Ints, colour: Ints) -> Handful:
    of_lot = facts.what[mine] <= 2
    mine = np.concatenate([mine[of_lot], mine[~of_lot]])
    of_lots, of_clutches = facts.take(mine[: of_lot.sum()]), facts.take(mine[of_lot.sum() :])
    seen, slot = np.unique(np.searchsorted(part.happenings, of_lots.row), return_inverse=True)
    shown = np.full(len(part.happenings), -1, dtype=np.int64)
    shown[seen] = np.arange(len(seen))
    place = np.full(len(facts.what), -1, dtype=np.int64)
    place[mine] = np.arange(len(mine))
    pairs = np.flatnonzero(place[which] >= 0)
    pairs = pairs[np.argsort(place[which[pairs]], kind="stable")]
    return Handful(
        part=part, farm=int((part.latents.families.family < 0).sum()), facts=mine, shown=shown,
        of_lots=replace(of_lots, row=slot),
        of_clutches=replace(of_clutches, row=np.searchsorted(part.clutches, of_clutches.row)),
        of_fact=place[which[pairs]], bears=np.searchsorted(part.unknowns, bears[pairs]), colour=colour[part.unknowns],
    )  # fmt: skip


def _bearing(latents: Latents, schedule: Schedule, facts: Facts) -> tuple[Ints, Ints]:
    """Which local unknown bears on which fact: pairs, in order of the facts and, for each, of the unknowns."""
    bearing = latents.families.bearing
    of_lot = facts.what <= 2
    lot = np.where(of_lot, schedule.lot[np.where(of_lot, facts.row, 0)] if len(schedule.lot) else -1, -1)
    clutch = latents.clutch[:, np.where(of_lot, 0, facts.row)].T if latents.clutch.size else np.zeros((len(lot), 0))
    each = [bearing[i] if i >= 0 else own for i, own in zip(lot.tolist(), clutch, strict=True)]
    none = np.zeros(0, dtype=np.int64)
    return np.repeat(np.arange(len(each)), [len(b) for b in each]), np.concatenate([none, *each])


def _kin(schedule: Schedule, arrays: ClutchArrays, lots: int, clutches: int) -> Ints:
    """Which lots and clutches hang together by crickets that went from one to another, shape (lots + clutches,)."""
    came = np.flatnonzero(np.isin(schedule.kind, (Kind.IN, Kind.MIX)) & (schedule.other >= 0))
    hatched = np.flatnonzero(arrays.lot >= 0)
    a = np.concatenate([schedule.lot[came], lots + hatched])
    b = np.concatenate([schedule.other[came], arrays.lot[hatched]])
    links = sparse.csr_matrix((np.ones(len(a)), (a, b)), shape=(lots + clutches, lots + clutches))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)
