"""When the individuals of a group finish a stage, read at the clock.

Interface: `gamma_cdf`, `gamma_quantile`, `lognormal_cdf`, `lognormal_quantile`, `lognormal_window_cdf`,
`share_hatched`, `share_surviving_stage`, `sex_clock_factors`.

An individual finishes a stage when the clock (or the time, for a steady temperature) reaches its own requirement, which
varies between individuals with mean `mean` and coefficient of variation `cv`. The share of the group that has finished
is then the distribution function of that requirement: nothing is stepped through time, so no spread is lost or gained.
A gamma requirement with cv = 1/sqrt(k) is the linear chain of k equal compartments.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincinv, ndtr, ndtri

from chirr.engine.biology import Floats
from chirr.engine.biology.species import Species

_SMALLEST = 1e-300
"""Stands for a clock at or below zero under a logarithm: nothing has finished."""


def gamma_cdf(clock: ArrayLike, mean: ArrayLike, cv: ArrayLike) -> Floats:
    """Share that has finished at `clock` when requirements are gamma-distributed.

    Parameters
    ----------
    clock, mean : array_like, shape (...)
        Clock reading and mean requirement, in the same unit (1 = the stage, or days); negative readings count as 0.
    cv : array_like
        Coefficient of variation between individuals, > 0.

    Returns
    -------
    ndarray, shape (...)
        Share in [0, 1]; NaN in, NaN out.

    References
    ----------
    Hurtado & Kirosingh (2019), J. Math. Biol. 79:1831, for the equality with the linear chain.

    Examples
    --------
    Four compartments with a mean of 10 days together (scipy.stats.gamma gives the same):

    >>> float(gamma_cdf(10.0, 10.0, 0.5).round(6))
    0.56653
    """
    shape = np.asarray(cv, dtype=np.float64) ** -2
    scaled = np.maximum(np.asarray(clock, dtype=np.float64), 0.0) / np.asarray(mean, dtype=np.float64)
    return np.asarray(gammainc(shape, shape * scaled))


def gamma_quantile(share: ArrayLike, mean: ArrayLike, cv: ArrayLike) -> Floats:
    """Clock reading at which `share` of the group has finished: the inverse of `gamma_cdf`, same shapes and units."""
    shape = np.asarray(cv, dtype=np.float64) ** -2
    requirement = np.asarray(gammaincinv(shape, np.asarray(share, dtype=np.float64)))
    return np.asarray(requirement / shape * np.asarray(mean, dtype=np.float64))


def lognormal_cdf(clock: ArrayLike, mean: ArrayLike, cv: ArrayLike) -> Floats:
    """Share that has finished at `clock` when requirements are lognormal; as `gamma_cdf` in shapes and units."""
    mu, sigma = _log_moments(mean, cv)
    return np.asarray(ndtr((np.log(_positive(clock)) - mu) / sigma))


def lognormal_quantile(share: ArrayLike, mean: ArrayLike, cv: ArrayLike) -> Floats:
    """Clock reading at which `share` has finished: the inverse of `lognormal_cdf`."""
    mu, sigma = _log_moments(mean, cv)
    return np.asarray(np.exp(mu + sigma * np.asarray(ndtri(np.asarray(share, dtype=np.float64)))))


def lognormal_window_cdf(last_clock: ArrayLike, first_clock: ArrayLike, mean: ArrayLike, cv: ArrayLike) -> Floats:
    """Share finished when the group's own clock readings are spread evenly from `last_clock` to `first_clock`.

    The mean of `lognormal_cdf` over that window, in closed form. A window of no width gives `lognormal_cdf`.

    Parameters
    ----------
    last_clock, first_clock : array_like, shape (...)
        Readings of the individual that started last and first; last_clock <= first_clock. Negative: not started yet.
    mean, cv : array_like
        Of the requirement, in the unit of the clock.

    Returns
    -------
    ndarray, shape (...)
        Share in [0, 1].
    """
    last, first = np.asarray(last_clock, dtype=np.float64), np.asarray(first_clock, dtype=np.float64)
    width = first - last
    narrow = width < 1e-6 * np.asarray(mean, dtype=np.float64)
    area = _area_under_cdf(first, mean, cv) - _area_under_cdf(last, mean, cv)
    share = area / np.where(narrow, 1.0, width)
    return np.asarray(np.clip(np.where(narrow, lognormal_cdf((first + last) / 2, mean, cv), share), 0.0, 1.0))


def share_hatched(last_laid_clock: ArrayLike, first_laid_clock: ArrayLike, species: Species) -> Floats:
    """Share hatched, of the eggs of a clutch that will hatch, laid evenly while the tray was in.

    Parameters
    ----------
    last_laid_clock, first_laid_clock : array_like, shape (...)
        Egg clock (integral of `egg_rate_per_day`) of the eggs laid just before the tray was pulled and just after it
        was put in; 1 = the average egg hatches.
    species : Species

    Returns
    -------
    ndarray, shape (...)
        Share in [0, 1].

    Examples
    --------
    Gryllodes sigillatus at 30 degC hatches after 10.6 +- 0.5 days (Gs life history 2025): of eggs of one moment about
    five sixths have hatched at 10.6 + 0.5 days.

    >>> from chirr.engine.biology.species import species
    >>> clock = 11.1 / 10.6
    >>> float(share_hatched(clock, clock, species("gryllodes-sigillatus")).round(2))
    0.83
    """
    return lognormal_window_cdf(last_laid_clock, first_laid_clock, 1.0, species.egg_cv.value)


def share_surviving_stage(hazard_per_day: ArrayLike, mean_days: ArrayLike, cv: ArrayLike) -> Floats:
    """Share that lives through a stage of gamma-distributed duration under a constant hazard.

    (1 + hazard mean cv^2)^(-1/cv^2), and exp(-hazard mean) for cv = 0.

    Examples
    --------
    >>> share_surviving_stage(0.02, 10.0, [0.5, 0.0]).round(7).tolist()
    [0.8227025, 0.8187308]
    """
    loss = np.asarray(hazard_per_day, dtype=np.float64) * np.asarray(mean_days, dtype=np.float64)
    square = np.asarray(cv, dtype=np.float64) ** 2
    fixed = square < 1e-9
    shape_inverse = np.where(fixed, 1.0, square)
    return np.asarray(np.where(fixed, np.exp(-loss), (1 + loss * shape_inverse) ** (-1 / shape_inverse)))


def sex_clock_factors(species: Species) -> tuple[float, float, float]:
    """Nymph requirement of females and of males (mean over both 1), and the cv left within a sex.

    Males finish later by `male_slower_share`; `nymph_cv` is the spread of both sexes together.

    Returns
    -------
    female, male, cv_within : float
    """
    p, lag, cv = species.female_share.value, species.male_slower_share.value, species.nymph_cv.value
    female = 1 / (p + (1 - p) * (1 + lag))
    male = female * (1 + lag)
    within = max(cv**2 - p * (1 - p) * (male - female) ** 2, (cv / 4) ** 2)
    return female, male, float(np.sqrt(within))


def _positive(clock: ArrayLike) -> Floats:
    return np.asarray(np.maximum(np.asarray(clock, dtype=np.float64), _SMALLEST))


def _log_moments(mean: ArrayLike, cv: ArrayLike) -> tuple[Floats, Floats]:
    """Mean and standard deviation of the logarithm of a lognormal with this mean and cv."""
    variance = np.log1p(np.asarray(cv, dtype=np.float64) ** 2)
    return np.asarray(np.log(np.asarray(mean, dtype=np.float64)) - variance / 2), np.asarray(np.sqrt(variance))


def _area_under_cdf(clock: ArrayLike, mean: ArrayLike, cv: ArrayLike) -> Floats:
    """Integral of `lognormal_cdf` from 0 to `clock`: u F(u) minus the part of the mean that lies below u."""
    mu, sigma = _log_moments(mean, cv)
    u = _positive(clock)
    z = (np.log(u) - mu) / sigma
    return np.asarray(u * ndtr(z) - np.asarray(mean, dtype=np.float64) * ndtr(z - sigma))
