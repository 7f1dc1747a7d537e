"""The species' clocks: how fast eggs and nymphs develop at a temperature.

Interface: `egg_rate_per_day`, `nymph_rate_per_day`, `nymph_linear_rate_per_day`, and the law `capped_degree_day_rate`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from chirr.engine.biology import Floats
from chirr.engine.biology.rate_models import briere1
from chirr.engine.biology.species import Species
from chirr.engine.errors import require_within

LOWEST_C, HIGHEST_C = -10.0, 60.0
"""Air temperatures outside these [degC] are taken for a broken sensor or a wrong unit."""


def capped_degree_day_rate(
    temp_c: ArrayLike,
    threshold_c: ArrayLike,
    degree_days: ArrayLike,
    *,
    flat_from_c: ArrayLike,
    fall_from_c: ArrayLike,
    stop_c: ArrayLike,
) -> Floats:
    """Rate of the degree-day rule, held flat in the heat and then falling to nothing.

    (T - threshold) / degree_days up to `flat_from_c`, constant to `fall_from_c`, in a straight line to 0 at `stop_c`.

    Parameters
    ----------
    temp_c : array_like, shape (...)
        Temperature [degC]; NaN gives NaN.
    threshold_c, flat_from_c, fall_from_c, stop_c : array_like, broadcast with `temp_c`
        Corners of the curve [degC], increasing.
    degree_days : array_like
        Thermal requirement of the stage [degree-days], > 0.

    Returns
    -------
    ndarray, shape (...)
        Rate [1/day], >= 0.

    Examples
    --------
    Eggs of Gryllus bimaculatus at 30 and 25 degC, T0 15.9 and K 108.7 (Magara et al. 2024, PLoS ONE,
    10.1371/journal.pone.0300438), in days:

    >>> rate = capped_degree_day_rate([30.0, 25.0], 15.9, 108.7, flat_from_c=34, fall_from_c=35, stop_c=40)
    >>> (1 / rate).round(1).tolist()
    [7.7, 11.9]
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    threshold, fall_from, stop = (np.asarray(x, dtype=np.float64) for x in (threshold_c, fall_from_c, stop_c))
    warm = np.maximum(np.minimum(temp, flat_from_c) - threshold, 0.0) / np.asarray(degree_days, dtype=np.float64)
    hot = np.clip((stop - temp) / (stop - fall_from), 0.0, 1.0)
    return np.asarray(warm * hot)


def egg_rate_per_day(temp_c: ArrayLike, species: Species) -> Floats:
    """Rate of egg development: the share of an average egg's incubation done in a day at `temp_c`.

    Parameters
    ----------
    temp_c : array_like, shape (...)
        Temperature where the eggs lie [degC], -10 to 60; the rule was fitted within 20-33. NaN gives NaN.
    species : Species

    Returns
    -------
    ndarray, shape (...)
        Rate [1/day], >= 0; 0 below the threshold and from `egg_stop_c` on.

    Raises
    ------
    OutOfRange
        At the first temperature outside -10 to 60 degC.

    Examples
    --------
    First hatch of the house cricket on day 12 at 30 degC (Mitchaothai et al. 2024, Animals 14(15):2176); the average
    egg takes a little longer:

    >>> from chirr.engine.biology.species import species
    >>> float((1 / egg_rate_per_day(30.0, species("acheta-domesticus"))).round(1))
    12.7
    """
    _require_temperature(temp_c)
    return capped_degree_day_rate(
        temp_c,
        species.egg_threshold_c.value,
        species.egg_degree_days.value,
        flat_from_c=species.egg_flat_from_c.value,
        fall_from_c=species.egg_fall_from_c.value,
        stop_c=species.egg_stop_c.value,
    )


def nymph_linear_rate_per_day(temp_c: ArrayLike, species: Species) -> Floats:
    """Rate of nymph development by the species' degree-day rule, capped in the heat.

    As `nymph_rate_per_day` in shapes, units and errors. For the house cricket use it within 24-33 degC only.

    Examples
    --------
    Gryllus bimaculatus at 30 degC, T0 16.2 and K 555.6 (Magara et al. 2024, 10.1371/journal.pone.0300438), in days:

    >>> from chirr.engine.biology.species import species
    >>> float((1 / nymph_linear_rate_per_day(30.0, species("gryllus-bimaculatus"))).round(1))
    40.3
    """
    _require_temperature(temp_c)
    return capped_degree_day_rate(
        temp_c,
        species.nymph_threshold_c.value,
        species.nymph_degree_days.value,
        flat_from_c=species.nymph_flat_from_c.value,
        fall_from_c=species.nymph_fall_from_c.value,
        stop_c=species.nymph_stop_c.value,
    )


def nymph_rate_per_day(temp_c: ArrayLike, species: Species) -> Floats:
    """Rate of nymph development: the share of an average nymph's time from hatch to adult done in a day.

    A species with a Briere curve in the table (the house cricket) follows it, but never slower than its creeping rate
    in the cool; the others follow their degree-day rule.

    Parameters
    ----------
    temp_c : array_like, shape (...)
        Temperature where the nymphs live [degC], -10 to 60; below 22 and above 35 the sources are few and disagree.
        NaN gives NaN.
    species : Species

    Returns
    -------
    ndarray, shape (...)
        Rate [1/day], >= 0.

    Raises
    ------
    OutOfRange
        At the first temperature outside -10 to 60 degC.

    Examples
    --------
    House crickets took 49 days from hatch to adult at 28 degC (Booth & Kiddell 2007, J. Insect Physiol. 53:950-953)
    and 30 to 35 at 32.2 degC (Univ. of Illinois):

    >>> from chirr.engine.biology.species import species
    >>> (1 / nymph_rate_per_day([28.0, 32.2], species("acheta-domesticus"))).round(0).tolist()
    [53.0, 34.0]
    """
    a, t0, tm = species.briere_a, species.briere_t0_c, species.briere_tm_c
    if a is None or t0 is None or tm is None:
        return nymph_linear_rate_per_day(temp_c, species)
    _require_temperature(temp_c)
    return _at_least_creeping(
        np.asarray(temp_c, dtype=np.float64), briere1(temp_c, a.value, t0.value, tm.value), species
    )


def _at_least_creeping(temp_c: Floats, rate_per_day: Floats, species: Species) -> Floats:
    """The larger of the rate and the species' creeping rate, where the table says that nymphs creep on in the cool."""
    creep, low, high = species.creep_per_day, species.creep_from_c, species.creep_to_c
    if creep is None or low is None or high is None:
        return rate_per_day
    creeping = np.where((temp_c > low.value) & (temp_c < high.value), creep.value, 0.0)
    return np.asarray(np.maximum(rate_per_day, creeping))


def _require_temperature(temp_c: ArrayLike) -> None:
    require_within("temp_c", temp_c, LOWEST_C, HIGHEST_C, "Check the sensor or its unit.")
