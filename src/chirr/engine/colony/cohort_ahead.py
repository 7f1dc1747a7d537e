"""One cohort through the days to come, in closed form on the clock readings of its place.

All draws and all days looked at at once, in single precision: survival, mass, and when it is ready.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What every cohort shares: the species, log mass of hatchlings in each draw, the mass to harvest at, the hour."""

    bio: Biology
    log_hatchling_mg: Floats
    target_mg: float
    now_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CohortAhead:
    """One cohort through the days to come: number, mean and variance of log mass, shape (days looked at, draws)."""

    number: Floats32
    log_mg: Floats32
    log_variance: Floats32
    ready_h: Floats
    kg_at_ready: Floats
    x_now: float
    adult_days_now: float

    @property
    def mean_mg(self) -> Floats32:
        return np.exp(self.log_mg + np.float32(0.5) * self.log_variance)


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
    bio, f4 = setting.bio, np.float32
    at = np.arange(passed.shape[1]) if at is None else at
    x0, speed = c.x[0], np.exp(c.log_speed[0])
    begun = np.zeros_like(x0) if start is None else start
    nymph, looked = passed[NYMPH], passed[:, at, None].astype(f4)
    x = (x0 - begun * speed).astype(f4) + looked[NYMPH] * speed.astype(f4)
    adult_at = (1.0 - x0) / speed + begun
    ageing = np.where(x0 >= 1.0, 0.0, np.interp(adult_at, nymph, passed[ADULT]))
    age = c.adult_days[0].astype(f4) + np.maximum(looked[ADULT] - ageing.astype(f4), f4(0))
    bins: Bins = [(surface_cm2, None)]
    if move is not None:
        by_then = (x0 + (nymph[move[0]] - begun) * speed).astype(f4)
        bins = [(surface_cm2, by_then), (move[1].surface_cm2, None)]
    number = _left(c, x, age, bins, bio)
    if shown is not None:
        number = number * shown
    adult = c.log_adult_mg[0].astype(f4) + _size_effect(c, passed, at, begun, adult_at, bio)
    m0 = setting.log_hatchling_mg.astype(f4)
    mean, variance, slope = bio.curve.single(x)
    span = adult - m0
    between = f4(np.log1p(bio.curve.mass_cv**2))
    log_mg = span * mean + (m0 - f4(0.5) * between)
    log_variance = span * span * (variance + slope * slope * c.x_variance[0].astype(f4)) + between
    wanted = developed_share_at_mass(bio.curve, setting.target_mg, m0.astype(float), adult[-1].astype(float))
    ready_reading = np.maximum((wanted - x0) / speed + begun, 0.0)
    ready_h, kg = _ready(c, ready_reading, wanted, x0, nymph, bins, adult[-1], m0, setting)
    return CohortAhead(
        number=number.astype(f4),
        log_mg=log_mg,
        log_variance=log_variance,
        ready_h=ready_h,
        kg_at_ready=kg,
        x_now=float(np.mean(x[0])),
        adult_days_now=float(np.mean(age[0])),
    )


def _size_effect(c: Cohorts, passed: Floats, at: Ints, begun: Floats, adult_at: Floats, bio: Biology) -> Floats32:
    """Log of what warmth does to the adult mass by each day; after the adult moult no warmth changes it any more."""
    nymph, warmth = passed[NYMPH, at, None].astype(np.float32), passed[WARMTH, at, None].astype(np.float32)
    grown = nymph > adult_at.astype(np.float32)
    base_clock = (c.clock[0] - begun).astype(np.float32)
    base_warmth = (c.warmth[0] - np.interp(begun, passed[NYMPH], passed[WARMTH])).astype(np.float32)
    at_moult = np.interp(adult_at, passed[NYMPH], passed[WARMTH]).astype(np.float32)
    clock = np.maximum(base_clock + np.where(grown, adult_at.astype(np.float32), nymph), np.float32(0.05))
    warmer = (base_warmth + np.where(grown, at_moult, warmth)) / clock
    cap = float(-np.log(1 - bio.size_cap))
    return np.asarray(np.clip(np.float32(-bio.size_slope) * warmer, -cap, cap), dtype=np.float32)


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
    left = _left(c, x[None, :].astype(np.float32), c.adult_days.astype(np.float32), bins, setting.bio)[0]
    mean, variance, slope = setting.bio.curve.at(x)
    span = adult - m0
    spread = span**2 * (variance + slope**2 * c.x_variance[0])
    return setting.now_h + 24.0 * days, np.asarray(
        left * np.exp(np.minimum(m0 + span * mean + 0.5 * spread, _HEAVIEST)) / 1e6
    )


