"""What is looked ahead for, and on which of the days to come it is worked out.

The weeks that are far off turn less sharply than those at hand, so fewer of their days are worked out. A cubic spline
through these gives all others.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STRIDES = ((0, 1), (16, 2), (30, 5))
"""From which day on every how many-th is worked out: while the trays of today hatch every one."""

EVERY_DAY = ((0, 1),)
"""Strides where nothing may be left to a spline, as where a best day is sought."""

NEXT_TO_NOTHING = 0.01
"""Below this share of its largest value a number that grows or dwindles is taken on a straight scale."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Horizon:
    """What is looked ahead for: days from now, size classes [mg] from light to heavy, the mass to harvest at [mg].

    strides: in place of STRIDES.
    """

    days: int
    from_mg: tuple[float, ...]
    target_mg: float
    strides: tuple[tuple[int, int], ...] = STRIDES

    @property
    def looked_at(self) -> Ints:
        """The days worked out, from 0 for now to the last."""
        return _looked_at(self.days, self.strides)

    def every_day(self, values: NDArray[Any], axis: int) -> NDArray[Any]:
        """Values on the days looked at, along `axis`, put on every day; none below 0."""
        weights = _weights(self.days, self.strides).astype(values.dtype)
        found = np.moveaxis(np.tensordot(weights, values, axes=(1, axis)), 0, axis)
        return np.maximum(found, 0, out=found)

    def every_day_by_ratio(self, values: Floats, axis: int) -> Floats:
        """The same for what grows or dwindles by a share each day; it rises and falls only where the values do."""
        least = NEXT_TO_NOTHING * values.max(axis=axis, keepdims=True) + np.finfo(np.float64).tiny
        logs = PchipInterpolator(self.looked_at, np.log(values + least), axis=axis)(np.arange(self.days + 1))
        return np.asarray(np.maximum(np.exp(logs) - least, 0.0))


@cache
def _looked_at(days: int, strides: tuple[tuple[int, int], ...]) -> Ints:
    ends = [*(begin for begin, _ in strides[1:]), days]
    each = [np.arange(begin, min(end, days), step) for (begin, step), end in zip(strides, ends, strict=True)]
    return np.concatenate([*each, [days]])


@cache
def _weights(days: int, strides: tuple[tuple[int, int], ...]) -> Floats:
    """What each of the days looked at weighs in the value of every day, shape (days + 1, days looked at)."""
    at = _looked_at(days, strides)
    return np.asarray(CubicSpline(at, np.eye(len(at)), bc_type="natural")(np.arange(days + 1)))
