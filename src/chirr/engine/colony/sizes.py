"""From the developed share of nymph life to mass: the mean, the spread between single crickets, the size classes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from chirr.engine.biology.growth import sexed_adult_mass_mg
from chirr.engine.biology.species import Species

Floats = NDArray[np.float64]

_TOP = 1.6
_GRID = np.linspace(0.0, _TOP, 321)
_NODES = 64
_FINE = 20_000


@dataclass(frozen=True, kw_only=True)
class SizeCurve:
    """Mean and variance over single crickets of (x g)^exponent, cut at 1, with g their own pace; by x.

    full_grown: the developed share of the mean cricket at which the slowest has stopped growing too.
    """

    mean: Floats
    variance: Floats
    slope: Floats
    mass_cv: float
    full_grown: float

    def at(self, x: Floats) -> tuple[Floats, Floats, Floats]:
        """Mean, variance and slope of the mean at developed shares `x`, any shape; x below 0 counts as 0."""
        step = np.clip(x, 0.0, _TOP - 1e-9) * ((len(_GRID) - 1) / _TOP)
        i = np.minimum(step.astype(np.int64), len(_GRID) - 2)
        part = step - i
        return tuple(a[i] + part * (a[i + 1] - a[i]) for a in (self.mean, self.variance, self.slope))

    def single(self, x: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
        """The same to 1e-4 in single precision, for many draws and days at once."""
        step = np.clip(x, np.float32(0), np.float32(_TOP))
        step *= np.float32(_FINE / _TOP)
        step += np.float32(0.5)
        i = step.astype(np.int64)
        mean, variance, slope = (np.take(table, i, mode="clip") for table in self._fine)
        return mean, variance, slope

    @cached_property
    def _fine(self) -> tuple[NDArray[np.float32], ...]:
        """Mean, variance and slope on a grid so fine that the nearest value does."""
        return tuple(a.astype(np.float32) for a in self.at(np.linspace(0.0, _TOP, _FINE + 1)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sex:
    """One sex among adults: share of the crickets, log of its mean mass over that of all, and by how much the variance
    of its log mass exceeds that of both together."""

    share: float
    log_mass: float
    more_variance: float


def sexes_apart(species: Species) -> tuple[Sex, ...]:
    """Females and males, where both have been weighed apart; else none, and the spread of both together must do."""
    if species.female_mass_cv is None or species.male_mass_cv is None:
        return ()
    together, females = np.log1p(species.mass_cv.value**2), species.female_share.value
    return tuple(
        Sex(
            share=share,
            log_mass=float(np.log(mass / species.adult_mass_mg.value)),
            more_variance=float(np.log1p(cv.value**2) - together),
        )
        for share, mass, cv in zip(
            (females, 1 - females), sexed_adult_mass_mg(species), (species.female_mass_cv, species.male_mass_cv),
            strict=True,
        )
    )  # fmt: skip


def size_curve(species: Species) -> SizeCurve:
    """The curve of one species, by averaging over equally likely paces of single crickets."""
    from scipy.special import ndtri

    p = (np.arange(_NODES) + 0.5) / _NODES
    cv = species.nymph_cv.value
    pace = np.exp(np.sqrt(np.log1p(cv**2)) * ndtri(p) - 0.5 * np.log1p(cv**2))
    part = np.minimum(_GRID[:, None] * pace, 1.0) ** species.growth_exponent.value
    mean = part.mean(axis=1)
    return SizeCurve(
        mean=mean, variance=part.var(axis=1), slope=np.gradient(mean, _GRID), mass_cv=species.mass_cv.value,
        full_grown=float(1.0 / pace.min() + _GRID[1]),
    )  # fmt: skip


def log_mass(
    curve: SizeCurve, x: Floats, x_variance: Floats, log_m0: Floats, log_adult: Floats
) -> tuple[Floats, Floats]:
    """Mean and variance of the log of body mass [mg] over the crickets of a cohort.

    Crickets of one age differ by the species' `mass_cv` around their mean, and more by their own pace and hatch date.

    Parameters
    ----------
    curve : SizeCurve
    x : ndarray, shape (...)
        Developed share of nymph life, the cohort's mean.
    x_variance : ndarray, shape (...)
        Variance of it that comes from different hatch dates.
    log_m0, log_adult : ndarray, shape (...)
        Log mass at hatch and at the adult moult [mg].

    Returns
    -------
    tuple of ndarray
    """
    mean, variance, slope = curve.at(x)
    span = log_adult - log_m0
    spread = np.log1p(curve.mass_cv**2)
    return log_m0 + span * mean - 0.5 * spread, span**2 * (variance + slope**2 * x_variance) + spread


def mean_mass_mg(log_mean: Floats, log_variance: Floats) -> Floats:
    """Mean mass [mg] of crickets whose log mass has this mean and variance."""
    return np.asarray(np.exp(log_mean + 0.5 * log_variance))


def developed_share_at_mass(curve: SizeCurve, mass_mg: float, log_m0: Floats, log_adult: Floats) -> Floats:
    """Developed share at which a cohort's mean mass reaches `mass_mg`; never beyond 1, the adult moult."""
    part = (np.log(mass_mg) - log_m0) / (log_adult - log_m0)
    return np.asarray(np.minimum(np.interp(part, curve.mean, _GRID), 1.0))
