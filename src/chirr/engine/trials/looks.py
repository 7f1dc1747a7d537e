"""Looking while a trial runs, without cheating: bounds for planned looks, and an interval that holds at every look."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from chirr.engine.errors import EngineError
from chirr.engine.trials.estimates import Estimate

Floats = NDArray[np.float64]
_STEP = 0.02


def spent(share: float, alpha: float = 0.05) -> float:
    """Error that may be spent once `share` of the information is in, two-sided.

    The O'Brien-Fleming-like spending function of Lan and DeMets (1983, Biometrika 70:659): hardly any early.
    """
    if share <= 0:
        return 0.0
    return float(4 * stats.norm.sf(stats.norm.isf(alpha / 4) / math.sqrt(min(share, 1.0))))


def bounds(shares: Sequence[float], alpha: float = 0.05) -> list[float]:
    """Bounds on |z| at looks taken when these shares of the planned information are in.

    Stop when |z| is above the bound of its look. Worked out by carrying the density of z forward from look to look
    (Armitage, McPherson and Rowe 1969, J. R. Stat. Soc. A 132:235) on a fine grid.

    >>> [round(b, 2) for b in bounds([0.2, 0.4, 0.6, 0.8, 1.0])]
    [4.88, 3.36, 2.68, 2.29, 2.03]
    """
    if not shares or any(b <= a for a, b in zip((0.0, *shares), shares, strict=False)) or shares[-1] > 1 + 1e-9:
        raise EngineError("Looks must come one after another, at shares of the planned number between 0 and 1.")
    return list(_bounds(tuple(float(s) for s in shares), alpha))


@cache
def _bounds(shares: tuple[float, ...], alpha: float) -> tuple[float, ...]:
    out: list[float] = []
    grid: Floats | None = None
    density = np.empty(0)
    before = 0.0
    for share in shares:
        step = share - before
        out.append(_bound(grid, density, share, step, spent(share, alpha) - spent(before, alpha)))
        grid, density = _carried(grid, density, share, step, out[-1])
        before = share
    return tuple(out)


def _weights(grid: Floats) -> Floats:
    """Simpson's weights."""
    w = np.full(len(grid), 2.0)
    w[1::2] = 4.0
    w[0] = w[-1] = 1.0
    return np.asarray(w * (grid[1] - grid[0]) / 3)


def _bound(grid: Floats | None, density: Floats, share: float, step: float, spend: float) -> float:
    """The |z| that is passed first at this look with probability `spend`. Grid is of the score s = z sqrt(share)."""
    if grid is None:
        return float(stats.norm.isf(max(spend, 1e-300) / 2))
    w = _weights(grid) * density
    root, sd = math.sqrt(share), math.sqrt(step)

    def passed(z: float) -> float:
        return float(w @ (stats.norm.sf((z * root - grid) / sd) + stats.norm.cdf((-z * root - grid) / sd))) - spend

    if spend <= 0 or passed(12.0) > 0:
        return 12.0
    return float(optimize.brentq(passed, 0.0, 12.0, xtol=1e-10))


def _carried(grid: Floats | None, density: Floats, share: float, step: float, z: float) -> tuple[Floats, Floats]:
    """Density of the score for trials that go on after this look."""
    edge = min(z, 10.0) * math.sqrt(share)
    points = 2 * math.ceil(edge / (_STEP * math.sqrt(step))) + 1
    new = np.linspace(-edge, edge, max(points, 101))
    if grid is None:
        return new, np.asarray(stats.norm.pdf(new, scale=math.sqrt(share)))
    kernel = stats.norm.pdf(new[:, None] - grid[None, :], scale=math.sqrt(step))
    return new, np.asarray(kernel @ (_weights(grid) * density))


def always_interval(e: Estimate, alpha: float = 0.05, *, tuned_for: float = 20.0) -> tuple[float, float]:
    """An interval that may be looked at after every unit: over all looks together it misses with chance alpha at most.

    It holds the differences whose t statistic has a Bayes factor below 1/alpha against a normal alternative in units
    of the spread; with the flat-in-log prior for the spread that factor is a martingale, so Ville's inequality bounds
    the error under any stopping rule (Lai 1976, Ann. Statist. 4:265; Lindon et al. 2022, arXiv:2210.08589). Assumes
    normal errors of one spread, and units whose way was set before their outcome.

    Parameters
    ----------
    e : the estimate so far, found with one spread for both ways
    tuned_for : the `size` of the estimate at which the interval shall be about as short as it can be
    """
    if not e.size > 0 or e.df < 1:
        return -math.inf, math.inf
    prior = best_prior(alpha, tuned_for)
    grown = 1 + e.size * prior
    ratio = (math.sqrt(grown) / alpha) ** (2 / (e.df + 1))
    if ratio >= grown:
        return -math.inf, math.inf
    t = math.sqrt(e.df * (ratio - 1) / (1 - ratio / grown))
    return e.value - t * e.se, e.value + t * e.se


@cache
def best_prior(alpha: float, tuned_for: float) -> float:
    """Variance of the normal alternative (in spreads squared) that makes the interval shortest at size `tuned_for`.

    Chosen as if the spread were known, before any data.
    """

    def width(log_g: float) -> float:
        grown = 1 + tuned_for * math.exp(log_g)
        return (math.log(grown) - 2 * math.log(alpha)) * grown / (grown - 1)

    found = optimize.minimize_scalar(width, bounds=(-12.0, 8.0), method="bounded")
    return math.exp(float(found.x))
