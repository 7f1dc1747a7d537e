"""What is looked ahead for, and on which of the days to come it is worked out.

Nothing turns sharply in weeks that are far off, so there only every third day is worked out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NEAR_DAYS, STRIDE = 21, 3
"""Every one of so many days from now is worked out, for eggs hatch in them, and every third after that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Horizon:
    """What is looked ahead for: days from now, size classes [mg] from light to heavy, the mass to harvest at [mg].

    stride: beyond the near days every so many-th is worked out.
    """

    days: int
    from_mg: tuple[float, ...]
    target_mg: float
    stride: int = STRIDE

    @property
    def looked_at(self) -> Ints:
        """The days worked out, from 0 for now: each of the near ones, then every third, and the last."""
        return _looked_at(self.days, self.stride)

    def every_day(self, values: NDArray[Any], axis: int) -> NDArray[Any]:
        """Values on the days looked at, along `axis`, put on every day: on straight lines between two of them."""
        low, high, part = _between(self.days, self.stride)
        v = np.moveaxis(values, axis, -1)
        return np.moveaxis(v[..., low] + part.astype(v.dtype) * (v[..., high] - v[..., low]), -1, axis)

    def every_day_by_ratio(self, values: Floats, axis: int) -> Floats:
        """The same on straight lines of their logarithms, where neither of the two is 0: what grows or dwindles."""
        low, high, part = _between(self.days, self.stride)
        v = np.moveaxis(values, axis, -1)
        with np.errstate(divide="ignore", invalid="ignore"):
            logs = np.log(v)
            by_ratio = np.exp((1 - part) * logs[..., low] + part * logs[..., high])
        both = (v[..., low] > 0) & (v[..., high] > 0)
        return np.where(np.moveaxis(both, -1, axis), np.moveaxis(by_ratio, -1, axis), self.every_day(values, axis))


@cache
def _looked_at(days: int, stride: int) -> Ints:
    near = np.arange(min(days, NEAR_DAYS) + 1)
    return np.unique(np.concatenate([near, np.arange(NEAR_DAYS, days, stride), [days]]))


@cache
def _between(days: int, stride: int) -> tuple[Ints, Ints, Floats]:
    """For every day, the days looked at before and after it, by number, and how far between them it lies."""
    at, day = _looked_at(days, stride), np.arange(days + 1)
    low = np.clip(np.searchsorted(at, day, side="right") - 1, 0, len(at) - 1)
    high = np.minimum(low + 1, len(at) - 1)
    return low, high, (day - at[low]) / np.maximum(at[high] - at[low], 1)
