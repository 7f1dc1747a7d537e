"""Minutes as a distribution: lognormal with the first look at a default, and what a walk is made of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from chirr.engine.errors import EngineError

Floats = NDArray[np.float64]
PRIOR_WEIGHT = 3.0
PRIOR_LOG_SD = 0.5
"""A default counts as three timings that vary by half their size (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Duration:
    """Minutes of one deed: number of timings, middle, mean, and a band that 8 of 10 single deeds fall in."""

    n: int
    middle: float
    mean: float
    low: float
    high: float
    middle_interval: tuple[float, float]
    """90 % interval of the middle itself."""


def learnt(minutes: ArrayLike, default: float | None = None) -> Duration:
    """A lognormal learnt from timings, drawn towards a default (normal-inverse-gamma on the logs).

    minutes: shape (timings,), each above nought. Without a default at least two timings are needed.
    """
    logs = np.log(np.asarray(minutes, dtype=np.float64))
    n = len(logs)
    if default is None and n < 2:
        raise EngineError("Two timings at least are needed where there is no default.")
    weight = PRIOR_WEIGHT if default is not None else 0.0
    mean = float(logs.mean()) if n else 0.0
    centre = (weight * math.log(default) if default is not None else 0.0) + n * mean
    centre /= weight + n
    ss = float(((logs - mean) ** 2).sum())
    if default is not None:
        ss += weight * PRIOR_LOG_SD**2 + weight * n / (weight + n) * (mean - math.log(default)) ** 2
    df = weight + n - 1
    sd = math.sqrt(ss / df)
    t8, t9 = float(stats.t.ppf(0.9, df)), float(stats.t.ppf(0.95, df))
    spread, own = sd * math.sqrt(1 + 1 / (weight + n)), sd / math.sqrt(weight + n)
    return Duration(
        n=n, middle=math.exp(centre), mean=math.exp(centre + sd**2 / 2), low=math.exp(centre - t8 * spread),
        high=math.exp(centre + t8 * spread), middle_interval=(math.exp(centre - t9 * own), math.exp(centre + t9 * own)),
    )  # fmt: skip


def set_up_and_each(numbers: Sequence[float], minutes: Sequence[float]) -> tuple[float, float]:
    """Minutes before the first one and minutes for each, from visits of different size (both nought or more)."""
    n, m = np.asarray(numbers, dtype=np.float64), np.asarray(minutes, dtype=np.float64)
    if len(n) < 3 or n.max() == n.min():
        raise EngineError(
            "Set-up and single minutes can be told apart only by visits of different sizes, three at least."
        )
    from scipy.optimize import nnls

    (setup, each), _ = nnls(np.column_stack([np.ones(len(n)), n]), m)
    return float(setup), float(each)
