"""Eggs: how many a female lays at an age and a temperature, how many stand in a tray, and what they are laid in.

Interface: the laws `age_curve`, `eggs_per_cm2_in_tray`, `bell`; the animal's `eggs_per_female_day`, `laying_of_lot`,
`after_cold`, `eggs_in_tray`, `medium_preference`, `moisture_preference`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from chirr.engine.biology import Floats
from chirr.engine.biology.species import Species


def age_curve(
    age_days: ArrayLike,
    first_day: ArrayLike,
    *,
    ramp_days: ArrayLike,
    plateau_days: ArrayLike,
    decline_per_day: ArrayLike,
    fade_from_day: ArrayLike,
    end_day: ArrayLike,
    spread_days: float = 0.0,
) -> Floats:
    """Laying at an adult age relative to the peak: nothing, a ramp, a plateau, a steady decline, a fade to nothing.

    Parameters
    ----------
    age_days : array_like, shape (...)
        Days since the adult moult; NaN gives NaN.
    first_day : array_like, broadcast with `age_days`
        Age at the first eggs [days].
    ramp_days, plateau_days : array_like
        From the first eggs to the peak, and length of the peak [days].
    decline_per_day : array_like
        Share lost from one day to the next after the peak.
    fade_from_day, end_day : array_like
        Ages between which what is left runs out in a straight line [days].
    spread_days : float
        Where many are looked at together: scale of the logistic spread of their ages around `age_days`, which rounds
        the beginning and the end; 0 for a single age.

    Returns
    -------
    ndarray, shape (...)
        Factor in [0, 1].
    """
    age, first = np.asarray(age_days, dtype=np.float64), np.asarray(first_day, dtype=np.float64)
    ramp, fade_from = np.asarray(ramp_days, dtype=np.float64), np.asarray(fade_from_day, dtype=np.float64)
    end, decline = np.asarray(end_day, dtype=np.float64), np.asarray(decline_per_day, dtype=np.float64)
    rise = _risen(age - first, ramp, spread_days)
    past_peak = np.maximum(age - first - ramp - np.asarray(plateau_days, dtype=np.float64), 0.0)
    fade = _risen(end - age, end - fade_from, spread_days)
    return np.asarray(rise * np.exp(np.log1p(-decline) * past_peak) * fade)


def _risen(since: Floats, length: Floats, spread: float) -> Floats:
    """Share of a straight rise from 0 to 1 over `length`, as the mean of many that are spread around `since`."""
    if spread <= 0:
        return np.asarray(np.clip(since / length, 0.0, 1.0))
    begun, done = np.logaddexp(0.0, since / spread), np.logaddexp(0.0, (since - length) / spread)
    return np.asarray(spread * (begun - done) / length)


def eggs_per_female_day(age_days: ArrayLike, temp_c: ArrayLike, species: Species) -> Floats:
    """Eggs that a well-kept female lays in a day.

    The laboratory figure; a crowded bin yields `farm_recovery_share` of it.

    Parameters
    ----------
    age_days : array_like, shape (...)
        Days since the adult moult, at about 30 degC.
    temp_c : array_like, broadcast with `age_days`
        Temperature of the bin [degC]; outside 16-41 nothing is laid.
    species : Species

    Returns
    -------
    ndarray, shape (...)
        Eggs per female and day, >= 0.

    Examples
    --------
    Gryllodes sigillatus laid 28.4 eggs a day over 30 days at 30 degC (Gs life history 2025); here over the 30 days from
    the first egg:

    >>> import numpy as np
    >>> from chirr.engine.biology.species import species
    >>> float(eggs_per_female_day(np.arange(6, 36), 30.0, species("gryllodes-sigillatus")).mean().round(0))
    29.0
    """
    by_age = age_curve(
        age_days,
        species.pre_oviposition_days.value,
        ramp_days=species.laying_ramp_days.value,
        plateau_days=species.laying_plateau_days.value,
        decline_per_day=species.laying_decline_per_day.value,
        fade_from_day=species.laying_fade_from_day.value,
        end_day=species.laying_end_day.value,
    )
    warmth = species.laying_at_temperature
    by_temperature = np.interp(np.asarray(temp_c, dtype=np.float64), warmth.at, warmth.value)
    return np.asarray(species.eggs_per_female_day_peak.value * by_age * by_temperature)


def laying_of_lot(age_days: ArrayLike, first_day: ArrayLike, decline_per_day: ArrayLike, species: Species) -> Floats:
    """Laying of a lot's females at their mean adult age, relative to the peak of a single one.

    Farms differ in when their breeders begin and in how fast they decline after the peak; the rest of the course is as
    published, and moves with its beginning. A lot's females moulted over some days (`laying_spread_days`), so they
    begin and stop over some days.

    Parameters
    ----------
    age_days : array_like, shape (...)
        Mean days since the adult moult [days at 30 degC].
    first_day : array_like, broadcast with `age_days`
        Age at the first eggs [days].
    decline_per_day : array_like, broadcast
        Share lost from one day to the next after the peak.
    species : Species

    Returns
    -------
    ndarray, shape (...)
        Factor in [0, 1].

    Examples
    --------
    Half of the peak comes 22.5 days after the first eggs, and in 14.6 where twice as much is lost each day:

    >>> from chirr.engine.biology.species import species
    >>> house = species("acheta-domesticus")
    >>> laying_of_lot([12.0, 29.5], 7.0, 0.05, house).round(2).tolist()
    [0.93, 0.5]
    >>> float(laying_of_lot(22.6, 7.0, 0.1, house).round(2))
    0.5
    """
    first = np.asarray(first_day, dtype=np.float64)
    later = first - species.pre_oviposition_days.value
    return age_curve(
        age_days,
        first,
        ramp_days=species.laying_ramp_days.value,
        plateau_days=species.laying_plateau_days.value,
        decline_per_day=decline_per_day,
        fade_from_day=later + species.laying_fade_from_day.value,
        end_day=later + species.laying_end_day.value,
        spread_days=species.laying_spread_days.value,
    )


def after_cold(days: ArrayLike, species: Species) -> Floats:
    """Laying so many days after the last cold night, relative to what it would be without.

    Growers see laying stop and come back over some two weeks (`cold_night_c`, `cold_recovery_days`: common practice, no
    published source). How it comes back, a straight line, and what is laid even so (`cold_laying_floor`) are judgement.

    Parameters
    ----------
    days : array_like, shape (...)
        Since the end of the last cold night; infinite where there was none.
    species : Species

    Returns
    -------
    ndarray, shape (...)
        Factor in (0, 1].

    Examples
    --------
    >>> from chirr.engine.biology.species import species
    >>> after_cold([0.0, 7.0, 14.0, float("inf")], species("acheta-domesticus")).tolist()
    [0.05, 0.5, 1.0, 1.0]
    """
    since = np.asarray(days, dtype=np.float64)
    return np.asarray(np.clip(since / species.cold_recovery_days.value, species.cold_laying_floor.value, 1.0))


def eggs_per_cm2_in_tray(
    laid_per_cm2_day: ArrayLike, days_in: ArrayLike, capacity_per_cm2: ArrayLike, eating_per_day2: ArrayLike
) -> Floats:
    """Eggs standing in a tray after some days in a breeding bin: rises, flattens, and can fall.

    n = lam (1 - exp(-k t)) / k with k = lam/capacity + eating t/2: as the tray fills fewer eggs find room, and the
    longer it stays in the more are eaten. With neither, n = lam t.

    Parameters
    ----------
    laid_per_cm2_day : array_like, shape (...)
        Eggs offered to the tray, lam [eggs/cm2/day], >= 0.
    days_in : array_like, broadcast
        Days since the tray went in, t, >= 0.
    capacity_per_cm2 : array_like
        Eggs that fill the tray [eggs/cm2], > 0; infinity for no limit.
    eating_per_day2 : array_like
        Growth of the hazard of being eaten with exposure [1/day2], >= 0.

    Returns
    -------
    ndarray, shape (...)
        Eggs per cm2, in [0, capacity].

    Examples
    --------
    >>> eggs_per_cm2_in_tray(10.0, [1.0, 3.0, 8.0, 30.0], 80.0, 0.02).round(1).tolist()
    [9.4, 24.0, 39.3, 23.5]
    """
    lam, days = np.asarray(laid_per_cm2_day, dtype=np.float64), np.asarray(days_in, dtype=np.float64)
    k = lam / np.asarray(capacity_per_cm2, dtype=np.float64) + np.asarray(eating_per_day2, dtype=np.float64) * days / 2
    gone = k * days
    with np.errstate(divide="ignore", invalid="ignore"):
        kept = np.where(gone == 0, 1.0, -np.expm1(-gone) / gone)
    return np.asarray(lam * days * kept)


def eggs_in_tray(eggs_offered_per_day: ArrayLike, days_in: ArrayLike, tray_cm2: ArrayLike, species: Species) -> Floats:
    """Eggs standing in one tray.

    Parameters
    ----------
    eggs_offered_per_day : array_like, shape (...)
        Eggs that the bin's females would lay into this tray in a day, if it never filled [eggs/day].
    days_in : array_like, broadcast
        Days in the breeding bin.
    tray_cm2 : array_like
        Open surface of the tray [cm2], > 0.
    species : Species

    Returns
    -------
    ndarray, shape (...)
        Eggs; see `eggs_per_cm2_in_tray`.
    """
    area = np.asarray(tray_cm2, dtype=np.float64)
    offered = np.asarray(eggs_offered_per_day, dtype=np.float64) / area
    capacity, eating = species.tray_capacity_eggs_per_cm2.value, species.egg_eating_per_day2.value
    return np.asarray(area * eggs_per_cm2_in_tray(offered, days_in, capacity, eating))


def medium_preference(species: Species) -> dict[str, float]:
    """Share of the eggs laid in each of four damp media when offered side by side (Tasee et al., house cricket).

    A preference, not a yield: a tray on its own may do as well with a medium that loses the comparison.
    """
    return {
        "peat": species.medium_peat_share.value,
        "vermiculite": species.medium_vermiculite_share.value,
        "coir": species.medium_coir_share.value,
        "burnt rice husk": species.medium_burnt_husk_share.value,
    }


def bell(at: ArrayLike, best: ArrayLike, width: ArrayLike) -> Floats:
    """Bell curve of height 1 at `best`, in the unit of `at`; shape (...)."""
    z = (np.asarray(at, dtype=np.float64) - np.asarray(best, dtype=np.float64)) / np.asarray(width, dtype=np.float64)
    return np.asarray(np.exp(-0.5 * z**2))


def moisture_preference(moisture_pct: ArrayLike, species: Species) -> Floats:
    """How well a substrate of this water content [% of mass] is liked for laying, 1 = best; shape (...).

    Examples
    --------
    Of 10, 20 ... 70 % offered together, 50 % took 35.18 % of the eggs (Tasee et al.):

    >>> import numpy as np
    >>> from chirr.engine.biology.species import species
    >>> liked = moisture_preference(np.arange(10, 80, 10), species("acheta-domesticus"))
    >>> float((liked / liked.sum())[4].round(3))
    0.351
    """
    return bell(moisture_pct, species.laying_moisture_best_pct.value, species.laying_moisture_width_pct.value)
