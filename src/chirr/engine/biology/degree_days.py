"""Degree-days from a day's lowest and highest temperature.

Interface: `single_sine`, `single_triangle`, `simple_average` for development; `heating_degree_days` for the heating
bill.

Where the temperature is known by the hour, the clocks of `rates` say more; these are for a thermometer that keeps only
the day's extremes.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from chirr.engine.biology import Floats
from chirr.engine.errors import EngineError

Cutoff = Literal["horizontal", "intermediate", "none"]
"""What heat above the upper threshold does: adds nothing more, counts against, or counts in full."""

_WEIGHT_ABOVE: dict[Cutoff, float] = {"horizontal": 1.0, "intermediate": 2.0, "none": 0.0}


def single_sine(
    min_c: ArrayLike, max_c: ArrayLike, lower_c: ArrayLike, upper_c: ArrayLike, *, cutoff: Cutoff = "horizontal"
) -> Floats:
    """Degree-days of a day whose temperature follows one sine wave between its lowest and its highest.

    Parameters
    ----------
    min_c, max_c : array_like, shape (...)
        Lowest and highest temperature of the day [degC]; NaN gives NaN.
    lower_c, upper_c : array_like, broadcast with `min_c`
        Development thresholds [degC].
    cutoff : {"horizontal", "intermediate", "none"}
        What heat above `upper_c` does.

    Returns
    -------
    ndarray, shape (...)
        Degree-days [degC day], >= 0.

    Raises
    ------
    EngineError
        If a day's lowest temperature is above its highest.

    References
    ----------
    Method of the University of California Statewide IPM Program.

    Examples
    --------
    7.8 to 19.4 degC with thresholds 12 and 33 (station OJAI.C, 2016-01-01, in the TrenchR package's test data):

    >>> float(single_sine(7.8, 19.4, 12, 33).round(2))
    2.72
    """
    low, high = _ordered(min_c, max_c)
    return _net(_sine_above(low, high, lower_c), _sine_above(low, high, upper_c), cutoff)


def single_triangle(
    min_c: ArrayLike, max_c: ArrayLike, lower_c: ArrayLike, upper_c: ArrayLike, *, cutoff: Cutoff = "horizontal"
) -> Floats:
    """Degree-days of a day whose temperature rises and falls in straight lines; as `single_sine` otherwise.

    Examples
    --------
    >>> float(single_triangle(7.8, 19.4, 12, 33).round(2))
    2.36
    """
    low, high = _ordered(min_c, max_c)
    return _net(_triangle_above(low, high, lower_c), _triangle_above(low, high, upper_c), cutoff)


def simple_average(min_c: ArrayLike, max_c: ArrayLike, lower_c: ArrayLike) -> Floats:
    """Degree-days as the day's mid temperature less the threshold, and 0 below it; any one unit of temperature.

    Examples
    --------
    Averaging 64 degF with a threshold of 53 degF (University of California Statewide IPM Program, citrus):

    >>> float(simple_average(58.0, 70.0, 53.0))
    11.0
    """
    low, high = _ordered(min_c, max_c)
    return np.asarray(np.maximum((low + high) / 2 - np.asarray(lower_c, dtype=np.float64), 0.0))


def heating_degree_days(min_c: ArrayLike, max_c: ArrayLike, base_c: ArrayLike = 15.5) -> Floats:
    """Heating degree-days of a day by the rules of the British and Irish weather services.

    Parameters
    ----------
    min_c, max_c : array_like, shape (...)
        Lowest and highest outdoor temperature of the day [degC]; NaN gives NaN.
    base_c : array_like
        Temperature above which no heating is needed [degC]; 15.5 is the services' base for buildings.

    Returns
    -------
    ndarray, shape (...)
        Degree-days [degC day], >= 0.

    References
    ----------
    Met Eireann, degree days (four cases by where the base lies).

    Examples
    --------
    >>> heating_degree_days([4.0, 8.0, 16.0], [12.0, 18.0, 25.0]).tolist()
    [7.5, 3.125, 0.0]
    """
    low, high = _ordered(min_c, max_c)
    base = np.asarray(base_c, dtype=np.float64)
    mean = (low + high) / 2
    mostly_cold = (base - low) / 2 - (high - base) / 4
    mostly_warm = (base - low) / 4
    crossing = np.where(mean < base, mostly_cold, mostly_warm)
    return np.asarray(np.where(high <= base, base - mean, np.where(low >= base, 0.0, crossing)))


def _ordered(min_c: ArrayLike, max_c: ArrayLike) -> tuple[Floats, Floats]:
    low, high = np.broadcast_arrays(np.asarray(min_c, dtype=np.float64), np.asarray(max_c, dtype=np.float64))
    wrong = low > high
    if wrong.any():
        at = tuple(int(i) for i in np.argwhere(wrong)[0])
        where = f" at [{', '.join(map(str, at))}]" if at else ""
        raise EngineError(
            f"The lowest temperature{where} is {low[at]:g} and the highest {high[at]:g}. "
            "Check whether they are swapped."
        )
    return low, high


def _net(above_lower: Floats, above_upper: Floats, cutoff: Cutoff) -> Floats:
    return np.asarray(np.maximum(above_lower - _WEIGHT_ABOVE[cutoff] * above_upper, 0.0))


def _sine_above(low: Floats, high: Floats, threshold_c: ArrayLike) -> Floats:
    """Mean over a day of what a sine wave has above the threshold."""
    excess = (low + high) / 2 - np.asarray(threshold_c, dtype=np.float64)
    amplitude = (high - low) / 2
    steady = amplitude == 0
    # The wave crosses the threshold where sin(angle) = -excess/amplitude; beyond +-1 it stays on one side.
    sine = np.clip(-excess / np.where(steady, 1.0, amplitude), -1.0, 1.0)
    angle = np.arcsin(sine)
    wave = (excess * (np.pi / 2 - angle) + amplitude * np.cos(angle)) / np.pi
    return np.asarray(np.where(steady, np.maximum(excess, 0.0), np.maximum(wave, 0.0)))


def _triangle_above(low: Floats, high: Floats, threshold_c: ArrayLike) -> Floats:
    """Mean over a day of what two straight lines have above the threshold."""
    threshold = np.asarray(threshold_c, dtype=np.float64)
    span = high - low
    tip = np.maximum(high - threshold, 0.0) ** 2 / (2 * np.where(span == 0, 1.0, span))
    return np.asarray(np.where(low >= threshold, (low + high) / 2 - threshold, np.where(span == 0, 0.0 * span, tip)))
