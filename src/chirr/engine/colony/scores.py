"""How good a forecast was, once the truth is known: scores that reward bands for being both narrow and right.

All scores are losses: smaller is better, 0 is perfect. They are in the units of what was forecast.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtr, betaincinv, ndtr, ndtri

from chirr.engine.errors import EngineError

Floats = NDArray[np.float64]


def _floats(x: ArrayLike) -> Floats:
    return np.asarray(x, dtype=np.float64)


def crps_normal(truth: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> Floats:
    """Continuous ranked probability score of a normal forecast, in its closed form; shapes broadcast.

    Parameters
    ----------
    truth, mean, sd : array_like
        Same units; sd > 0.

    Raises
    ------
    EngineError
        If a standard deviation is not above nought.

    References
    ----------
    Gneiting and Raftery (2007), J. Am. Stat. Assoc. 102, 359-378, eq. 21.

    Examples
    --------
    >>> round(float(crps_normal(1.0, 0.0, 1.0)), 6)
    0.602441
    """
    spread = _floats(sd)
    if not (spread > 0).all():
        raise EngineError("A normal forecast needs a standard deviation above nought.")
    u = (_floats(truth) - _floats(mean)) / spread
    density = np.exp(-0.5 * u**2) / math.sqrt(2 * math.pi)
    return np.asarray(spread * (u * (2 * ndtr(u) - 1) + 2 * density - 1 / math.sqrt(math.pi)))


def crps_ensemble(truth: ArrayLike, members: ArrayLike, *, fair: bool = False) -> Floats:
    """Continuous ranked probability score of an ensemble.

    Parameters
    ----------
    truth : array_like, shape (...)
    members : array_like, shape (..., members)
    fair : bool
        Score the distribution that the members were drawn from instead of the members themselves: the mean distance
        between two members then leaves out each member's distance from itself.

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    EngineError
        If there is no member, or fewer than two for the fair score.

    References
    ----------
    Gneiting and Raftery (2007), eq. 21; Ferro (2014), Q. J. R. Meteorol. Soc. 140, 1917-1923 (fair).
    """
    x = np.sort(_floats(members), axis=-1)
    n = x.shape[-1] if x.ndim else 0
    if n < (2 if fair else 1):
        raise EngineError("A fair score needs at least two members, any other at least one.")
    off = np.abs(x - _floats(truth)[..., None]).mean(axis=-1)
    apart = 2 * ((2 * np.arange(n) - n + 1) * x).sum(axis=-1)
    return np.asarray(off - apart / (2 * n * ((n - 1) if fair else n)))


def interval_score(truth: ArrayLike, low: ArrayLike, high: ArrayLike, alpha: float) -> Floats:
    """Width of a central (1 - alpha) interval plus 2 / alpha for every unit by which the truth lies outside.

    Raises
    ------
    EngineError
        If alpha is not within 0 and 1.

    References
    ----------
    Gneiting and Raftery (2007), eq. 43.

    Examples
    --------
    >>> float(interval_score(10, 12, 20, 0.1))
    48.0
    """
    if not 0 < alpha < 1:
        raise EngineError(f"alpha is {alpha:g}; it must lie between 0 and 1.")
    y, a, b = _floats(truth), _floats(low), _floats(high)
    return np.asarray((b - a) + 2 / alpha * (np.maximum(a - y, 0.0) + np.maximum(y - b, 0.0)))


def pinball(truth: ArrayLike, forecast: ArrayLike, level: ArrayLike) -> Floats:
    """Loss of a quantile forecast: `level` for each unit too low, 1 - `level` for each too high; shapes broadcast."""
    miss, q = _floats(truth) - _floats(forecast), _floats(level)
    return np.asarray(np.maximum(q * miss, (q - 1) * miss))


def weighted_interval_score(truth: ArrayLike, quantiles: ArrayLike, levels: ArrayLike) -> Floats:
    """Weighted interval score of forecasts given as quantiles; a forecast of one number scores its distance.

    The median counts 1/2 and each central interval alpha/2, over K + 1/2: twice the mean pinball loss of the levels.

    Parameters
    ----------
    truth : array_like, shape (...)
    quantiles : array_like, shape (..., levels)
    levels : array_like, shape (levels,)
        Rising, symmetric about 0.5 and with it.

    Raises
    ------
    EngineError
        If the levels are not of that kind.

    References
    ----------
    Bracher, Ray, Gneiting and Reich (2021), PLOS Comput. Biol. 17, e1008618, eq. 2.

    Examples
    --------
    >>> round(float(weighted_interval_score(10, [12, 16, 20], [0.05, 0.5, 0.95])), 6)  # (6/2 + 0.1/2 * 48) / 1.5
    3.6
    """
    p = _floats(levels)
    if p.ndim != 1 or len(p) % 2 == 0 or not np.allclose(p + p[::-1], 1.0) or (np.diff(p) <= 0).any():
        raise EngineError("The levels must rise, with 0.5 in the middle and the others in pairs about it.")
    q = _floats(quantiles)
    return np.asarray(2 * pinball(_floats(truth)[..., None], q, p).mean(axis=-1))


@dataclass(frozen=True, slots=True)
class Coverage:
    """How often a band held the truth: `inside` of `of`, and a 95 % interval of the share."""

    inside: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """Share inside; nan when nothing was asked."""
        return self.inside / self.of if self.of else math.nan


def coverage(truth: ArrayLike, low: ArrayLike, high: ArrayLike) -> Coverage:
    """Coverage of bands (ends included) with its exact binomial interval.

    References
    ----------
    Clopper and Pearson (1934), Biometrika 26, 404-413.
    """
    y = _floats(truth)
    inside = int(((_floats(low) <= y) & (y <= _floats(high))).sum())
    return Coverage(inside, y.size, *binomial_interval(inside, y.size))


def binomial_interval(inside: float, of: float, confidence: float = 0.95) -> tuple[float, float]:
    """Exact (Clopper-Pearson) interval of a share; (0, 1) of nothing asked. The numbers need not be whole.

    Examples
    --------
    >>> tuple(round(x, 4) for x in binomial_interval(8, 10))
    (0.4439, 0.9748)
    """
    tail = (1 - confidence) / 2
    low = float(betaincinv(inside, of - inside + 1, tail)) if inside > 0 else 0.0
    high = float(betaincinv(inside + 1, of - inside, 1 - tail)) if inside < of else 1.0
    return low, high


def chance_of_so_few(inside: int, of: int, promised: float) -> float:
    """Chance that a band which holds the truth with probability `promised` held it so seldom, or more seldom."""
    return float(bdtr(inside, of, promised))


def conformal_rank(n: int, alpha: float) -> int | None:
    """Which of n held-out errors, from the smallest up, bounds the next one with chance 1 - alpha; None if none does.

    Raises
    ------
    EngineError
        If alpha is not within 0 and 1.

    References
    ----------
    Lei, G'Sell, Rinaldo, Tibshirani and Wasserman (2018), J. Am. Stat. Assoc. 113, 1094-1111.

    Examples
    --------
    >>> conformal_rank(19, 0.1), conformal_rank(9, 0.1), conformal_rank(8, 0.1)
    (18, 9, None)
    """
    if not 0 < alpha < 1:
        raise EngineError(f"alpha is {alpha:g}; it must lie between 0 and 1.")
    rank = math.ceil((n + 1) * (1 - alpha) - 1e-9)
    return rank if rank <= n else None


def conformal_bound(errors: ArrayLike, alpha: float) -> float:
    """Bound on the next error of an exchangeable run, with chance at least 1 - alpha; infinite when too few known."""
    e = np.sort(_floats(errors).ravel())
    rank = conformal_rank(e.size, alpha)
    return math.inf if rank is None else float(e[rank - 1])


def wider(quantiles: ArrayLike, levels: ArrayLike, sd: ArrayLike) -> Floats:
    """Quantiles of a forecast with a normal error of standard deviation `sd` added to it.

    Each quantile's distance from the median and that of the error add in squares: exact for a normal forecast, close
    for one that is lopsided but has one hump.

    Parameters
    ----------
    quantiles : array_like, shape (..., levels)
    levels : array_like, shape (levels,), with 0.5 among them
    sd : array_like, shape (...)

    Returns
    -------
    ndarray, shape (..., levels)
    """
    q, p = _floats(quantiles), _floats(levels)
    middle = q[..., int(np.argmin(np.abs(p - 0.5)))][..., None]
    z = ndtri(p)
    away = q - middle
    return np.asarray(middle + np.sign(z) * np.hypot(away, z * _floats(sd)[..., None]))
