"""Belief run forward: joint draws of every lot and clutch through the clocks of the days to come.

Each lot is a few cohorts (its crickets now, and each clutch still to hatch into it). A cohort's whole future is
written in closed form on the clock readings of its place, for all draws and days at once, in single precision.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from chirr.engine import hands
from chirr.engine.colony.ancestry import with_parents
from chirr.engine.colony.belief import Belief, Drawn, families_of
from chirr.engine.colony.clocks import Clocks
from chirr.engine.colony.cohort_ahead import CohortAhead
from chirr.engine.colony.drawn_farm import DrawnFarm, HatchDraws
from chirr.engine.colony.horizon import Horizon
from chirr.engine.colony.stock import Stock, StockDraws
from chirr.engine.colony.walk import walk

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

QUANTILES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)

WEATHER_C, WEATHER_UNMEASURED_C = 0.2, 0.5
"""How far a room's mean temperature in the weeks ahead may differ from its recent one [degC, sd], with and without a
thermometer in it (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClutchAhead:
    """Quantiles, each of shape (7,): hours for the times.

    expected_first_h: what was expected of the first pinheads before anybody looked for them in vain.
    """

    clutch: int
    eggs: Floats
    first_pinheads_h: Floats
    expected_first_h: Floats
    half_hatched_h: Floats
    pinheads: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class LotAhead:
    """Quantiles of one lot: `alive`, `mean_mg`, `kg` of shape (days + 1, 7); the others (7,).

    x, adult_days: means now. waiting: no animals yet.
    """

    lot: int
    alive: Floats
    mean_mg: Floats
    kg: Floats
    ready_h: Floats
    kg_at_ready: Floats
    x: float
    adult_days: float
    waiting: bool


Foreseen = tuple[list[LotAhead], list[ClutchAhead]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """Everything that is foreseen."""

    clutches: tuple[ClutchAhead, ...]
    lots: tuple[LotAhead, ...]
    stock: StockDraws


def quantiles(draws: NDArray[np.floating], axis: int = -1) -> Floats:
    """Values at QUANTILES along the draws, which come last in the result."""
    ordered = np.sort(draws, axis=axis)
    ordered = np.moveaxis(ordered, axis, -1)
    n = ordered.shape[-1]
    at = np.asarray(QUANTILES) * (n - 1)
    low = np.floor(at).astype(np.int64)
    high = np.minimum(low + 1, n - 1)
    part = (at - low).astype(ordered.dtype)
    with np.errstate(invalid="ignore"):
        out = ordered[..., low] + part * (ordered[..., high] - ordered[..., low])
    return np.asarray(np.where(np.isfinite(ordered[..., low]), out, ordered[..., low]), dtype=np.float64)


def look_ahead(
    belief: Belief,
    clocks: Clocks,
    horizon: Horizon,
    *,
    place_room: Ints,
    living: Ints,
    open_clutches: Ints,
    draws: int,
    rng: np.random.Generator,
) -> Ahead:
    """Foresee every living lot and open clutch.

    Parameters
    ----------
    belief : Belief
    clocks : Clocks
        Must reach at least `horizon.days` beyond the belief's present.
    horizon : Horizon
    place_room : ndarray of int, shape (places,)
        Room of each place: bins of a room share its weather.
    living, open_clutches : ndarray of int
        Lots and clutches to foresee.
    draws : int
    rng : numpy Generator

    Returns
    -------
    Ahead
    """
    farms = _Farms(belief, clocks, horizon, place_room=place_room, draws=draws, rng=rng)
    parts = _parts(belief, living, open_clutches)
    chances = rng.spawn(len(parts))

    def work(part: tuple[Ints, Ints], chance: np.random.Generator, total: Stock) -> Foreseen:
        return _foreseen(farms.told(*part, chance), *part, total)

    def several(first: int, step: int) -> tuple[list[Foreseen], Stock]:
        total = Stock.none(horizon, belief.bio.sexes, draws)
        mine = zip(parts[first::step], chances[first::step], strict=True)
        return [work(part, chance, total) for part, chance in mine], total

    step = max(min(hands.count(), len(parts)), 1)  # an empty farm has a stock too, of nothing
    done = hands.share([partial(several, first, step) for first in range(step)])
    all_of_them = [one for some, _ in done for one in some]
    lots = {one.lot: one for some, _ in all_of_them for one in some}
    clutches = {one.clutch: one for _, some in all_of_them for one in some}
    return Ahead(
        clutches=tuple(clutches[int(c)] for c in open_clutches),
        lots=tuple(lots[int(i)] for i in living),
        stock=Stock.together([total for _, total in done]),
    )


def stock_of_each(
    belief: Belief,
    clocks: Clocks,
    horizon: Horizon,
    *,
    place_room: Ints,
    lots: Ints,
    open_clutches: Ints,
    draws: int,
    rng: np.random.Generator,
) -> Iterator[StockDraws]:
    """The crickets and kilograms of each of some lots by itself, with what will hatch into it, lot by lot.

    The lots share their draws and are told together, so a hundred at most. Parameters as those of `look_ahead`.
    """
    farms = _Farms(belief, clocks, horizon, place_room=place_room, draws=draws, rng=rng)
    clutches = open_clutches[np.isin(belief.arrays.lot[open_clutches], lots)]
    run = farms.told(lots, clutches, rng)
    for _, cohorts, _ in _cohorts(run, lots, clutches, run.hatch(clutches)):
        total = Stock.none(horizon, belief.bio.sexes, draws)
        for cohort in cohorts:
            total.add(cohort)
        yield Stock.together([total])


class _Farms:
    """Joint draws of the farm's level and of the weather to come, in which handfuls of lots are told."""

    def __init__(
        self, belief: Belief, clocks: Clocks, horizon: Horizon, *, place_room: Ints, draws: int,
        rng: np.random.Generator,
    ) -> None:  # fmt: skip
        self.belief, self.clocks, self.horizon, self.place_room = belief, clocks, horizon, place_room
        self.drawn = Drawn(belief, draws, rng)
        rooms = int(place_room.max(initial=0)) + 1
        known = np.resize(belief.history.measured_rooms, rooms)
        self.weather = np.where(known, WEATHER_C, WEATHER_UNMEASURED_C)[:, None] * rng.standard_normal((rooms, draws))

    def told(self, lots: Ints, clutches: Ints, chance: np.random.Generator) -> DrawnFarm:
        """The story of some lots and clutches until now, in every draw."""
        b = self.belief
        only = with_parents(b.schedule, lots)
        z = self.drawn.families(families_of(b, np.flatnonzero(only), clutches), chance).astype(np.float32)
        told = walk(z, b.latents, b.schedule, b.arrays, b.laid, b.bio, only=only, clutches=clutches, watch=False)
        return DrawnFarm(
            belief=b, clocks=self.clocks, horizon=self.horizon, told=told, weather=self.weather,
            place_room=self.place_room, rng=chance,
        )  # fmt: skip


def _cohorts(
    run: DrawnFarm, lots: Ints, clutches: Ints, hatch: HatchDraws
) -> Iterator[tuple[int, list[CohortAhead], bool]]:
    """Each lot with its cohorts, its crickets now and the clutches that will hatch into it, and whether it still waits
    for the first of them."""
    joins = run.belief.arrays.lot[clutches]
    for i in lots.tolist():
        now = run.lot_now(i)
        yield i, [*([now] if now else []), *_unhatched(run, clutches, hatch, i, joins == i)], now is None


def _unhatched(
    run: DrawnFarm, clutches: Ints, hatch: HatchDraws, lot: int, which: NDArray[np.bool_]
) -> list[CohortAhead]:
    """The cohorts that some of the clutches will become, in a lot; in none of those that are told where it is -1."""
    to_hatch = (k for k in np.flatnonzero(which).tolist() if run.will_hatch(int(clutches[k])))
    return [run.unhatched(int(clutches[k]), hatch.of(k), lot, run.rng) for k in to_hatch]


def _foreseen(run: DrawnFarm, lots: Ints, clutches: Ints, total: Stock) -> tuple[list[LotAhead], list[ClutchAhead]]:
    """What is foreseen of some lots and clutches; their crickets are added to a total."""
    hatch = run.hatch(clutches)
    for cohort in _unhatched(run, clutches, hatch, -1, ~np.isin(run.belief.arrays.lot[clutches], lots)):
        total.add(cohort)
    looked_at: list[LotAhead] = []
    for lot, cohorts, waiting in _cohorts(run, lots, clutches, hatch):
        for cohort in cohorts:
            total.add(cohort)
        looked_at.append(_of_lot(lot, cohorts, waiting=waiting, days=len(run.horizon.looked_at)))
    return _on_every_day(looked_at, run.horizon), _of_clutches(clutches, hatch)


def _of_clutches(clutches: Ints, hatch: HatchDraws) -> list[ClutchAhead]:
    """Quantiles of some clutches."""
    told = (hatch.eggs, hatch.first_h, hatch.expected_h, hatch.middle_h, hatch.pinheads)
    found = quantiles(np.stack(told, axis=1))
    return [
        ClutchAhead(
            clutch=int(c), eggs=q[0], first_pinheads_h=q[1], expected_first_h=q[2], half_hatched_h=q[3], pinheads=q[4]
        )
        for c, q in zip(clutches, found, strict=True)
    ]


def _of_lot(lot: int, cohorts: list[CohortAhead], *, waiting: bool, days: int) -> LotAhead:
    """Quantiles of one lot on the days looked at, from its crickets now and the clutches that will hatch into it."""
    if not cohorts:
        none, never = np.zeros((days, len(QUANTILES))), np.full(len(QUANTILES), np.nan)
        return LotAhead(
            lot=lot, alive=none, mean_mg=none, kg=none, ready_h=never, kg_at_ready=none[0], x=0.0, adult_days=0.0,
            waiting=True,
        )  # fmt: skip
    mean_mg = [c.mean_mg for c in cohorts]
    alive = sum((c.number for c in cohorts[1:]), cohorts[0].number)
    grams = sum((c.number * mg for c, mg in zip(cohorts[1:], mean_mg[1:], strict=True)), cohorts[0].number * mean_mg[0])
    of_one = grams / np.maximum(alive, np.float32(1e-3)) if len(cohorts) > 1 else mean_mg[0]
    main = max(cohorts, key=lambda c: float(c.number.max(axis=0).mean()))
    curves = quantiles(np.stack([alive, of_one, grams]))
    ready = quantiles(np.stack([main.ready_h, np.sum([c.kg_at_ready for c in cohorts], axis=0)]))
    return LotAhead(
        lot=lot,
        alive=curves[0],
        mean_mg=curves[1],
        kg=curves[2] / 1e6,
        ready_h=ready[0],
        kg_at_ready=ready[1],
        x=main.x_now,
        adult_days=main.adult_days_now,
        waiting=waiting,
    )


def _on_every_day(lots: list[LotAhead], horizon: Horizon) -> list[LotAhead]:
    """Lots known on the days looked at, known on every day."""
    if not lots:
        return lots
    every = horizon.every_day_by_ratio(np.array([(a.alive, a.mean_mg, a.kg) for a in lots]), axis=2)
    return [replace(a, alive=alive, mean_mg=mg, kg=kg) for a, (alive, mg, kg) in zip(lots, every, strict=True)]


def _parts(belief: Belief, living: Ints, open_clutches: Ints) -> list[tuple[Ints, Ints]]:
    """Living lots and open clutches in handfuls that share no crickets: no family is torn apart, and a clutch goes with
    the lot that it will join."""
    bearing = belief.latents.families.bearing
    of_lot = np.array([belief.family[bearing[i][0]] if len(bearing[i]) else -2 - i for i in living], dtype=np.int64)
    known = dict(zip(living.tolist(), of_lot.tolist(), strict=True))
    own = belief.family[belief.latents.clutch[0, open_clutches]].tolist()
    joins = belief.arrays.lot[open_clutches].tolist()
    of_clutch = np.array([known.get(lot, mine) for lot, mine in zip(joins, own, strict=True)], dtype=np.int64)
    names, many = np.unique(np.concatenate([of_lot, of_clutch]), return_counts=True)
    count = -(-max(int(many.sum()) // AT_ONCE, 1) // hands.count()) * hands.count()
    handfuls = np.split(names, np.searchsorted(np.cumsum(many), many.sum() * np.arange(1, count) / count))
    return [(living[np.isin(of_lot, some)], open_clutches[np.isin(of_clutch, some)]) for some in handfuls if len(some)]


AT_ONCE = 150
"""So many lots and clutches at once keep the memory that is needed small, whatever the size of the farm."""
