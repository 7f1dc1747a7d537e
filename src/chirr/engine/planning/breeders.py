"""Breeders: eggs a day against age, when a lot has had its day, and when what follows it must be begun.

Three things say when. A lot is given up when its eggs fall below half of its peak (common practice), by its age or by
what its own trays were counted to hold. And a bin does best when breeders go at the age at which a day more brings less
than a day of the whole turn does, the days in which young adults do not lay yet counted in: the theorem of the best
moment to leave, known from foraging and from forestry.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import gamma

import numpy as np
from numpy.typing import NDArray

from chirr.engine.biology.laying import laying_of_lot
from chirr.engine.biology.species import Species
from chirr.engine.colony.clocks import ADULT
from chirr.engine.colony.latents import FarmLevel
from chirr.engine.planning.lot_draws import LotDraws

Floats = NDArray[np.float64]

SPENT_SHARE = 0.5
"""Breeders are given up when eggs fall below about half of their peak (common practice)."""

SPENT_MIN_TRAYS = 3

TURN_DAYS = 1.0
"""Days in which a bin stands empty between two lots: emptied, cleaned, stocked (judgement)."""

OLDEST_DAYS = 75.0
STEP_DAYS = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Ages:
    """The ages of laying of the farm's breeders, in draws of belief, each of shape (draws,).

    first_day: age at the first eggs; lays_from: from this age on, half of the rise to the peak, they lay worth the name
    [days as adults at 30 degC]; decline: share of laying lost from day to day after the peak.
    """

    species: Species
    first_day: Floats
    decline: Floats

    @classmethod
    def of(cls, farm: FarmLevel, species: Species) -> Ages:
        """As belief has them: the published ages and their ranges until the farm's trays tell more."""
        return cls(species=species, first_day=farm.first_eggs_day, decline=farm.laying_decline)

    @property
    def lays_from(self) -> Floats:
        return np.asarray(self.first_day + 0.5 * self.species.laying_ramp_days.value)

    def factor(self, age_days: Floats) -> Floats:
        """Laying of a lot's females relative to the peak, at ages of shape (..., draws); nothing before the moult."""
        return np.where(age_days > 0, laying_of_lot(age_days, self.first_day, self.decline, self.species), 0.0)


def half_of_peak_day(ages: Ages) -> Floats:
    """Age at which a lot would lay half of its peak if none died [days at 30 degC], shape (draws,)."""
    age = np.arange(0.0, OLDEST_DAYS + STEP_DAYS, STEP_DAYS)
    return spent_age(age, ages.factor(age[:, None]))


def life_course(ages: Ages, log_longevity_days: Floats, shape: float) -> tuple[Floats, Floats]:
    """Ages [days at 30 degC], shape (ages,), and eggs a day of a lot at them per adult at the moult, (ages, draws).

    Relative to a female at her peak; deaths are counted in. log_longevity_days: log of the mean adult life, (draws,).
    """
    age = np.arange(0.0, OLDEST_DAYS + STEP_DAYS, STEP_DAYS)
    alive = adults_left(age[:, None], log_longevity_days, shape)
    return age, np.asarray(alive * ages.factor(np.broadcast_to(age[:, None], alive.shape)))


def adults_left(age_days: Floats, log_longevity_days: Floats, shape: float) -> Floats:
    """Share of a lot's adults alive at an age [days at 30 degC]: Weibull with the mean life given; shapes broadcast."""
    return np.asarray(np.exp(-((age_days * gamma(1 + 1 / shape) * np.exp(-log_longevity_days)) ** shape)))


def spent_age(age: Floats, course: Floats) -> Floats:
    """Age at which a lot's eggs have fallen below `SPENT_SHARE` of its peak, the last one if never, shape (draws,)."""
    after = np.arange(len(age))[:, None] > course.argmax(axis=0)
    spent = after & (course < SPENT_SHARE * course.max(axis=0))
    return np.asarray(np.where(spent.any(axis=0), age[spent.argmax(axis=0)], age[-1]))


def renewal_age(age: Floats, course: Floats, *, turn_days: float = TURN_DAYS) -> Floats:
    """Age at which to renew a lot so that its bin yields most eggs a day in the long run, shape (draws,)."""
    laid = np.cumsum(course, axis=0) * STEP_DAYS
    return np.asarray(age[(laid / (age[:, None] + turn_days)).argmax(axis=0)])