def shares_above(cohort: CohortAhead, bound_mg: float) -> tuple[Floats32, Floats32]:
    """Share of the crickets, and of their mass, heavier than a bound above 0 [mg], shape (days looked at, draws)."""
    sd: Floats32 = np.sqrt(cohort.log_variance)
    u: Floats32 = (cohort.log_mg - np.float32(np.log(bound_mg))) / sd
    return _share_where_unsure(u), _share_where_unsure(u + sd)


def _share_where_unsure(u: Floats32) -> Floats32:
    """`normal_share` by days, worked out only for the days on which some draw is neither all below nor all above."""
    out = np.zeros_like(u)
    low, high = u.min(axis=1), u.max(axis=1)
    out[low >= _SURE] = 1.0
    unsure = (low < _SURE) & (high > -_SURE)
    out[unsure] = normal_share(u[unsure])
    return out


_SURE = 5.0
"""So many spreads from a bound a share is 0 or 1 for every purpose here."""


def normal_share(u: Floats32) -> Floats32:
    """Normal distribution function in single precision, to 2e-4.

    References
    ----------
    Bowling, Khasawneh, Kaewkuekool and Cho (2009), J. Ind. Eng. Manag. 2(1), 114-127: a logistic of a cubic.
    """
    f4 = np.float32
    return np.asarray(f4(1) / (f4(1) + np.exp(np.clip(-u * (f4(1.5976) + f4(0.070565992) * u * u), -80, 80))), dtype=f4)


def _left(c: Cohorts, x: Floats32, age: Floats32, bins: Bins, bio: Biology) -> Floats32:
    """Crickets left of a cohort at developed shares `x` and adult ages `age`, shape (..., draws)."""
    f4, d = np.float32, np.float32(bio.day14)
    x0 = c.x[0].astype(f4)
    loss: Floats32 = np.zeros_like(x)
    since = np.clip(x0, d, f4(1))
    for surface_cm2, until in bins:
        crowding = -np.log(density_survival_factor(c.number[0] / surface_cm2, bio.species))
        late = ((c.late[0] + crowding) / (1 - bio.day14)).astype(f4)
        end = f4(1) if until is None else np.maximum(np.clip(until, d, f4(1)), since)
        loss += late * (np.minimum(np.maximum(x, since), end) - since)
        since = np.broadcast_to(end, since.shape)
    if float(x0.min()) < d:
        then, now = _power(np.minimum(x, d) / d, bio.early_shape), _power(np.minimum(x0, d) / d, bio.early_shape)
        loss += c.early[0].astype(f4) * (then - now)
    if float(np.max(age)) > 0:
        scale = (gamma(1 + 1 / bio.longevity_shape) * np.exp(-c.log_longevity[0])).astype(f4)
        k = bio.longevity_shape
        loss += _power(age * scale, k) - _power(c.adult_days[0].astype(f4) * scale, k)
    return np.asarray(c.number[0].astype(f4) * np.exp(-np.maximum(loss, f4(0))), dtype=f4)


def _power(base: NDArray[Any], exponent: float) -> Floats32:
    """`base` to a power above 0, in single precision, where a base below 0 counts as 0: quicker than numpy's own."""
    return np.asarray(np.exp(np.float32(exponent) * np.log(np.maximum(base, np.float32(1e-12)))))
