"""How many are left: nymphs along their clock and with crowding, adults with age.

Interface: the laws `log_linear_factor`, `staged_survival`, `weibull_survival`; the animal's `density_survival_factor`,
`density_mass_factor`, `day14_clock`, `nymph_survival`, `mean_adult_life_days`, `adult_rate_per_day`, `adult_survival`.
"""

from __future__ import annotations

from math import gamma

import numpy as np
from numpy.typing import ArrayLike

from chirr.engine.biology import Floats
from chirr.engine.biology.rates import nymph_rate_per_day
from chirr.engine.biology.species import Curve, Species

STEADY_C = 30.0
"""Temperature [degC] at which the table gives survival to day 14 and adult life."""


def log_linear_factor(at: ArrayLike, curve: Curve) -> Floats:
    """A factor read from a curve: its logarithm runs straight between the points, and on past the last one.

    Before the first point the factor is that of the first point. Shape (...) as `at`; NaN in, NaN out.
    """
    place = np.asarray(at, dtype=np.float64)
    points, logs = np.asarray(curve.at), np.log(curve.value)
    last_slope = (logs[-1] - logs[-2]) / (points[-1] - points[-2])
    return np.asarray(np.exp(np.interp(place, points, logs) + last_slope * np.maximum(place - points[-1], 0.0)))


def density_survival_factor(density_per_cm2: ArrayLike, species: Species) -> Floats:
    """By what factor crowding cuts survival from day 14 to adult.

    Parameters
    ----------
    density_per_cm2 : array_like, shape (...)
        Crickets per cm2 of all surface, both faces of the hides included.
    species : Species

    Returns
    -------
    ndarray, shape (...)
        Factor, at most 1; never rises with density.

    References
    ----------
    Mahavidanage et al. (2023), J. Orthoptera Res. 32(1):25-31, 10.3897/jor.32.86496; its 31 % and 45 % are read as
    losses relative to 0.09 crickets/cm2.

    Examples
    --------
    >>> from chirr.engine.biology.species import species
    >>> density_survival_factor([0.09, 0.47, 0.93], species("acheta-domesticus")).round(2).tolist()
    [1.0, 0.69, 0.55]
    """
    return log_linear_factor(density_per_cm2, species.density_survival)


def density_mass_factor(density_per_cm2: ArrayLike, species: Species) -> Floats:
    """By what factor crowding cuts the adult mass; as `density_survival_factor` in shapes and units."""
    return log_linear_factor(density_per_cm2, species.density_mass)


def staged_survival(
    x: ArrayLike,
    day14_clock: ArrayLike,
    to_day14: ArrayLike,
    day14_to_adult: ArrayLike,
    early_loss_shape: ArrayLike,
) -> Floats:
    """Share of the pinheads alive at nymph clock x, from survival in the first fortnight and from there to adult.

    First fortnight: to_day14^((x / day14_clock)^early_loss_shape), which puts most of the loss in the first days if the
    shape is below 1; then a constant hazard along the clock. Before 0 all live; after 1 the share stays as it is.

    Parameters
    ----------
    x, day14_clock : array_like, shape (...)
        Nymph clock, and its reading at 14 days of age.
    to_day14, day14_to_adult : array_like
        Survival over the two parts [share], > 0.
    early_loss_shape : array_like
        > 0.

    Returns
    -------
    ndarray, shape (...)
        Share in [0, 1], never rising with x.

    Examples
    --------
    >>> staged_survival([0.0, 0.35, 1.0, 1.5], 0.35, 0.75, 0.85, 0.5).round(4).tolist()
    [1.0, 0.75, 0.6375, 0.6375]
    """
    clock, split = np.asarray(x, dtype=np.float64), np.asarray(day14_clock, dtype=np.float64)
    early = np.clip(clock / split, 0.0, 1.0) ** np.asarray(early_loss_shape, dtype=np.float64)
    late = np.clip((clock - split) / (1.0 - split), 0.0, 1.0)
    return np.asarray(
        np.asarray(to_day14, dtype=np.float64) ** early * np.asarray(day14_to_adult, dtype=np.float64) ** late
    )


def day14_clock(species: Species) -> float:
    """Nymph clock at 14 days of age at 30 degC."""
    return float(14.0 * nymph_rate_per_day(STEADY_C, species))


def nymph_survival(x: ArrayLike, density_per_cm2: ArrayLike, species: Species) -> Floats:
    """Share of the pinheads alive at nymph clock x in a bin of steady density; shapes broadcast.

    Density counts from day 14 on, per cm2 of surface with hides; see `staged_survival` and `density_survival_factor`.

    Examples
    --------
    House crickets from day 14 to adult, uncrowded; 80-83 % were found (Takacs et al. 2023, Insects 14(7):588):

    >>> from chirr.engine.biology.species import species
    >>> house = species("acheta-domesticus")
    >>> float((nymph_survival(1.0, 0.1, house) / nymph_survival(day14_clock(house), 0.1, house)).round(2))
    0.85
    """
    return staged_survival(
        x,
        day14_clock(species),
        species.survival_to_day14.value,
        species.survival_day14_to_adult.value * density_survival_factor(density_per_cm2, species),
        species.early_loss_shape.value,
    )


def mean_adult_life_days(temp_c: ArrayLike, species: Species) -> Floats:
    """Mean adult life [days] at a steady temperature [degC], shape (...): exponential, shorter when warmer.

    Examples
    --------
    House crickets at 38 degC: females 20.2 and males 26.7 days (Odhiambo et al.):

    >>> from chirr.engine.biology.species import species
    >>> float(mean_adult_life_days(38.0, species("acheta-domesticus")).round(1))
    22.0
    """
    warmer = np.asarray(temp_c, dtype=np.float64) - STEADY_C
    return np.asarray(species.adult_longevity_days.value * np.exp(-species.longevity_slope_per_c.value * warmer))


def adult_rate_per_day(temp_c: ArrayLike, species: Species) -> Floats:
    """Rate of ageing: the share of a mean adult life used up in a day at `temp_c`. Its integral is the adult clock."""
    return np.asarray(1.0 / mean_adult_life_days(temp_c, species))


def weibull_survival(clock: ArrayLike, shape: ArrayLike) -> Floats:
    """Share alive at adult clock `clock` (1 = a mean life): Weibull with mean 1. All live before 0; NaN in, NaN out.

    Examples
    --------
    Shape 1 is a constant hazard:

    >>> float(weibull_survival(1.0, 1.0).round(4))
    0.3679
    """
    k = np.asarray(shape, dtype=np.float64)
    scale = np.vectorize(gamma, otypes=[np.float64])(1 + 1 / k)
    return np.asarray(np.exp(-((np.maximum(np.asarray(clock, dtype=np.float64), 0.0) * scale) ** k)))


def adult_survival(clock: ArrayLike, species: Species) -> Floats:
    """Share of adults alive at adult clock `clock` (the integral of `adult_rate_per_day` since the adult moult)."""
    return weibull_survival(clock, species.longevity_shape.value)