@dataclass(frozen=True, slots=True, kw_only=True)
class BreedersAhead:
    """One breeding lot from now on.

    eggs_per_day: shape (days + 1, draws). ages, eggs_at_age: eggs a day over its whole life as adults, shape (ages,)
    [days at 30 degC] and (ages, draws). spent_day, renew_day: days from now, (draws,), negative when past, at which it
    falls below half of its peak, and at which a fresh lot gives more. trays_share: what its last trays held of its best
    one, where that is below half; None otherwise.
    """

    eggs_per_day: Floats
    ages: Floats
    eggs_at_age: Floats
    spent_day: Floats
    renew_day: Floats
    trays_share: float | None = None

    @property
    def retire_day(self) -> Floats:
        """The earliest of the two, and of today where its own trays say that it is spent."""
        by_age = np.minimum(self.spent_day, self.renew_day)
        return by_age if self.trays_share is None else np.minimum(by_age, 0.0)


def falling(yields: Sequence[float]) -> float | None:
    """Share of its best tray that a lot's last two trays held, when that is below `SPENT_SHARE`; None otherwise.

    Two trays are taken together because a single count is too rough to end a lot on.

    >>> falling([900, 1000, 450, 430]), falling([900, 1000, 800])
    (0.44, None)
    """
    if len(yields) < SPENT_MIN_TRAYS:
        return None
    share = (yields[-1] + yields[-2]) / 2 / max(yields)
    return share if share < SPENT_SHARE else None


def breeders_ahead(
    lot: LotDraws, species: Species, ages: Ages, *, warmth: float, trays: float, yields: Sequence[float] = ()
) -> BreedersAhead:
    """Eggs of a lot's breeders from now on, and when it has had its day.

    Parameters
    ----------
    lot : LotDraws
    species : Species
    ages : Ages
    warmth : float
        Laying at the temperature of its bin, relative to the best.
    trays : float
        Trays in a breeding bin together: what one tray offers is learnt, and all of them share a bin's eggs.
    yields : sequence of float
        Eggs or pinheads counted in the lot's trays, in order of laying, made comparable between sizes of tray.

    Returns
    -------
    BreedersAhead
        Eggs that the females would lay into trays that never fill: the most that trays can bring.
    """
    age = lot.adult_days + lot.passed[ADULT][:, None]
    per_female = lot.farm.eggs_per_female_day * trays * warmth
    per_adult = species.female_share.value * per_female
    eggs = lot.number * per_adult * ages.factor(age)
    shape = species.longevity_shape.value
    grid, course = life_course(ages, lot.state.log_longevity[0], shape)
    alive_now = adults_left(np.maximum(lot.adult_days, 0.0), lot.state.log_longevity[0], shape)
    per_day = max(float(lot.passed[ADULT][-1]) / (lot.passed.shape[1] - 1), 1e-3)
    return BreedersAhead(
        eggs_per_day=eggs,
        ages=grid,
        eggs_at_age=lot.number[0] / alive_now * per_adult * course,
        spent_day=(spent_age(grid, course) - lot.adult_days) / per_day,
        renew_day=(renewal_age(grid, course) - lot.adult_days) / per_day,
        trays_share=falling(yields),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Replacement:
    """Days from now by which the next breeders must lay, be adult, be hatched, be laid; each of shape (draws,)."""

    lays: Floats
    adult: Floats
    hatched: Floats
    laid: Floats


def replacement(
    retire_day: Floats, ages: Ages, *, nymph_days: Floats, egg_days: Floats, adult_days_per_day: float
) -> Replacement:
    """Work back from the day on which a lot is retired, so that its followers lay when it stops.

    Parameters
    ----------
    retire_day : ndarray, shape (draws,)
        Days from now.
    ages : Ages
        Its `lays_from` passes between the adult moult and laying worth the name.
    nymph_days, egg_days : ndarray, shape (draws,)
        From hatch to adult, and from laying to hatch, where they will live.
    adult_days_per_day : float
        How fast adults age there, 1 at 30 degC.

    Returns
    -------
    Replacement
    """
    adult = retire_day - ages.lays_from / adult_days_per_day
    hatched = adult - nymph_days
    return Replacement(lays=retire_day, adult=adult, hatched=hatched, laid=hatched - egg_days)


def cold_nights(night_mean_c: Floats, species: Species) -> NDArray[np.bool_]:
    """Which nights were so cold that mating stops, from their mean temperatures [degC], shape (nights,)."""
    return np.asarray(night_mean_c <= species.cold_night_c.value)


def temperature_behind(clocks_adult_per_hour: Floats, species: Species) -> Floats:
    """Hourly temperature [degC] from what the ageing clock moved in each hour, shape (hours,).

    That clock is exp(-slope (30 - T)) / 24 an hour, so it tells the temperature exactly.
    """
    return np.asarray(
        30.0 + np.log(np.maximum(clocks_adult_per_hour, 1e-12) * 24.0) / species.longevity_slope_per_c.value
    )
