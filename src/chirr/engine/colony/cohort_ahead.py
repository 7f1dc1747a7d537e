"""One cohort through the days to come, in closed form on the clock readings of its place.

All draws and all days looked at at once, in single precision: survival, mass, and when it is ready. What no longer
changes is worked out once: hatchlings' losses stop after the fortnight, adults do not grow.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import gamma
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chirr.engine.biology.survival import density_survival_factor
from chirr.engine.colony.clocks import ADULT, NYMPH, WARMTH
from chirr.engine.colony.history import UsualMove
from chirr.engine.colony.sizes import developed_share_at_mass
from chirr.engine.colony.walk import Biology, Cohorts

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Ints = NDArray[np.int64]

Bins = list[tuple[float, Floats32 | None]]
"""Where a cohort lives: the surface [cm2] and, in each draw, the developed share at which it is moved on."""

f4 = np.float32


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What every cohort shares: the species, log mass of hatchlings in each draw, the mass to harvest at, the hour."""

    bio: Biology
    log_hatchling_mg: Floats
    target_mg: float
    now_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CohortAhead:
    """One cohort through the days to come.

    number: shape (days looked at, draws). grown, log_mg, log_variance: how much of the way from a hatchling's log mass
    to an adult's is gone, mean and variance of log mass, shape (days on which some still grow, draws): after the last
    of these days they stay as they are.
    """

    number: Floats32
    grown: Floats32
    log_mg: Floats32
    log_variance: Floats32
    ready_h: Floats
    kg_at_ready: Floats
    x_now: float
    adult_days_now: float

    @property
    def mean_mg(self) -> Floats32:
        """Mean mass [mg] of one cricket on every day looked at, shape (days looked at, draws)."""
        return self.lasting(self.mean_mg_growing)

    @property
    def mean_mg_growing(self) -> Floats32:
        """Mean mass [mg] of one cricket, shape (days on which some still grow, draws)."""
        return np.exp(self.log_mg + f4(0.5) * self.log_variance)

    def lasting(self, growing: Floats32) -> Floats32:
        """Values of the days on which some still grow, put on every day looked at."""
        more = len(self.number) - len(growing)
        return np.concatenate([growing, np.broadcast_to(growing[-1], (more, growing.shape[1]))]) if more else growing


def run_on(
    c: Cohorts,
    passed: Floats,
    surface_cm2: float,
    setting: Setting,
    *,
    shown: Floats32 | None = None,
    start: Floats | None = None,
    move: tuple[int, UsualMove] | None = None,
    at: Ints | None = None,
) -> CohortAhead:
    """Run one cohort on.

    c: state of shape (1, draws), as of now or as of its hatch; passed: clock readings from there, shape (clocks,
    days + 1); start: for a clutch still to hatch, the nymph-clock reading of its hatch (draws,), else None; shown:
    share out of the egg, shape (days looked at, draws); move: the day on which they will be tipped over and where to;
    at: the days looked at, in order (default all).
    """
    bio = setting.bio
    at = np.arange(passed.shape[1]) if at is None else at
    x0, speed = c.x[0], np.exp(c.log_speed[0])
    begun = np.zeros_like(x0) if start is None else start
    nymph, looked = passed[NYMPH], passed[:, at, None].astype(f4)
    x = looked[NYMPH] * speed.astype(f4)
    x += (x0 - begun * speed).astype(f4)
    adult_at = (1.0 - x0) / speed + begun
    ageing = np.where(x0 >= 1.0, 0.0, np.interp(adult_at, nymph, passed[ADULT]))
    age = np.maximum(looked[ADULT] - ageing.astype(f4), f4(0))
    age += c.adult_days[0].astype(f4)
    bins: Bins = [(surface_cm2, None)]
    if move is not None:
        by_then = (x0 + (nymph[move[0]] - begun) * speed).astype(f4)
        bins = [(surface_cm2, by_then), (move[1].surface_cm2, None)]
    number = _left(c, x, age, bins, bio)
    if shown is not None:
        number *= shown
    grow = _days_until(x, bio.curve.full_grown)
    adult = _size_effect(c, passed, at[:grow], begun, adult_at, bio)
    adult += c.log_adult_mg[0].astype(f4)
    m0 = setting.log_hatchling_mg.astype(f4)
    grown, variance, slope = bio.curve.single(x[:grow])
    between = f4(np.log1p(bio.curve.mass_cv**2))
    span = adult - m0
    log_mg = grown * span
    log_mg += m0 - f4(0.5) * between
    slope *= slope
    slope *= c.x_variance[0].astype(f4)
    variance += slope
    span *= span
    variance *= span
    variance += between
    wanted = developed_share_at_mass(bio.curve, setting.target_mg, m0.astype(float), adult[-1].astype(float))
    ready_reading = np.maximum((wanted - x0) / speed + begun, 0.0)
    ready_h, kg = _ready(c, ready_reading, wanted, x0, nymph, bins, adult[-1], m0, setting)
    return CohortAhead(
        number=number,
        grown=grown,
        log_mg=log_mg,
        log_variance=variance,
        ready_h=ready_h,
        kg_at_ready=kg,
        x_now=float(np.mean(x[0])),
        adult_days_now=float(np.mean(age[0])),
    )


