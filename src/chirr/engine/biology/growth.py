"""How heavy and how long a nymph is, how far individuals differ, and what they have eaten.

Interface: the laws `growth_curve_mg`, `size_factor`, `cumulative_feed_mg`; the animal's `nymph_mass_mg`,
`adult_mass_at_mg`, `sexed_adult_mass_mg`, `mean_mass_mg`, `share_heavier`, `instar`, `body_length_mm`,
`mass_of_length_mg`, `feed_eaten_mg`.

x is the nymph clock: the integral of `nymph_rate_per_day` since the hatch, 1 when the average nymph turns adult.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from chirr.engine.biology import Floats
from chirr.engine.biology.species import Species

_NODES = 24
"""Kinds of individual, from fast to slow, over which spread in development is averaged."""


def growth_curve_mg(x: ArrayLike, hatchling_mg: ArrayLike, adult_mg: ArrayLike, exponent: ArrayLike) -> Floats:
    """Live mass at nymph clock x: ln m = ln m0 + ln(M/m0) x^exponent, m0 before 0 and M after 1.

    Parameters
    ----------
    x : array_like, shape (...)
        Nymph clock of the individual; NaN gives NaN.
    hatchling_mg, adult_mg : array_like, broadcast with `x`
        Mass at hatch and at the adult moult [mg].
    exponent : array_like
        Below 1 growth slows a little with age; 0.9 is derived from a near-constant mass ratio per instar.

    Returns
    -------
    ndarray, shape (...)
        Live mass [mg].

    Examples
    --------
    Eight instars from 0.9 to 400 mg at one ratio multiply the mass by 2.14 each:

    >>> float((growth_curve_mg(1 / 8, 0.9, 400.0, 1.0) / 0.9).round(2))
    2.14
    """
    done = np.clip(np.asarray(x, dtype=np.float64), 0.0, 1.0)
    start = np.asarray(hatchling_mg, dtype=np.float64)
    ratio = np.asarray(adult_mg, dtype=np.float64) / start
    return np.asarray(start * np.exp(np.log(ratio) * done ** np.asarray(exponent, dtype=np.float64)))


def size_factor(temp_c: ArrayLike, reference_c: ArrayLike, slope_per_c: ArrayLike, cap: ArrayLike) -> Floats:
    """Adult mass at a rearing temperature relative to that at `reference_c`: exp(-slope (T - reference)).

    Parameters
    ----------
    temp_c, reference_c : array_like, shape (...)
        Mean temperature of the nymph time, and that of the reference mass [degC].
    slope_per_c : array_like
        Fall of ln mass per degC; positive where warmer is smaller.
    cap : array_like
        Greatest change allowed [share]: the factor stays within 1 - cap to 1 + cap.

    Returns
    -------
    ndarray, shape (...)

    References
    ----------
    Booth & Kiddell (2007), J. Insect Physiol. 53:950-953: 61 mg dry at 25 degC, 48 at 28.

    Examples
    --------
    >>> float(size_factor(28.0, 25.0, 0.08, 0.3).round(2)), round(48 / 61, 2)
    (0.79, 0.79)
    """
    cap = np.asarray(cap, dtype=np.float64)
    warmer = np.asarray(temp_c, dtype=np.float64) - np.asarray(reference_c, dtype=np.float64)
    return np.asarray(np.clip(np.exp(-np.asarray(slope_per_c, dtype=np.float64) * warmer), 1 - cap, 1 + cap))


def adult_mass_at_mg(mean_temp_c: ArrayLike, species: Species) -> Floats:
    """Mean live mass at the adult moult [mg] of nymphs raised at `mean_temp_c` [degC], shape (...), uncrowded."""
    factor = size_factor(
        mean_temp_c, species.size_reference_c.value, species.size_slope_per_c.value, species.size_effect_cap.value
    )
    return np.asarray(species.adult_mass_mg.value * factor)


def sexed_adult_mass_mg(species: Species) -> tuple[float, float]:
    """Mean live mass of females and of males at the adult moult, at the reference temperature [mg].

    Examples
    --------
    Gryllodes sigillatus: 292.0 mg females, 200.96 mg males (Gs life history 2025):

    >>> from chirr.engine.biology.species import species
    >>> [round(mass) for mass in sexed_adult_mass_mg(species("gryllodes-sigillatus"))]
    [291, 201]
    """
    p, ratio = species.female_share.value, species.female_to_male_mass.value
    male = species.adult_mass_mg.value / (p * ratio + 1 - p)
    return ratio * male, male


def nymph_mass_mg(x: ArrayLike, mean_temp_c: ArrayLike, species: Species) -> Floats:
    """Live mass [mg] of a typical individual at nymph clock x, raised at `mean_temp_c` [degC]; shapes broadcast."""
    adult_mg = adult_mass_at_mg(mean_temp_c, species)
    return growth_curve_mg(x, species.hatchling_mg.value, adult_mg, species.growth_exponent.value)


def mean_mass_mg(x: ArrayLike, adult_mg: ArrayLike, species: Species) -> Floats:
    """Mean live mass over a group whose members develop faster and slower.

    Parameters
    ----------
    x : array_like, shape (...)
        Nymph clock of the average individual (it runs on past 1).
    adult_mg : array_like, broadcast with `x`
        Mean mass at the adult moult [mg].
    species : Species

    Returns
    -------
    ndarray, shape (...)
        Mean live mass [mg].
    """
    own = np.asarray(x, dtype=np.float64)[..., None] / _requirements(species)
    adult = np.asarray(adult_mg, dtype=np.float64)[..., None]
    curve = growth_curve_mg(own, species.hatchling_mg.value, adult, species.growth_exponent.value)
    return np.asarray(curve.mean(axis=-1))


def share_heavier(mass_mg: ArrayLike, x: ArrayLike, adult_mg: ArrayLike, species: Species) -> Floats:
    """Share of a group that weighs at least `mass_mg`.

    Individuals differ in how fast they develop (`nymph_cv`) and in mass at the same stage (`mass_cv`, lognormal).

    Parameters
    ----------
    mass_mg : array_like, shape (...)
        Lower edge of a size class [mg], >= 0; 0 gives 1.
    x, adult_mg : array_like, broadcast with `mass_mg`
        As in `mean_mass_mg`.
    species : Species

    Returns
    -------
    ndarray, shape (...)
        Share in [0, 1], never rising with `mass_mg`, never falling with `x`.
    """
    own = np.asarray(x, dtype=np.float64)[..., None] / _requirements(species)
    adult = np.asarray(adult_mg, dtype=np.float64)[..., None]
    typical = np.log(growth_curve_mg(own, species.hatchling_mg.value, adult, species.growth_exponent.value))
    variance = np.log1p(species.mass_cv.value**2)
    with np.errstate(divide="ignore"):
        edge = np.log(np.asarray(mass_mg, dtype=np.float64))[..., None]
    return np.asarray(ndtr((typical - variance / 2 - edge) / np.sqrt(variance)).mean(axis=-1))


def instar(x: ArrayLike, species: Species) -> Floats:
    """Instar of an individual at nymph clock x: 1 to the species' number of instars, and one more for an adult.

    Returns
    -------
    ndarray, shape (...)
        Whole numbers; NaN in, NaN out.

    Examples
    --------
    House crickets were in the 4th instar at 14 days of age (Mahavidanage et al. 2023, J. Orthoptera Res. 32:25-31); at
    31 degC:

    >>> from chirr.engine.biology.rates import nymph_rate_per_day
    >>> from chirr.engine.biology.species import species
    >>> house = species("acheta-domesticus")
    >>> float(instar(14 * nymph_rate_per_day(31.0, house), house))
    4.0
    """
    clock = np.asarray(x, dtype=np.float64)
    ends = np.cumsum(species.instar_shares.value)
    ends[-1] = 1.0  # the shares add up to 1 but for rounding
    found = 1.0 + np.searchsorted(ends, clock, side="right")
    return np.asarray(np.where(np.isnan(clock), np.nan, found))


def mass_of_length_mg(length_mm: ArrayLike, species: Species) -> Floats:
    """Live mass [mg] of a cricket of this body length [mm], without antennae and ovipositor; shape (...).

    Power law through the trade's size chart: common practice, no published source.
    """
    length = np.asarray(length_mm, dtype=np.float64)
    return np.asarray(species.length_mass_mg_at_1mm.value * length**species.length_mass_exponent.value)


def body_length_mm(mass_mg: ArrayLike, species: Species) -> Floats:
    """Body length [mm] of a cricket of this live mass [mg]: the inverse of `mass_of_length_mg`."""
    mass = np.asarray(mass_mg, dtype=np.float64)
    return np.asarray((mass / species.length_mass_mg_at_1mm.value) ** (1 / species.length_mass_exponent.value))


def cumulative_feed_mg(mass_mg: ArrayLike, hatchling_mg: ArrayLike, feed_conversion: ArrayLike) -> Floats:
    """Feed eaten and spilled since the hatch [mg as fed] by a cricket that has reached `mass_mg`: FCR x mass gained."""
    gained = np.maximum(np.asarray(mass_mg, dtype=np.float64) - np.asarray(hatchling_mg, dtype=np.float64), 0.0)
    return np.asarray(np.asarray(feed_conversion, dtype=np.float64) * gained)


def feed_eaten_mg(x: ArrayLike, mean_temp_c: ArrayLike, species: Species) -> Floats:
    """Feed used since the hatch by a typical individual at nymph clock x [mg as fed, spilled feed included]."""
    mass = nymph_mass_mg(x, mean_temp_c, species)
    return cumulative_feed_mg(mass, species.hatchling_mg.value, species.feed_conversion.value)


def _requirements(species: Species) -> Floats:
    """Nymph requirements of equally many fast to slow individuals (lognormal, mean 1), shape (_NODES,)."""
    variance = np.log1p(species.nymph_cv.value**2)
    z = ndtri((np.arange(_NODES) + 0.5) / _NODES)
    requirement = np.exp(np.sqrt(variance) * z / z.std())
    return np.asarray(requirement / requirement.mean())
