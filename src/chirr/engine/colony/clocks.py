"""Clocks: how much development, and how much ageing, an hour at a place is worth.

Every clock is summed once for each place, hour by hour. Reading it is one interpolation, so no cricket is stepped
through time: what passed between two moments is the difference of two readings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chirr.engine.biology.rates import egg_rate_per_day, nymph_rate_per_day
from chirr.engine.biology.species import Species

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EGG, NYMPH, IDLE, WARMTH, ADULT = range(5)
"""Rows of the clocks: share of incubation; share of nymph life; days in which nymphs hardly develop; degC above the
size reference, weighted by nymph development; adult days as lived at 30 degC."""

SLOWEST_PER_DAY = 1.0 / 90.0
"""Below this rate of development time itself kills nymphs: nothing published gives the figure (judgement)."""

KNOT_H = 6
"""Spacing of a clutch's own clock, in hours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clocks:
    """Running sums of every clock, shape (clocks, places, hours + 1); entry [.., h] is the reading at hour h."""

    sums: Floats

    @property
    def hours(self) -> int:
        """Length of the grid."""
        return int(self.sums.shape[2]) - 1

    def read(self, place: Ints, hour: Floats) -> Floats:
        """Readings of all clocks, shape (clocks, ...), for places and hours of one shape (...)."""
        h = np.clip(hour, 0.0, self.hours - 1e-9)
        i = h.astype(np.int64)
        low, high = self.sums[:, place, i], self.sums[:, place, i + 1]
        return np.asarray(low + (h - i) * (high - low))

    def read_one(self, clock: int, place: Ints, hour: Floats) -> Floats:
        """Readings of one clock, for places and hours that broadcast together."""
        sums = self.sums[clock].ravel()
        h = np.clip(hour, 0.0, self.hours - 1e-9)
        i = h.astype(np.int64)
        at = place * (self.hours + 1) + i
        low = sums[at]
        return np.asarray(low + (h - i) * (sums[at + 1] - low))


def make_clocks(temp_c: Floats, species: Species) -> Clocks:
    """Clocks of every place from hourly temperature.

    Parameters
    ----------
    temp_c : ndarray, shape (places, hours)
        Temperature [degC].
    species : Species

    Returns
    -------
    Clocks
    """
    temp = np.clip(temp_c, -10.0, 60.0)
    nymph = nymph_rate_per_day(temp, species)
    ageing = np.exp(-species.longevity_slope_per_c.value * (30.0 - temp))
    idle = np.maximum(SLOWEST_PER_DAY - nymph, 0.0) / SLOWEST_PER_DAY
    warmth = nymph * (temp - species.size_reference_c.value)
    rates = np.stack([egg_rate_per_day(temp, species), nymph, idle, warmth, ageing]) / 24.0
    sums = np.zeros((len(rates), temp.shape[0], temp.shape[1] + 1))
    np.cumsum(rates, axis=2, out=sums[:, :, 1:])
    return Clocks(sums=sums)


def path_readings(clocks: Clocks, clock: int, starts_h: list[Floats], places: list[Ints], knots_h: Floats) -> Floats:
    """One clock along the paths of several things, shape (things, knots).

    Parameters
    ----------
    clocks : Clocks
    clock : int
        Row, such as `EGG`.
    starts_h : list of ndarray
        For each thing, the hours at which it came to each of its places; the first is its beginning.
    places : list of ndarray of int
        For each thing, those places.
    knots_h : ndarray, shape (things, knots)
        Hours at which to read, increasing, from each thing's beginning on.

    Returns
    -------
    ndarray
        What passed since the thing's beginning.
    """
    out = np.zeros_like(knots_h)
    longest = max((len(s) for s in starts_h), default=0)
    for k in range(longest):
        with_a_kth = np.flatnonzero([len(s) > k for s in starts_h])
        for here in np.split(with_a_kth, np.arange(_AT_ONCE, len(with_a_kth), _AT_ONCE)):
            begin = np.array([starts_h[i][k] for i in here])[:, None]
            end = np.array([starts_h[i][k + 1] if len(starts_h[i]) > k + 1 else np.inf for i in here])[:, None]
            place = np.array([places[i][k] for i in here])[:, None]
            hour = np.clip(knots_h[here], begin, np.maximum(end, begin))
            out[here] += clocks.read_one(clock, place, hour) - clocks.read_one(clock, place, begin)
    return out


_AT_ONCE = 100
"""So many things at once keep the arrays within a processor's cache."""


def invert_rows(rows: Floats, start: Floats, step: float, wanted: Floats) -> Floats:
    """Where increasing rows reach wanted readings, beyond the last knot along its last slope.

    Parameters
    ----------
    rows : ndarray, shape (things, knots)
        Non-decreasing readings at knots `start + k * step`.
    start : ndarray, shape (things,)
    step : float
    wanted : ndarray, shape (..., things)

    Returns
    -------
    ndarray, shape (..., things)
        Positions; inf where a row stands still at its end and never reaches the reading.
    """
    things, knots = rows.shape
    if wanted.ndim == 1:
        k = (rows < wanted[:, None]).sum(axis=1)
    else:
        top = float(rows.max(initial=0.0)) + 2.0
        flat = (np.clip(rows, 0.0, None) + top * np.arange(things)[:, None]).ravel()
        safe = np.clip(wanted, 0.0, top - 1.0)
        k = np.searchsorted(flat, (safe + top * np.arange(things)).ravel(), side="left").reshape(wanted.shape)
        k = k - knots * np.arange(things)
    k = np.clip(k, 1, knots - 1)
    row = np.broadcast_to(np.arange(things), wanted.shape)
    low, high = rows[row, k - 1], rows[row, k]
    slope = high - low
    tail = np.broadcast_to((rows[:, -1] - rows[:, max(knots - 5, 0)]) / min(4, knots - 1), wanted.shape)
    slope = np.where(wanted > rows[row, -1], tail, slope)
    base_k = np.where(wanted > rows[row, -1], knots - 1, k - 1)
    base = np.where(wanted > rows[row, -1], rows[row, -1], low)
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(wanted <= base, 0.0, (wanted - base) / slope)
    return np.asarray(start + step * (base_k + part))