def _days_until(rising: Floats32, bound: float) -> int:
    """How many of the days, of at least one, there are until all draws of something that never falls reach a bound."""
    return min(int(np.searchsorted(rising.min(axis=1), bound)) + 1, len(rising))


def _size_effect(c: Cohorts, passed: Floats, at: Ints, begun: Floats, adult_at: Floats, bio: Biology) -> Floats32:
    """Log of what warmth does to the adult mass by each day; after the adult moult no warmth changes it any more."""
    nymph, warmth = passed[NYMPH, at, None].astype(f4), passed[WARMTH, at, None].astype(f4)
    moult = adult_at.astype(f4)
    base_clock = (c.clock[0] - begun).astype(f4)
    base_warmth = (c.warmth[0] - np.interp(begun, passed[NYMPH], passed[WARMTH])).astype(f4)
    at_moult = np.interp(adult_at, passed[NYMPH], passed[WARMTH]).astype(f4)
    clock = np.minimum(nymph, moult)
    growing = nymph <= moult
    clock += base_clock
    np.maximum(clock, f4(0.05), out=clock)
    warmer = growing * (warmth - at_moult)
    warmer += at_moult + base_warmth
    warmer /= clock
    warmer *= f4(-bio.size_slope)
    cap = f4(-np.log(1 - bio.size_cap))
    return np.asarray(np.clip(warmer, -cap, cap, out=warmer))


_HEAVIEST = 12.0
"""Log of more milligrams than any cricket weighs; keeps absurd draws finite."""


def _ready(
    c: Cohorts,
    reading: Floats,
    wanted: Floats,
    x0: Floats,
    nymph: Floats,
    bins: Bins,
    adult: Floats32,
    m0: Floats32,
    setting: Setting,
) -> tuple[Floats, Floats]:
    """Hour and kilograms at which the harvest mass is reached; beyond the last day along its last rate."""
    rate = max(nymph[-1] - nymph[-8 if len(nymph) > 8 else 0], 1e-6) / min(7, len(nymph) - 1)
    days = np.interp(reading, nymph, np.arange(len(nymph))) + np.maximum(reading - nymph[-1], 0.0) / rate
    x = np.maximum(wanted, x0)
    left = _left(c, x[None, :].astype(f4), c.adult_days.astype(f4), bins, setting.bio)[0]
    mean, variance, slope = setting.bio.curve.at(x)
    span = adult - m0
    spread = span**2 * (variance + slope**2 * c.x_variance[0])
    return setting.now_h + 24.0 * days, np.asarray(
        left * np.exp(np.minimum(m0 + span * mean + 0.5 * spread, _HEAVIEST)) / 1e6
    )


def _left(c: Cohorts, x: Floats32, age: Floats32, bins: Bins, bio: Biology) -> Floats32:
    """Crickets left of a cohort at developed shares `x` and adult ages `age`, shape (days, draws), that never fall."""
    d, x0 = f4(bio.day14), c.x[0].astype(f4)
    loss: Floats32 = np.zeros_like(x)
    since = np.clip(x0, d, f4(1))
    for surface_cm2, until in bins:
        crowding = -np.log(density_survival_factor(c.number[0] / surface_cm2, bio.species))
        late = ((c.late[0] + crowding) / (1 - bio.day14)).astype(f4)
        end = f4(1) if until is None else np.maximum(np.clip(until, d, f4(1)), since)
        here = np.maximum(x, since)
        np.minimum(here, end, out=here)
        here -= since
        here *= late
        loss += here
        since = np.broadcast_to(end, since.shape)
    if float(x0.min()) < d:
        young = _days_until(x, bio.day14)
        early = c.early[0].astype(f4)
        loss += early * (1 - _power(np.minimum(x0, d) / d, bio.early_shape))
        loss[:young] -= early * (1 - _power(np.minimum(x[:young], d) / d, bio.early_shape))
    adults = int(np.searchsorted(age.max(axis=1), 0.0, side="right"))
    if adults < len(age):
        scale = (gamma(1 + 1 / bio.longevity_shape) * np.exp(-c.log_longevity[0])).astype(f4)
        k = bio.longevity_shape
        loss[adults:] += _power(age[adults:] * scale, k) - _power(c.adult_days[0].astype(f4) * scale, k)
    np.maximum(loss, f4(0), out=loss)
    left = np.exp(np.negative(loss, out=loss), out=loss)
    left *= c.number[0].astype(f4)
    return left


def _power(base: NDArray[Any], exponent: float) -> Floats32:
    """`base` to a power above 0, in single precision, where a base below 0 counts as 0: quicker than numpy's own."""
    out: Floats32 = np.log(np.maximum(base, f4(1e-12)))
    out *= f4(exponent)
    return np.asarray(np.exp(out, out=out))
