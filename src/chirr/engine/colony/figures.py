"""The figures that are explained, and the measurements that could be made now, each with its slopes by the unknowns.

Slopes are taken through the walk and the look ahead themselves, with the weather to come and the luck of single
clutches and lots standing still.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.ancestry import with_parents
from chirr.engine.colony.belief import Belief
from chirr.engine.colony.clocks import KNOT_H, Clocks, invert_rows
from chirr.engine.colony.cohort_ahead import run_on
from chirr.engine.colony.drawn_farm import DrawnFarm
from chirr.engine.colony.facts import COUNT_LOG_SD, WEIGH_LOG_SD
from chirr.engine.colony.hatching import FIRST_SHARE, reading_at_share
from chirr.engine.colony.horizon import Horizon
from chirr.engine.colony.sizes import mean_mass_mg
from chirr.engine.colony.walk import mass_of, walk

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STEP = 0.05
WEIGHED, WEIGH_CV = 50, 0.02
COUNT_CV, EGG_CV = 0.10, 0.20
"""The measurements offered: so many crickets weighed on a scale that is right to 2 %; all crickets by their total
weight, to 10 %; the eggs of a tray by a sample, to 20 % (common practice, no published source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """A figure and its derivatives by all unknowns, shape (latents,). Logarithms, except for times in hours."""

    value: float
    by: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """Something that could be measured now: what it should show, and the log standard deviation of its error."""

    name: str
    slope: Slope
    noise_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """The figures of a lot or clutch by name (kg, ready, alive; eggs, pinheads, first) and what could be measured.

    unknowns: those that they rest on besides the farm's.
    """

    figures: dict[str, Slope]
    measurements: tuple[Measurement, ...]
    unknowns: Ints


class _Still:
    """Stands in for chance: nothing happens by it."""

    def standard_normal(self, shape: int | tuple[int, ...]) -> Floats:
        return np.zeros(shape)

    def random(self, shape: int) -> Floats:
        return np.ones(shape)


STILL = cast("np.random.Generator", _Still())


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """The walk at what is believed (column 0) and beside it; `column` says where each unknown was moved, -1 nowhere."""

    run: DrawnFarm
    column: Ints

    @classmethod
    def of(
        cls, belief: Belief, clocks: Clocks, horizon: Horizon, place_room: Ints, column: Ints, lots: Ints | None = None
    ) -> Beside:
        """Walk with each unknown moved in its own column; all lots, or only some with their parents."""
        columns = int(column.max(initial=0)) + 1
        z = np.repeat(belief.mode[:, None], columns, axis=1)
        moved = np.flatnonzero(column > 0)
        z[moved, column[moved]] += STEP
        only = None if lots is None else with_parents(belief.schedule, lots)
        b, all_of_them = belief, np.arange(len(belief.arrays.lot))
        told = walk(z, b.latents, b.schedule, b.arrays, b.laid, b.bio, only=only, clutches=all_of_them, watch=False)
        still = np.zeros((int(place_room.max(initial=0)) + 1, columns))
        run = DrawnFarm(
            belief=belief, clocks=clocks, horizon=horizon, told=told, weather=still, place_room=place_room, rng=STILL
        )
        return cls(run=run, column=column)

    def slope(self, values: NDArray[np.floating], unknowns: Ints) -> Slope:
        """Derivatives of a figure given in every column, by the farm's unknowns and some others."""
        out = np.zeros(len(self.column))
        touched = np.concatenate([np.flatnonzero(self.run.belief.family < 0), unknowns])
        beside = np.asarray(values, dtype=np.float64)[self.column[touched]]
        out[touched] = np.where(self.column[touched] > 0, (beside - float(values[0])) / STEP, 0.0)
        return Slope(value=float(values[0]), by=np.where(np.isfinite(out), out, 0.0))


def colour_columns(belief: Belief) -> Ints:
    """One column for each of the farm's unknowns and one for each colour of the others: enough for all lots at once."""
    farm = belief.family < 0
    return np.where(farm, np.cumsum(farm), int(farm.sum()) + 1 + belief.latents.families.colour)


def own_columns(belief: Belief, unknowns: Ints) -> Ints:
    """One column for each of the farm's unknowns and for each of these."""
    column = np.full(len(belief.family), -1, dtype=np.int64)
    moved = np.concatenate([np.flatnonzero(belief.family < 0), np.unique(unknowns)])
    column[moved] = 1 + np.arange(len(moved))
    return column


def lot_unknowns(belief: Belief, lot: Ints | int, open_clutches: Ints) -> Ints:
    """Unknowns that bear on a lot: its own and its parents', and those of clutches still to hatch into it."""
    waiting = _to_hatch(belief, int(lot), open_clutches)
    return np.concatenate([belief.latents.families.bearing[int(lot)], belief.latents.clutch[:, waiting].ravel()])


def _to_hatch(belief: Belief, lot: int, open_clutches: Ints) -> Ints:
    a = belief.arrays
    dud = np.array([belief.history.clutches[c].dud for c in open_clutches], dtype=bool)
    return np.asarray(open_clutches[(a.lot[open_clutches] == lot) & ~a.arrived[open_clutches] & ~dud])


def explain_lot(beside: Beside, lot: int, open_clutches: Ints, *, day: int) -> Explained:
    """A living lot's kilograms so many days from now, when it is ready, how many are alive, what could be measured.

    `open_clutches` of the lot are looked at too; give none to leave them out.
    """
    run, b = beside.run, beside.run.belief
    state = run.told.lots.take(np.array([lot]))
    here = bool(state.number[0, 0] > 0)
    unknowns = lot_unknowns(b, lot, open_clutches)
    cohorts, measurements = [], []
    alive = np.zeros(state.number.shape[1])
    if here:
        alive = state.number[0]
        mean, variance = mass_of(state, run.told.farm.log_hatchling_mg, b.bio)
        mass = beside.slope(np.log(mean_mass_mg(mean, variance))[0], unknowns)
        number = beside.slope(np.log(np.maximum(alive, 0.5)) + run.told.farm.seen[2], unknowns)
        between = float(np.expm1(min(variance[0, 0], 3.0)))
        measurements = [
            Measurement(
                name="weigh", slope=mass, noise_sd=float(np.sqrt(WEIGH_CV**2 + WEIGH_LOG_SD**2 + between / WEIGHED))
            ),
            Measurement(name="count", slope=number, noise_sd=float(np.hypot(COUNT_CV, COUNT_LOG_SD))),
        ]
        place, surface = int(b.schedule.last_place[lot]), float(b.schedule.last_surface_cm2[lot])
        state.log_speed = state.log_speed + run.warmer_at(place)
        move = run.move_of(lot, b.history.lots[lot].began_h)
        cohorts.append(run_on(state, run.days_at(place, move), surface, run.setting, move=move))
    for c in _to_hatch(b, lot, open_clutches).tolist():
        hatch = run.hatch(np.array([c])).of(0)
        cohorts.append(run.unhatched(c, hatch, lot, STILL))
        if not here:
            alive = alive + hatch.pinheads
            measurements.append(_egg_count(beside, c, unknowns))
    if not cohorts:
        return Explained(figures={}, measurements=(), unknowns=unknowns)
    main = max(cohorts, key=lambda c: float(c.number.max(axis=0).mean()))
    kg = np.sum([c.number[day] * c.mean_mg[day] for c in cohorts], axis=0) / 1e6
    figures = {
        "kg": beside.slope(np.log(np.maximum(kg, 1e-6)), unknowns),
        "ready": beside.slope(main.ready_h, unknowns),
        "alive": beside.slope(np.log(np.maximum(alive, 0.5)), unknowns),
    }
    return Explained(figures=figures, measurements=tuple(measurements), unknowns=unknowns)


def explain_clutch(beside: Beside, clutch: int) -> Explained:
    """An open clutch's eggs, pinheads and the hour of its first pinheads as its own speed has it."""
    run, b = beside.run, beside.run.belief
    unknowns = np.asarray(b.latents.clutch[:, clutch])
    told, a = run.told.clutches, b.arrays
    speed = np.exp(told.log_speed[clutch])
    window = np.full_like(speed, a.window[clutch])
    first = reading_at_share(FIRST_SHARE, speed=speed, window=window, cv=b.bio.species.egg_cv.value)
    hour = invert_rows(a.rows[clutch : clutch + 1], a.laid_h[clutch : clutch + 1], KNOT_H, first[:, None])[:, 0]
    figures = {
        "first": beside.slope(hour, unknowns),
        "pinheads": beside.slope(np.log(told.pinheads[clutch]), unknowns),
    }
    return Explained(figures=figures, measurements=(_egg_count(beside, clutch, unknowns),), unknowns=unknowns)


def _egg_count(beside: Beside, clutch: int, unknowns: Ints) -> Measurement:
    told = beside.run.told
    eggs = beside.slope(np.log(told.clutches.eggs[clutch]) + told.farm.seen[0], unknowns)
    return Measurement(name="eggs", slope=eggs, noise_sd=float(np.hypot(EGG_CV, COUNT_LOG_SD)))
