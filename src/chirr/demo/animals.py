"""What the crickets really do, unseen: clutches that hatch egg by egg, lots that grow and lose some each day."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from chirr.demo.scenario import Nature
from chirr.demo.weather import AGEING, EGG, NYMPH, WARMTH, Climate
from chirr.engine.biology.laying import eggs_per_cm2_in_tray, eggs_per_female_day
from chirr.engine.biology.species import species
from chirr.engine.biology.survival import log_linear_factor

Floats = NDArray[np.float64]

_DENSITIES = np.linspace(0, 3, 301)
_NODES = 48

SICK_PER_DAY = 0.0012
"""Deaths a day that each step of sickness adds."""


@dataclass(kw_only=True)
class Clutch:
    """The eggs of one tray. `due` are the readings of its own egg clock at which each egg that hatches does so."""

    name: str
    bin: str
    tray_type: str
    laid_h: float
    laid_day: int
    breeders: str
    substrate: str
    cycle: int
    row: int
    pulled_h: float | None = None
    eggs: int = 0
    due: Floats = field(default_factory=lambda: np.zeros(0))
    place: str | None = None
    lot: str | None = None
    hatched_day: int | None = None
    emptied: bool = False
    arrived: int = 0
    came_h: float = 0.0
    clock: float = 0.0
    """Its egg clock when it came to where it now stands."""

    def reading(self, climate: Climate, hour: float) -> float:
        """Its egg clock at an hour of its present stay."""
        return self.clock + climate.read(EGG, self.row, hour) - climate.read(EGG, self.row, self.came_h)

    def go(self, climate: Climate, hour: float, row: int) -> None:
        """It is carried to another place; its clock goes on from where it was."""
        self.clock, self.came_h, self.row = self.reading(climate, hour), hour, row

    def hatched(self, climate: Climate, hour: float) -> int:
        """Pinheads out by this hour."""
        return int(np.searchsorted(self.due, self.reading(climate, hour)))

    def hour_of(self, climate: Climate, share: float) -> float | None:
        """Hour by which a share of its hatch is done, if it stays where it is; None if nothing hatches."""
        if not len(self.due):
            return None
        wanted = float(np.quantile(self.due, share)) - self.clock + climate.read(EGG, self.row, self.came_h)
        row = climate.sums[EGG, self.row]
        return float(np.interp(wanted, row, np.arange(len(row)))) if wanted < row[-1] else None


def fill_clutch(
    clutch: Clutch,
    climate: Climate,
    nature: Nature,
    rng: np.random.Generator,
    *,
    eggs: int,
    hatch_share: float,
    hour: float,
) -> None:
    """The tray comes out: how many eggs it holds, and when each will hatch."""
    row = climate.sums[EGG, clutch.row]
    at = rng.uniform(clutch.laid_h, hour, rng.binomial(eggs, hatch_share))
    own = np.interp(at, np.arange(len(row)), row) - climate.read(EGG, clutch.row, clutch.laid_h)
    clutch.eggs, clutch.pulled_h, clutch.came_h = eggs, hour, clutch.laid_h
    clutch.due = np.sort(own + _lognormal(nature.egg_cv, len(at), rng))


def _lognormal(cv: float, size: int, rng: np.random.Generator) -> Floats:
    """Positive numbers of mean 1."""
    sd = math.sqrt(math.log1p(cv**2))
    return np.asarray(np.exp(sd * rng.standard_normal(size) - sd**2 / 2))


def eggs_standing(
    females: float, adult_days: float, temp_c: float, days_in: float, tray_cm2: float, nature: Nature
) -> float:
    """Eggs expected in a tray after some days in a bin of this farm."""
    rate = float(eggs_per_female_day(adult_days, temp_c, species(nature.species))) * nature.recovered_share
    standing = eggs_per_cm2_in_tray(
        females * rate / tray_cm2, days_in, nature.tray_capacity_per_cm2, nature.egg_eating_per_day2
    )
    return float(standing) * tray_cm2


@dataclass(kw_only=True)
class Lot:
    """Crickets that live together: how many, and how far along (x: 0 at the hatch, 1 at the adult moult)."""

    name: str
    kind: str
    """pinheads (in the nursery), growing, or breeders"""
    bin: str
    row: int
    surface_cm2: float
    hour: float
    alive: int = 0
    x: float = 0.0
    x_var: float = 0.0
    adult_days: float = 0.0
    began_day: int | None = None
    speed: float = 1.0
    size: float = 1.0
    frail: float = 1.0
    sick: float = 1.0
    watched: bool = False
    counted: bool = False
    warmth: float = 0.0
    warm_days: float = 0.0
    dead: int = 0
    """Bodies lying in the bin, not yet taken out."""
    ended_day: int | None = None
    days: list[int] = field(default_factory=list)
    past: list[tuple[int, float, float]] = field(default_factory=list)
    """Each morning: alive, x, mass at the adult moult [mg]."""

    def arrive(self, pinheads: int) -> None:
        """Hatchlings join."""
        total = self.alive + pinheads
        if total:
            old, new = self.alive / total, pinheads / total
            self.x_var = old * self.x_var + old * new * self.x**2
            self.x *= old
        self.alive = total

    def settle(self, bin_name: str, row: int, surface_cm2: float) -> None:
        """They are tipped into another bin."""
        self.bin, self.row, self.surface_cm2, self.dead = bin_name, row, surface_cm2, 0

    def adult_mg(self, nature: Nature) -> float:
        """Mean mass at their adult moult: their own size, and smaller where they grew up warmer."""
        mean_c = self.warmth / self.warm_days if self.warm_days else 30.0
        return nature.adult_mg * self.size * math.exp(-nature.size_slope_per_c * (mean_c - 30.0))

    def step(self, climate: Climate, hour: float, nature: Nature, rng: np.random.Generator) -> None:
        """Live on to `hour`."""
        if hour <= self.hour:
            return
        before, self.hour = self.hour, hour
        if not self.alive:
            return
        dx = (climate.read(NYMPH, self.row, hour) - climate.read(NYMPH, self.row, before)) * self.speed
        if self.x < 1:
            hazard = self._nymph_hazard(self.x, min(self.x + dx, 1.0), nature)
            self.warmth += climate.read(WARMTH, self.row, hour) - climate.read(WARMTH, self.row, before)
            self.warm_days += (hour - before) / 24
        else:
            aged = climate.read(AGEING, self.row, hour) - climate.read(AGEING, self.row, before)
            hazard = ((self.adult_days + aged) ** 3 - self.adult_days**3) / (nature.adult_life_days / 0.893) ** 3
            self.adult_days += aged
        self.x += dx
        hazard = hazard * self.frail + SICK_PER_DAY * (self.sick - 1) * (hour - before) / 24
        died = int(rng.binomial(self.alive, -math.expm1(-hazard)))
        self.alive -= died
        if self.x > 0.3:
            self.dead += int(rng.binomial(died, 0.55))

    def _nymph_hazard(self, x0: float, x1: float, nature: Nature) -> float:
        split, shape = nature.day14_clock, nature.early_loss_shape
        early: float = (min(x1, split) / split) ** shape - (min(x0, split) / split) ** shape
        hazard: float = -math.log(nature.to_day14) * early
        late = (max(x1, split) - max(x0, split)) / (1 - split)
        if late > 0:
            crowd = min(int(self.alive / self.surface_cm2 * 100), 300)
            hazard += late * (_CROWDING[crowd] - math.log(nature.day14_to_adult))
        return hazard

    def masses(self, count: int, nature: Nature, rng: np.random.Generator) -> Floats:
        """Masses of crickets taken at random [mg]."""
        x = (self.x + math.sqrt(self.x_var) * rng.standard_normal(count)) * _lognormal(nature.nymph_cv, count, rng)
        return _grown(x, self.adult_mg(nature), nature) * _lognormal(nature.mass_cv, count, rng)

    def mean_mg(self, nature: Nature) -> float:
        """Their mean mass."""
        return float(mean_mass_mg(np.array([self.x]), np.array([self.adult_mg(nature)]), nature)[0])


def _grown(x: Floats, adult_mg: Floats | float, nature: Nature) -> Floats:
    part = np.clip(x, 0.0, 1.0) ** nature.growth_exponent
    return np.asarray(nature.hatchling_mg * np.exp(np.log(np.asarray(adult_mg) / nature.hatchling_mg) * part))


def mean_mass_mg(x: Floats, adult_mg: Floats, nature: Nature) -> Floats:
    """Mean over individuals that develop faster and slower, shape (n,)."""
    from scipy.special import ndtri

    sd = math.sqrt(math.log1p(nature.nymph_cv**2))
    pace = np.exp(sd * ndtri((np.arange(_NODES) + 0.5) / _NODES) - sd**2 / 2)
    return np.asarray(_grown(x[:, None] * pace, adult_mg[:, None], nature).mean(axis=1))


_CROWDING: list[float] = (
    -np.log(log_linear_factor(_DENSITIES, species("acheta-domesticus").density_survival))
).tolist()
"""What crowding adds to the loss from day 14 to adult, by hundredths of a cricket per cm2."""
