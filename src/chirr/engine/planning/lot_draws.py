"""Lots from now on, in joint draws with the farm's level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.ancestry import with_parents
from chirr.engine.colony.belief import Belief, draw
from chirr.engine.colony.clocks import ADULT, NYMPH, Clocks
from chirr.engine.colony.cohort_ahead import Setting, run_on
from chirr.engine.colony.latents import FarmLevel
from chirr.engine.colony.walk import Cohorts, walk

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotDraws:
    """A lot's crickets day by day.

    number: shape (days + 1, draws); passed: clock readings of its place from now, (clocks, days + 1); adult_days: age
    as adults now, below 0 for nymphs [days at 30 degC], (draws,); farm: the farm's level in the same draws.
    """

    number: Floats
    passed: Floats
    adult_days: Floats
    state: Cohorts
    farm: FarmLevel


def lot_draws(
    belief: Belief, clocks: Clocks, lots: Ints, *, days: int, draws: int, rng: np.random.Generator
) -> list[LotDraws]:
    """Joint draws of some lots, given by number, over the days to come, each where it stands now.

    Clutches still to hatch are left out. All lots share the draws of the farm's level.
    """
    b = belief
    only = with_parents(b.schedule, lots)
    z = draw(b, draws, rng, lots=only)
    told = walk(z, b.latents, b.schedule, b.arrays, b.laid, b.bio, only=only, watch=False)
    hours: Floats = b.history.now_h + 24.0 * np.arange(days + 1, dtype=np.float64)
    setting = Setting(bio=b.bio, log_hatchling_mg=told.farm.log_hatchling_mg, target_mg=1.0, now_h=b.history.now_h)

    def one(lot: int) -> LotDraws:
        state = told.lots.take(np.array([lot]))
        place = np.full(len(hours), b.schedule.last_place[lot], dtype=np.int64)
        readings = clocks.read(place, hours)
        passed = np.asarray(readings - readings[:, :1])
        ahead = run_on(state, passed, float(b.schedule.last_surface_cm2[lot]), setting)
        per_day = max(passed[NYMPH, -1], 1e-9) / days * np.exp(state.log_speed[0])
        to_come = np.maximum(1.0 - state.x[0], 0.0) / per_day
        return LotDraws(
            number=np.asarray(ahead.number, dtype=np.float64),
            passed=passed,
            adult_days=state.adult_days[0] - to_come * passed[ADULT, -1] / days,
            state=state,
            farm=told.farm,
        )

    return [one(int(lot)) for lot in lots]
