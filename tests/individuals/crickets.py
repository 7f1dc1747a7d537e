"""Each cricket alone: a discrete-event simulation of one clutch with SimPy, independent of the colony code.

Every egg is a process of its own. It waits until it is laid, until its own development is done, then lives day by day
at the risk of its own stage and of the crowd around it, turns adult when its own nymph time is done, and dies. Nothing
here imports the colony code; only the species table and its rate laws are shared, as the laws of nature of both.

SimPy 4, https://simpy.readthedocs.io - process-based discrete-event simulation.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import exp, gamma, log, log1p, sqrt
from typing import Any

import numpy as np
import simpy
from numpy.typing import NDArray

from chirr.engine.biology.rates import egg_rate_per_day, nymph_rate_per_day
from chirr.engine.biology.species import Species
from chirr.engine.biology.survival import day14_clock

Floats = NDArray[np.float64]

DAY_H = 24.0


@dataclass(frozen=True, kw_only=True)
class Insect:
    """The numbers of one kind of cricket; shares, coefficients of variation, days and mg as named."""

    egg_cv: float
    hatch_share: float
    nymph_cv: float
    to_day14: float
    day14_to_adult: float
    day14_clock: float
    early_loss_shape: float
    crowd_at: tuple[float, ...]
    crowd_survival: tuple[float, ...]
    adult_life_days: float
    longevity_slope_per_c: float
    longevity_shape: float
    hatchling_mg: float
    adult_mg: float
    growth_exponent: float
    mass_cv: float
    size_reference_c: float
    size_slope_per_c: float
    size_effect_cap: float

    @classmethod
    def of(cls, species: Species, **changes: float) -> Insect:
        """From the species table, some numbers changed."""
        s = species
        insect = cls(
            egg_cv=s.egg_cv.value, hatch_share=s.hatch_share.value, nymph_cv=s.nymph_cv.value,
            to_day14=s.survival_to_day14.value, day14_to_adult=s.survival_day14_to_adult.value,
            day14_clock=day14_clock(s), early_loss_shape=s.early_loss_shape.value,
            crowd_at=s.density_survival.at, crowd_survival=s.density_survival.value,
            adult_life_days=s.adult_longevity_days.value, longevity_slope_per_c=s.longevity_slope_per_c.value,
            longevity_shape=s.longevity_shape.value, hatchling_mg=s.hatchling_mg.value, adult_mg=s.adult_mass_mg.value,
            growth_exponent=s.growth_exponent.value, mass_cv=s.mass_cv.value,
            size_reference_c=s.size_reference_c.value, size_slope_per_c=s.size_slope_per_c.value,
            size_effect_cap=s.size_effect_cap.value,
        )  # fmt: skip
        return replace(insect, **changes)  # type: ignore[arg-type]

    def nymph_loss(self, x0: float, x1: float, per_cm2: float) -> float:
        """Hazard of a nymph between two points of its own development, in a crowd."""
        split, shape = self.day14_clock, self.early_loss_shape
        loss = 0.0
        if x0 < split:
            early = (min(x1, split) / split) ** shape - (x0 / split) ** shape
            loss -= log(self.to_day14) * early
        if x1 > split:
            late = (min(x1, 1.0) - max(x0, split)) / (1.0 - split)
            loss += (self.crowding(per_cm2) - log(self.day14_to_adult)) * late
        return loss

    def crowding(self, per_cm2: float) -> float:
        """What a crowd adds to the loss from day 14 to adult: straight in the logarithm between the points."""
        at, logs = self.crowd_at, [-log(v) for v in self.crowd_survival]
        k = min(max(bisect_left(at, per_cm2), 1), len(at) - 1)
        slope = (logs[k] - logs[k - 1]) / (at[k] - at[k - 1])
        return logs[0] if per_cm2 <= at[0] else logs[k - 1] + slope * (per_cm2 - at[k - 1])

    def adult_loss(self, age0: float, age1: float) -> float:
        """Hazard of an adult between two ages in mean lives (Weibull with mean 1)."""
        k = self.longevity_shape
        return float(gamma(1 + 1 / k) ** k * (age1**k - age0**k))


class Clock:
    """A running sum of an hourly rate per day, read at any hour and asked when it will reach a reading."""

    def __init__(self, rate_per_day: Floats) -> None:
        self.sums: list[float] = [0.0, *np.cumsum(rate_per_day / 24.0).tolist()]

    def at(self, hour: float) -> float:
        """The reading at an hour."""
        i = min(int(hour), len(self.sums) - 2)
        return self.sums[i] + (hour - i) * (self.sums[i + 1] - self.sums[i])

    def when(self, reading: float) -> float:
        """The hour of a reading; infinite if it lies beyond the end."""
        i = bisect_left(self.sums, reading)
        if i >= len(self.sums):
            return float("inf")
        if i == 0:
            return 0.0
        low, high = self.sums[i - 1], self.sums[i]
        return i - 1 + (reading - low) / (high - low)

    def read(self, hours: Floats) -> Floats:
        """Readings at many hours."""
        return np.interp(hours, np.arange(len(self.sums)), self.sums)


class Bin:
    """Where they live: its clocks, its surface, and who is alive in it."""

    def __init__(self, eggs: int, temperature_c: Floats, species: Species, insect: Insect, surface_cm2: float) -> None:
        self.insect, self.surface_cm2 = insect, surface_cm2
        rate = nymph_rate_per_day(temperature_c, species)
        self.egg, self.nymph = Clock(egg_rate_per_day(temperature_c, species)), Clock(rate)
        self.warmth = Clock(rate * (temperature_c - insect.size_reference_c))
        warmer = temperature_c - 30.0
        self.ageing = Clock(np.exp(insect.longevity_slope_per_c * warmer) / insect.adult_life_days)
        self.hatched_h, self.adult_h, self.died_h = (np.full(eggs, np.inf) for _ in range(3))
        self.pace, self.size = np.ones(eggs), np.ones(eggs)
        self.alive = 0

    def census(self, now: float) -> tuple[int, int, float, float]:
        """Living crickets, adults among them, the mean of their masses and its standard error [mg]."""
        i = np.flatnonzero((self.hatched_h <= now) & (self.died_h > now))
        if not len(i):
            return 0, 0, float("nan"), float("nan")
        insect, hatched = self.insect, self.hatched_h[i]
        grew_until = np.minimum(now, self.adult_h[i])
        clock = self.nymph.read(grew_until) - self.nymph.read(hatched)
        warmer = (self.warmth.read(grew_until) - self.warmth.read(hatched)) / np.maximum(clock, 1e-9)
        cap = insect.size_effect_cap
        adult_mg = insect.adult_mg * np.clip(np.exp(-insect.size_slope_per_c * warmer), 1 - cap, 1 + cap)
        done = np.clip(clock * self.pace[i], 0.0, 1.0) ** insect.growth_exponent
        mass = insect.hatchling_mg * (adult_mg / insect.hatchling_mg) ** done * self.size[i]
        error = float(mass.std()) / sqrt(len(i))
        return len(i), int((self.adult_h[i] <= now).sum()), float(mass.mean()), error


def _around_one(cv: float, rng: np.random.Generator) -> float:
    """A lognormal number with mean 1."""
    variance = log1p(cv**2)
    return exp(sqrt(variance) * rng.standard_normal() - variance / 2)


def cricket(env: simpy.Environment, i: int, laid_h: float, home: Bin, rng: np.random.Generator) -> Iterator[Any]:
    """One life: egg, nymph, adult, dead."""
    insect = home.insect
    yield env.timeout(laid_h)
    if rng.random() > insect.hatch_share:
        return
    hatch_h = home.egg.when(home.egg.at(laid_h) + _around_one(insect.egg_cv, rng))
    if hatch_h == float("inf"):
        return
    yield env.timeout(hatch_h - env.now)
    home.hatched_h[i] = env.now
    home.alive += 1
    home.pace[i], home.size[i] = _around_one(insect.nymph_cv, rng), _around_one(insect.mass_cv, rng)
    if (yield from _nymph(env, home, float(home.pace[i]), rng)):
        home.adult_h[i] = env.now
        yield from _adult(env, home, rng)
    home.died_h[i] = env.now
    home.alive -= 1


def _nymph(env: simpy.Environment, home: Bin, pace: float, rng: np.random.Generator) -> Iterator[Any]:
    """Live until the adult moult (True) or until the luck it was born with is used up (False)."""
    luck, x = rng.standard_exponential(), 0.0
    adult_h = home.nymph.when(home.nymph.at(env.now) + 1.0 / pace)
    while True:
        until = min(env.now + DAY_H, adult_h)
        x1 = x + pace * (home.nymph.at(until) - home.nymph.at(env.now))
        loss = home.insect.nymph_loss(x, x1, home.alive / home.surface_cm2)
        if loss >= luck:
            yield env.timeout((until - env.now) * luck / loss)
            return False
        yield env.timeout(until - env.now)
        if until == adult_h:
            return True
        luck, x = luck - loss, x1


def _adult(env: simpy.Environment, home: Bin, rng: np.random.Generator) -> Iterator[Any]:
    """Live as an adult until the end."""
    luck, start = rng.standard_exponential(), home.ageing.at(env.now)
    lives = (luck / home.insect.adult_loss(0.0, 1.0)) ** (1.0 / home.insect.longevity_shape)
    yield env.timeout(min(home.ageing.when(start + lives), 1e9) - env.now)


def simulate_clutch(
    eggs: int,
    laid_from_h: float,
    laid_to_h: float,
    temperature_c: Floats,
    species: Species,
    rng: np.random.Generator,
    *,
    insect: Insect | None = None,
    surface_cm2: float = float("inf"),
) -> dict[str, Floats]:
    """Let one clutch live.

    Parameters
    ----------
    eggs : int
        Laid evenly between the two hours.
    temperature_c : ndarray, shape (hours,)
        Where they are [degC].
    species : Species
        Its rate laws; `insect` are its other numbers, from the table if left out.
    surface_cm2 : float
        Floor and hides of the bin; infinite for no crowding.

    Returns
    -------
    dict of ndarray
        `hatch_h` (hours, sorted); by day, each of shape (days,): `census_h`, `alive`, `adults`, `mean_mg` and its
        standard error `mean_mg_error`.
    """
    env = simpy.Environment()
    home = Bin(eggs, temperature_c, species, insect or Insect.of(species), surface_cm2)
    for i, laid_h in enumerate(np.sort(rng.uniform(laid_from_h, laid_to_h, eggs))):
        env.process(cricket(env, i, float(laid_h), home, rng))
    seen: list[tuple[float, int, int, float, float]] = []

    def observer() -> Iterator[Any]:
        while True:
            seen.append((env.now, *home.census(env.now)))
            yield env.timeout(DAY_H)

    env.process(observer())
    env.run(until=len(temperature_c) - 1)
    names = ("census_h", "alive", "adults", "mean_mg", "mean_mg_error")
    by_day = {n: np.asarray(column, dtype=np.float64) for n, column in zip(names, zip(*seen, strict=True), strict=True)}
    return {"hatch_h": np.sort(home.hatched_h[np.isfinite(home.hatched_h)]), **by_day}
