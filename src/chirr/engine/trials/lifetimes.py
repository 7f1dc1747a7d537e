"""How long until it happens, when for some it has not happened yet: Kaplan-Meier curves and the log-rank test."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from chirr.engine.trials.estimates import TooFew

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Share still waiting after each time at which something happened; arrays of shape (times,)."""

    times: Floats
    at_risk: Floats
    events: Floats
    share: Floats
    se: Floats

    @property
    def median(self) -> float:
        """First time at which half or less are still waiting; infinite if never."""
        below = np.flatnonzero(self.share <= 0.5 + 1e-12)
        return float(self.times[below[0]]) if len(below) else math.inf

    def interval(self, level: float = 0.95) -> tuple[Floats, Floats]:
        """Pointwise intervals on the log(-log) scale, which stay between 0 and 1."""
        z = float(stats.norm.ppf(0.5 + level / 2))
        with np.errstate(divide="ignore", invalid="ignore"):
            log_share = np.log(self.share)
            half = z * self.se / (self.share * np.abs(log_share))
            low, high = self.share ** np.exp(half), self.share ** np.exp(-half)
        known = (self.share > 0) & (self.share < 1)
        return np.where(known, low, self.share), np.where(known, high, self.share)


def kaplan_meier(times: ArrayLike, happened: ArrayLike) -> Curve:
    """Kaplan and Meier (1958, J. Am. Stat. Assoc. 53:457) with Greenwood's standard error.

    times: shape (units,); happened: False where the unit was last seen still waiting. Whoever leaves at a time still
    counts as at risk then.
    """
    t, e = np.asarray(times, dtype=np.float64), np.asarray(happened, dtype=bool)
    when = np.unique(t[e])
    at_risk = (t[None, :] >= when[:, None]).sum(axis=1).astype(np.float64)
    events = ((t[None, :] == when[:, None]) & e).sum(axis=1).astype(np.float64)
    share = np.cumprod(1 - events / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(events / (at_risk * (at_risk - events)))
        se = np.where(share > 0, share * np.sqrt(greenwood), 0.0)
    return Curve(times=when, at_risk=at_risk, events=events, share=share, se=se)


def log_rank(times: ArrayLike, happened: ArrayLike, way: ArrayLike) -> tuple[float, int, float]:
    """Whether the curves of two or more ways differ (Mantel 1966): chi-square, degrees of freedom, p."""
    t, e = np.asarray(times, dtype=np.float64), np.asarray(happened, dtype=bool)
    names, of = np.unique(np.asarray(way), return_inverse=True)
    k = len(names)
    if k < 2 or not e.any():
        raise TooFew("Two ways and at least one event are needed to compare times.")
    gap, spread = np.zeros(k), np.zeros((k, k))
    for when in np.unique(t[e]):
        risk = np.bincount(of[t >= when], minlength=k).astype(np.float64)
        died = np.bincount(of[(t == when) & e], minlength=k).astype(np.float64)
        n, d = risk.sum(), died.sum()
        share = risk / n
        gap += died - d * share
        if n > 1:
            spread += d * (n - d) / (n - 1) * (np.diag(share) - np.outer(share, share))
    chi2 = float(gap[:-1] @ np.linalg.pinv(spread[:-1, :-1]) @ gap[:-1])
    return chi2, k - 1, float(stats.chi2.sf(chi2, k - 1))
