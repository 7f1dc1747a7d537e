"""When a clutch hatches, read on the egg clock.

Eggs are laid evenly while the tray stays in the bin, and each needs its own amount of development. On the clock an
egg laid at reading u hatches at u + g/speed, with u even on (0, w) and g normal with mean 1 and the species'
coefficient of variation: so the share hatched at any reading, and the reading of any share, are closed forms.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]

FIRST_SHARE = 0.01
"""First pinheads are seen when this share has hatched."""

_RATIOS = np.concatenate([[0.0], np.geomspace(0.1, 100.0, 60)])


def share_hatched(reading: Floats, *, speed: Floats, window: Floats, cv: float) -> Floats:
    """Share of those eggs that hatch at all which have hatched at a clock reading.

    Parameters
    ----------
    reading : ndarray, shape (...)
        Egg clock since the tray went in (1 = the incubation of an average egg).
    speed : ndarray, shape (...)
        Speed relative to the published clock.
    window : ndarray, shape (...)
        What the clock read when the tray came out.
    cv : float
        Coefficient of variation of the development that single eggs need.

    Returns
    -------
    ndarray
        0 to 1, never falling with the reading.
    """
    sd = cv / speed
    z = np.atleast_1d((reading - 1.0 / speed - window / 2) / sd)
    half = np.broadcast_to(np.maximum(window / sd / 2, 1e-6), z.shape)
    share = np.where(z > 0, 1.0, 0.0)
    going_on = np.abs(z) < half + _FAR
    z, half = z[going_on], half[going_on]
    share[going_on] = ((_ramp(z + half) - _ramp(z - half)) / (2 * half)).clip(0.0, 1.0)
    return share.reshape(np.broadcast_shapes(np.shape(reading), np.shape(speed), np.shape(window)))


_FAR = 7.0
"""So many spreads of single eggs before the hatch begins or after it ends, a share is 0 or 1 to 1e-11."""


def share_hatched_by_day(
    hours: Floats, middle_h: Floats, *, per_hour: float, speed: Floats, window: float, cv: float
) -> NDArray[np.float32]:
    """Share of those eggs that hatch at all which have hatched by some hours, at a steady egg clock.

    Parameters
    ----------
    hours : ndarray, shape (days,)
        Increasing.
    middle_h : ndarray, shape (draws,)
        Hour at which half have hatched.
    per_hour : float
        What the egg clock gains in an hour.
    speed : ndarray, shape (draws,)
    window, cv : float
        As in `share_hatched`.

    Returns
    -------
    ndarray, shape (days, draws), single precision
        To 1e-5.
    """
    pace = per_hour * speed / cv
    half = np.maximum(window * speed / cv / 2, 1e-6)
    reach = (half + _FAR_ENOUGH) / pace
    begin = int(np.searchsorted(hours, float((middle_h - reach).min()), side="right"))
    end = int(np.searchsorted(hours, float((middle_h + reach).max())))
    share = np.zeros((len(hours), len(middle_h)), dtype=np.float32)
    share[end:] = 1.0
    z = (hours[begin:end, None] - middle_h) * pace
    share[begin:end] = ((_ramp(z + half) - _ramp(z - half)) / (2 * half)).clip(0.0, 1.0)
    return share


_FAR_ENOUGH = 4.3
"""So many spreads of single eggs before the hatch begins or after it ends, a share is 0 or 1 to 1e-5."""


def _ramp(z: Floats) -> Floats:
    """Integral of the normal distribution function."""
    return np.asarray(z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi))


@cache
def _table(share: float) -> Floats:
    """Standardised position of a share of hatch, for each ratio of window to the spread of single eggs."""
    z = np.linspace(-60.0, 60.0, 6001)
    out = []
    for ratio in _RATIOS:
        half = max(ratio / 2, 1e-6)
        out.append(np.interp(share, (_ramp(z + half) - _ramp(z - half)) / (2 * half), z))
    return np.asarray(out)


def offset_of_share(share: float, *, speed: Floats, window: Floats, cv: float) -> Floats:
    """Distance of the reading at which `share` has hatched from the middle of the hatch, on the egg clock."""
    sd = cv / speed
    return np.asarray(sd * np.interp(window / sd, _RATIOS, _table(share)))


def reading_at_share(share: float, *, speed: Floats, window: Floats, cv: float) -> Floats:
    """Egg-clock reading, since the tray went in, at which `share` of the hatch is done. Shapes broadcast."""
    return np.asarray(1.0 / speed + window / 2 + offset_of_share(share, speed=speed, window=window, cv=cv))


def log_speed_if_first_at(reading: Floats, *, window: Floats, cv: float) -> Floats:
    """Log of the speed at which the first pinheads would come exactly at this reading.

    -inf where no time has passed, +inf where even boundless speed would not do (the reading lies in the laying window).
    """
    speed = np.ones_like(reading)
    for _ in range(6):
        offset = offset_of_share(FIRST_SHARE, speed=speed, window=window, cv=cv)
        needed = reading - window / 2 - offset
        speed = 1.0 / np.maximum(needed, 1e-3)
    return np.asarray(np.where(needed <= 2e-3, np.inf, np.log(speed)))
