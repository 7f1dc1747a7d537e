"""How far two ways of counting the same things agree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Mean difference (first less second), its standard deviation, the limits that hold 95 in 100 differences, and
    Lin's concordance (1: the same numbers)."""

    bias: float
    sd: float
    low: float
    high: float
    concordance: float


def agreement(first: ArrayLike, second: ArrayLike, reach: float = 1.96) -> Agreement:
    """Agreement of two counts of the same things, both of shape (things,), `reach` standard deviations either way.

    References
    ----------
    Bland and Altman (1986), Lancet 327, 307-310 (who took 2 for `reach`); Lin (1989), Biometrics 45, 255-268.
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.shape != b.shape or a.size < 2:
        raise ValueError("Give two counts for each of at least two things.")
    gap = a - b
    bias, sd = float(gap.mean()), float(gap.std(ddof=1))
    together = float(((a - a.mean()) * (b - b.mean())).mean())
    apart = float(a.var() + b.var() + (a.mean() - b.mean()) ** 2)
    return Agreement(
        bias=bias,
        sd=sd,
        low=bias - reach * sd,
        high=bias + reach * sd,
        concordance=2 * together / apart if apart else 1.0,
    )
