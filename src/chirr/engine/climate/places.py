"""Hourly temperature of every place in the farm, from whatever readings there are.

A place is a level of a room. Readings are irregular; gaps are bridged, levels without a thermometer take the line
between their neighbours, and where nothing was measured the room's set point stands in. `measured` says which hours
rest on a reading, since only those deserve a narrow band.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

WHOLE_ROOM = -1
"""Level of a reading that speaks for the room as a whole."""

BRIDGE_H = 36
"""Longest gap between readings, in hours, that a straight line bridges."""

RECENT_DAYS = 14
"""How far back the days to come look for their usual temperature."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Air temperatures as measured; all arrays of shape (readings,).

    hour: hours since the start of the grid; room, level: whole numbers, level `WHOLE_ROOM` for the room as a whole;
    temp_c: degC.
    """

    hour: Floats
    room: Ints
    level: Ints
    temp_c: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceClimate:
    """Temperature [degC] of each place in each hour, shape (places, hours), and whether it rests on a reading."""

    temp_c: Floats
    measured: Bools


def hourly_temperature(
    readings: Readings, *, room: Ints, level: Ints, set_c: Floats, hours: int, now_h: float
) -> PlaceClimate:
    """Temperature of every place for every hour of the grid.

    Parameters
    ----------
    readings : Readings
        Those after `now_h` are ignored: the days to come are a forecast.
    room, level : ndarray of int, shape (places,)
    set_c : ndarray, shape (places,)
        Set point of the place's room [degC], used where nothing was measured.
    hours : int
        Length of the grid.
    now_h : float
        Present hour of the grid; later hours take each hour of the day's mean over the last `RECENT_DAYS` days.

    Returns
    -------
    PlaceClimate
    """
    temp = np.repeat(set_c[:, None], hours, axis=1)
    measured = np.zeros(temp.shape, dtype=bool)
    past = int(min(max(np.floor(now_h) + 1, 0), hours))
    for r in np.unique(room):
        here = np.flatnonzero(room == r)
        of_room = (readings.room == r) & (readings.hour >= 0) & (readings.hour <= now_h)
        if not of_room.any():
            continue
        levels, series = _level_series(readings, of_room, past)
        temp[here, :past], measured[here, :past] = _at_levels(level[here], levels, series, set_c[here])
    _days_to_come(temp, measured, past)
    return PlaceClimate(temp_c=temp, measured=measured)


def _level_series(readings: Readings, chosen: Bools, past: int) -> tuple[Ints, Floats]:
    """Hourly means of each level with readings, gaps up to `BRIDGE_H` bridged; NaN elsewhere."""
    level, hour, temp_c = readings.level[chosen], readings.hour[chosen], readings.temp_c[chosen]
    levels = np.unique(level)
    slot = np.minimum(hour.astype(np.int64), past - 1)
    rows = []
    for one in levels:
        mine = level == one
        total = np.bincount(slot[mine], weights=temp_c[mine], minlength=past)
        count = np.bincount(slot[mine], minlength=past)
        known = np.flatnonzero(count)
        values = total[known] / count[known]
        line = np.interp(np.arange(past), known, values)
        after = np.searchsorted(known, np.arange(past))
        left = np.arange(past) - known[np.maximum(after - 1, 0)]
        right = known[np.minimum(after, len(known) - 1)] - np.arange(past)
        exact = count > 0
        inside = (after > 0) & (after < len(known)) & (left + right <= BRIDGE_H)
        edge = ((after == 0) & (right >= 0) & (right <= BRIDGE_H / 2)) | (
            (after == len(known)) & (left <= BRIDGE_H / 2)
        )
        rows.append(np.where(exact | inside | edge, line, np.nan))
    return levels, np.asarray(rows)


def _at_levels(wanted: Ints, levels: Ints, series: Floats, set_c: Floats) -> tuple[Floats, Bools]:
    """Temperature at the wanted levels: on the line between the nearest measured ones, hour by hour."""
    whole = series[levels == WHOLE_ROOM]
    real = levels != WHOLE_ROOM
    levels, series = levels[real], series[real]
    out = np.empty((len(wanted), whole.shape[1] if len(whole) else series.shape[1]))
    for i, level in enumerate(wanted):
        value = np.full(out.shape[1], np.nan)
        below, above = levels <= level, levels >= level
        low, low_at = _last_known(series[below], levels[below])
        high, high_at = _last_known(series[above][::-1], levels[above][::-1])
        step = np.where(high_at > low_at, (level - low_at) / np.where(high_at > low_at, high_at - low_at, 1), 0.0)
        value = np.where(np.isnan(low), high, np.where(np.isnan(high), low, low + step * (high - low)))
        if len(whole):
            value = np.where(np.isnan(value), whole[0], value)
        out[i] = value
    measured = ~np.isnan(out)
    return np.where(measured, out, set_c[:, None]), measured


def _last_known(series: Floats, levels: Ints) -> tuple[Floats, Floats]:
    """The last row that is known in each hour, and the level it belongs to."""
    hours = series.shape[1]
    value, at = np.full(hours, np.nan), np.full(hours, np.nan)
    for row, level in zip(series, levels, strict=True):
        known = ~np.isnan(row)
        value[known], at[known] = row[known], level
    return value, at


def _days_to_come(temp: Floats, measured: Bools, past: int) -> None:
    """Fill the hours after the present with the usual temperature of each hour of the day."""
    hours = temp.shape[1]
    if past >= hours:
        return
    start = max(0, past - 24 * RECENT_DAYS)
    coming = np.arange(past, hours) % 24
    for i in range(len(temp)):
        known = measured[i, start:past]
        if known.sum() < 24:
            continue
        of_day = np.arange(start, past)[known] % 24
        count = np.bincount(of_day, minlength=24)
        recent = temp[i, start:past][known]
        mean = np.where(
            count > 0, np.bincount(of_day, weights=recent, minlength=24) / np.maximum(count, 1), recent.mean()
        )
        temp[i, past:] = mean[coming]


NIGHT_H = 8


def cold_hours(temp_c: NDArray[np.float64], below_c: float) -> NDArray[np.int64]:
    """Hours at which the mean of the eight hours just past was at most `below_c`: a night was cold by then.

    Parameters
    ----------
    temp_c : ndarray, shape (hours,)
        Hourly temperature of one place [degC].
    below_c : float

    Returns
    -------
    ndarray of int
        Indices into `temp_c`, rising.

    Examples
    --------
    >>> cold_hours(np.array([25.0] * 10 + [17.0] * 8 + [25.0]), 18.5).tolist()
    [16, 17, 18]
    """
    if len(temp_c) < NIGHT_H:
        return np.zeros(0, dtype=np.int64)
    total = np.concatenate([[0.0], np.cumsum(temp_c)])
    return np.asarray(np.flatnonzero(total[NIGHT_H:] - total[:-NIGHT_H] <= NIGHT_H * below_c) + NIGHT_H - 1)
