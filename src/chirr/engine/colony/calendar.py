"""What a forecast is measured against: a textbook's calendar, and a careful keeper's averages of the farm so far.

Neither knows temperature, crowding or how certain a count is. The calendar gives one number; averages give quantiles.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import nnls
from scipy.stats import t as student

from chirr.engine.biology.rates import egg_rate_per_day, nymph_rate_per_day
from chirr.engine.biology.species import Species

Floats = NDArray[np.float64]

TEXTBOOK_C = 30.0
"""The temperature for which keepers' calendars are written: common practice, no published source."""

FEW = 3
"""With fewer values than this an average is not trusted and the calendar's number stands in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Textbook:
    """The fixed numbers of a calendar, from the middle values of the species table at `TEXTBOOK_C`.

    hatch_days: from laying to first pinheads; nymph_days: from there to adult; eggs_per_female_day: that come to stand
    in the tray.
    """

    hatch_days: float
    nymph_days: float
    hatchling_mg: float
    adult_mg: float
    growth_exponent: float
    to_day14: float
    day14_to_adult: float
    eggs_per_female_day: float
    most_eggs_per_cm2: float
    hatch_share: float
    female_share: float

    @classmethod
    def of(cls, species: Species) -> Textbook:
        """The calendar of a species; first pinheads come on the last whole day before the mean of incubation.

        Examples
        --------
        >>> from chirr.engine.biology.species import species
        >>> Textbook.of(species("acheta-domesticus")).hatch_days  # day 12 at 30 degC, Mitchaothai et al. 2024
        12.0
        """
        at = np.array(TEXTBOOK_C)
        s = species
        return cls(
            hatch_days=float(math.floor(1 / float(egg_rate_per_day(at, s)))),
            nymph_days=float(round(1 / float(nymph_rate_per_day(at, s)))),
            hatchling_mg=s.hatchling_mg.value, adult_mg=s.adult_mass_mg.value, growth_exponent=s.growth_exponent.value,
            to_day14=s.survival_to_day14.value, day14_to_adult=s.survival_day14_to_adult.value,
            eggs_per_female_day=s.eggs_per_female_day_peak.value * s.farm_recovery_share.value,
            most_eggs_per_cm2=s.tray_capacity_eggs_per_cm2.value, hatch_share=s.hatch_share.value,
            female_share=s.female_share.value,
        )  # fmt: skip

    def mass_mg(self, age_days: ArrayLike) -> Floats:
        """Mean mass [mg] at an age [days from first pinheads], any shape."""
        part = np.clip(np.asarray(age_days, dtype=np.float64) / self.nymph_days, 0.0, 1.0) ** self.growth_exponent
        return np.asarray(self.hatchling_mg * (self.adult_mg / self.hatchling_mg) ** part)

    def surviving(self, from_days: float, to_days: float) -> float:
        """Share of those alive at one age [days] that are alive at a later one."""

        def log_left(age: float) -> float:
            early = min(max(age, 0.0), 14.0) / 14.0
            late = min(max(age - 14.0, 0.0) / max(self.nymph_days - 14.0, 1.0), 1.0)
            return early * math.log(self.to_day14) + late * math.log(self.day14_to_adult)

        return math.exp(log_left(to_days) - log_left(from_days))

    def pinheads(self, breeders: float, days_in: float, tray_cm2: float) -> float:
        """Pinheads expected of one tray that stood `days_in` days with so many breeders of both sexes."""
        eggs = breeders * self.female_share * self.eggs_per_female_day * days_in
        return min(eggs, self.most_eggs_per_cm2 * tray_cm2) * self.hatch_share


@dataclass(frozen=True, slots=True)
class Average:
    """Mean and standard deviation of the values so far, and how many; of fewer than `FEW`, the stand-in given."""

    mean: float
    sd: float
    n: int

    @classmethod
    def of(cls, values: ArrayLike, *, mean: float, sd: float) -> Average:
        """The average of `values`, shape (n,); `mean` and `sd` stand in for too few."""
        v = np.asarray(values, dtype=np.float64)
        v = v[np.isfinite(v)]
        if v.size < FEW:
            return cls(mean, sd, 0)
        return cls(float(v.mean()), max(float(v.std(ddof=1)), 1e-6), v.size)

    def quantiles(self, levels: ArrayLike, *, shift: float = 0.0) -> Floats:
        """Quantiles of the next value: Student t for a normal sample, normal for the stand-in; moved by `shift`."""
        p = np.asarray(levels, dtype=np.float64)
        if self.n == 0:
            return np.asarray(self.mean + shift + self.sd * student.ppf(p, 1e6))
        return np.asarray(self.mean + shift + self.sd * math.sqrt(1 + 1 / self.n) * student.ppf(p, self.n - 1))


def per_tray(counts: ArrayLike, trays: ArrayLike) -> Floats | None:
    """Pinheads from one tray of each type, by least squares over counts of lots that came from several trays.

    Parameters
    ----------
    counts : array_like, shape (lots,)
    trays : array_like, shape (lots, tray types)
        How many trays of each type went into each lot.

    Returns
    -------
    ndarray of shape (tray types,), or None for fewer than `FEW` counts. Types never counted get the mean of the others.
    """
    y, n = np.asarray(counts, dtype=np.float64), np.asarray(trays, dtype=np.float64)
    if len(y) < FEW or n.sum() == 0:
        return None
    each, _ = nnls(n, y)
    known = (n.sum(axis=0) > 0) & (each > 0)
    return np.asarray(np.where(known, each, each[known].mean() if known.any() else y.sum() / n.sum()))


def about_age(
    age_days: float, ages: ArrayLike, log_values: ArrayLike, *, nearest: int = 10, within: float = 5.0
) -> Floats:
    """The farm's own values at about an age: the nearest few within some days, from both sides; may be empty."""
    a, v = np.asarray(ages, dtype=np.float64), np.asarray(log_values, dtype=np.float64)
    off = np.abs(a - age_days)
    chosen = np.argsort(off, kind="stable")[:nearest]
    return np.asarray(v[chosen[off[chosen] <= within]])
