"""Counts on the log scale: Poisson and negative binomial regression by iterated weighted least squares."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from chirr.engine.errors import EngineError

Floats = NDArray[np.float64]


class NotSettled(EngineError, ArithmeticError):  # noqa: N818  named for what happened
    """A fit did not come to rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CountFit:
    """A fitted count model with log link. coef, se: shape (terms,); variance = mean + alpha mean^2."""

    coef: Floats
    covariance: Floats
    alpha: float
    log_likelihood: float
    deviance: float
    pearson: float
    df: int

    @property
    def se(self) -> Floats:
        """Standard errors of the coefficients."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


def fit_counts(y: ArrayLike, x: ArrayLike, *, alpha: float = 0.0, offset: ArrayLike = 0.0) -> CountFit:
    """Poisson (alpha 0) or negative binomial regression with known alpha.

    Parameters
    ----------
    y : array_like, shape (units,), counts
    x : array_like, shape (units, terms), a column of ones among them
    offset : log exposure, shape (units,) or a number
    """
    counts, design = np.asarray(y, dtype=np.float64), np.asarray(x, dtype=np.float64)
    off = np.broadcast_to(np.asarray(offset, dtype=np.float64), counts.shape)
    scale = np.sqrt((design**2).mean(axis=0))
    if not scale.all() or np.linalg.matrix_rank(design / scale) < design.shape[1]:
        raise EngineError("The terms of the count model go hand in hand, so their effects cannot be told apart.")
    design = design / scale
    eta = np.log(np.maximum(counts, 0.0) + 0.5)
    before = math.inf
    for _ in range(200):
        mu = np.exp(np.clip(eta, -700, 700))
        weight = mu / (1 + alpha * mu)
        working = eta - off + (counts - mu) / mu
        weighed = design.T * weight
        coef = np.linalg.solve(weighed @ design, weighed @ working)
        eta = design @ coef + off
        deviance = _deviance(counts, np.exp(np.clip(eta, -700, 700)), alpha)
        if abs(deviance - before) < 1e-12 * (abs(deviance) + 1):
            break
        before = deviance
    else:
        raise NotSettled("The count model did not come to rest: one way may hold nothing but noughts.")
    mu = np.exp(eta)
    weight = mu / (1 + alpha * mu)
    return CountFit(
        coef=coef / scale, covariance=np.linalg.inv((design.T * weight) @ design) / np.outer(scale, scale), alpha=alpha,
        log_likelihood=_log_likelihood(counts, mu, alpha), deviance=_deviance(counts, mu, alpha),
        pearson=float(np.sum((counts - mu) ** 2 / (mu + alpha * mu**2))), df=len(counts) - design.shape[1],
    )  # fmt: skip


def _log_likelihood(y: Floats, mu: Floats, alpha: float) -> float:
    if alpha <= 0:
        return float(np.sum(special.xlogy(y, mu) - mu - special.gammaln(y + 1)))
    size = 1 / alpha
    return float(
        np.sum(
            special.gammaln(y + size) - special.gammaln(size) - special.gammaln(y + 1)
            + special.xlogy(y, alpha * mu) - (y + size) * np.log1p(alpha * mu)
        )
    )  # fmt: skip


def _deviance(y: Floats, mu: Floats, alpha: float) -> float:
    each = special.xlogy(y, np.where(y > 0, y, 1) / mu)
    if alpha <= 0:
        return float(2 * np.sum(each - (y - mu)))
    return float(2 * np.sum(each - (y + 1 / alpha) * np.log((1 + alpha * y) / (1 + alpha * mu))))


def fit_overdispersed(y: ArrayLike, x: ArrayLike, *, offset: ArrayLike = 0.0) -> CountFit:
    """Negative binomial regression with its alpha by maximum likelihood; 0 where counts vary no more than Poisson."""

    def loss(log_alpha: float) -> float:
        return -fit_counts(y, x, alpha=math.exp(log_alpha), offset=offset).log_likelihood

    found = optimize.minimize_scalar(loss, bounds=(-16.0, 5.0), method="bounded", options={"xatol": 1e-7})
    fit = fit_counts(y, x, alpha=math.exp(float(found.x)), offset=offset)
    plain = fit_counts(y, x, offset=offset)
    return fit if fit.log_likelihood > plain.log_likelihood + 1e-9 else plain


def fit_by_moments(y: ArrayLike, x: ArrayLike, *, offset: ArrayLike = 0.0) -> CountFit:
    """Negative binomial regression with the alpha at which Pearson's chi-square equals its degrees of freedom.

    In small trials maximum likelihood takes alpha too small; this one is nearly unbiased (Breslow 1984,
    Applied Statistics 33:38).
    """
    plain = fit_counts(y, x, offset=offset)
    if plain.df < 1 or plain.pearson <= plain.df:
        return plain

    def gap(log_alpha: float) -> float:
        fit = fit_counts(y, x, alpha=math.exp(log_alpha), offset=offset)
        return fit.pearson - fit.df

    low, high = -16.0, 5.0
    if gap(low) <= 0:
        return plain
    if gap(high) >= 0:
        return fit_counts(y, x, alpha=math.exp(high), offset=offset)
    return fit_counts(y, x, alpha=math.exp(float(optimize.brentq(gap, low, high, xtol=1e-9))), offset=offset)
