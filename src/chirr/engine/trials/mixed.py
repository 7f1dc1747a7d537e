"""Outcomes with bins and dates as random effects: a linear mixed model with a few random intercepts, by REML."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, optimize, sparse

from chirr.engine.errors import EngineError
from chirr.engine.trials.estimates import Estimate, TooFew
from chirr.says import said

Floats = NDArray[np.float64]
MOST_UNITS = 3000


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedFit:
    """A fitted mixed model. coef: shape (terms,); variances: one for each grouping, then what is left over."""

    coef: Floats
    covariance: Floats
    variances: Floats
    log_likelihood: float
    _parts: tuple[Floats, Floats, Floats, tuple[Floats, ...], Floats]

    def contrast(self, row: ArrayLike) -> Estimate:
        """A combination of coefficients, with Satterthwaite's degrees of freedom.

        df = 2 v^2 / (g' A g): v the contrast's variance, g its slopes in the variances, A the covariance of these
        (Satterthwaite 1946, Biometrics Bulletin 2:110; Giesbrecht and Burns 1985, Biometrics 41:477).
        """
        c = np.asarray(row, dtype=np.float64)
        _, x, _, groups, known = self._parts
        value, v = float(c @ self.coef), float(c @ self.covariance @ c)
        inverse, p = _projection(x, groups, known, self.variances)
        push = inverse @ x @ self.covariance @ c
        slopes = np.array([float(push @ d @ push) for d in (*groups, np.eye(len(x)))])
        products = [p @ d for d in (*groups, np.eye(len(x)))]
        information = 0.5 * np.array([[float(np.sum(a * b.T)) for b in products] for a in products])
        inside = self.variances > 1e-7 * self.variances.max()  # at nought a variance is held there, not estimated
        inside[-1] = True
        spread = np.linalg.pinv(information[np.ix_(inside, inside)])
        doubt = float(slopes[inside] @ spread @ slopes[inside])
        alone = float(self.variances[-1] + known.mean())
        return Estimate(value=value, se=float(np.sqrt(v)), df=2 * v**2 / doubt, size=alone / v)


def fit_mixed(
    y: ArrayLike, x: ArrayLike, groupings: Sequence[ArrayLike], *, known_variance: ArrayLike = 0.0
) -> MixedFit:
    """Restricted maximum likelihood (Patterson and Thompson 1971, Biometrika 58:545) with random intercepts.

    Parameters
    ----------
    y : array_like, shape (units,), on a scale where effects add (logs of counts)
    x : array_like, shape (units, terms), a column of ones among them
    groupings : for each random intercept the labels of the units, shape (units,)
    known_variance : variance of each unit's measurement that is known beforehand, such as a count method's own
    """
    v, design = np.asarray(y, dtype=np.float64), np.asarray(x, dtype=np.float64)
    n, k = design.shape
    if n > MOST_UNITS:
        raise EngineError(
            said(
                "{n:,} units are more than this model takes; judge a shorter time, up to {most:,}", n=n, most=MOST_UNITS
            )
        )
    if np.linalg.matrix_rank(design) < k:
        raise EngineError(said("some effects go hand in hand in these data, so they cannot be told apart"))
    if n - k < 2:
        raise TooFew(said("there are too few units for so many effects"))
    groups = tuple(_same(labels) for labels in groupings)
    known = np.broadcast_to(np.asarray(known_variance, dtype=np.float64), v.shape)
    left = v - design @ np.linalg.lstsq(design, v, rcond=None)[0]
    scale = float(left @ left) / (n - k)
    if scale <= 1e-20 * max(float(v @ v), 1e-300):
        raise TooFew(said("the values do not vary, so nothing can be said of their spread; measure more finely"))

    z, which = _columns(groupings, n)
    terms = np.column_stack([design, v])

    def loss(root: Floats) -> float:
        return -_reml(terms, z, which, known, scale * root**2)

    start = np.full(len(groups) + 1, (1.0 / (len(groups) + 1)) ** 0.5)
    best = min(
        (optimize.minimize(loss, s, method="L-BFGS-B", bounds=[(0.0, 10.0)] * len(groups) + [(1e-4, 10.0)],
                           options={"ftol": 1e-14, "gtol": 1e-9, "maxiter": 500})
         for s in (start, np.append(np.full(len(groups), 0.05), 0.95))),
        key=lambda r: float(r.fun),
    )  # fmt: skip
    variances = scale * np.asarray(best.x) ** 2
    inverse = _inverse(_total(groups, known, variances))
    covariance: Floats = _inverse(design.T @ inverse @ design)
    return MixedFit(
        coef=covariance @ design.T @ inverse @ v, covariance=covariance, variances=variances,
        log_likelihood=-float(best.fun), _parts=(v, design, inverse, groups, known),
    )  # fmt: skip


def _inverse(matrix: Floats) -> Floats:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _same(labels: ArrayLike) -> Floats:
    a = np.asarray(labels)
    return np.asarray(a[:, None] == a[None, :], dtype=np.float64)


def _columns(groupings: Sequence[ArrayLike], n: int) -> tuple[sparse.csr_array, NDArray[np.int64]]:
    """One column of 0 and 1 for each bin, date..., and the variance that each column has."""
    of, which, width = [], [], 0
    for k, labels in enumerate(groupings):
        names, place = np.unique(np.asarray(labels), return_inverse=True)
        of.append(width + place)
        which += [k] * len(names)
        width += len(names)
    rows = np.tile(np.arange(n), len(of))
    ones = np.ones(n * len(of))
    columns = np.concatenate(of) if of else np.empty(0, dtype=np.int64)
    return sparse.csr_array((ones, (rows, columns)), shape=(n, width)), np.array(which, dtype=np.int64)


def _total(groups: tuple[Floats, ...], known: Floats, variances: Floats) -> Floats:
    out = np.diag(known + variances[-1])
    for d, s in zip(groups, variances, strict=False):
        out = out + s * d
    return np.asarray(out)


def _projection(x: Floats, groups: tuple[Floats, ...], known: Floats, variances: Floats) -> tuple[Floats, Floats]:
    inverse = _inverse(_total(groups, known, variances))
    middle = inverse @ x
    return inverse, np.asarray(inverse - middle @ np.linalg.solve(x.T @ middle, middle.T), dtype=np.float64)


def _reml(a: Floats, z: sparse.csr_array, which: NDArray[np.int64], known: Floats, variances: Floats) -> float:
    """Restricted log likelihood. a: the terms with the outcome as last column; z: one column for each bin, date...

    Written in the size of z (Woodbury), as there are far fewer bins and dates than units; `which` is the variance of
    each of its columns.
    """
    n, k = a.shape[0], a.shape[1] - 1
    alone = known + variances[-1]
    root = np.sqrt(variances[which])
    back = (z.multiply(1 / alone[:, None])).T.tocsr()
    inner = np.eye(len(which)) + root[:, None] * (back @ z).toarray() * root
    side = root[:, None] * (back @ a)
    try:
        factor = linalg.cholesky(inner, lower=True)
        half = linalg.solve_triangular(factor, side, lower=True)
        whole = linalg.cholesky(a.T @ (a / alone[:, None]) - half.T @ half, lower=True)
    except linalg.LinAlgError:
        return -1e300
    logs = np.log(alone).sum() + 2 * np.log(np.diag(factor)).sum() + 2 * np.log(np.diag(whole)[:k]).sum()
    # the last diagonal is what the terms leave of the outcome
    return float(-0.5 * ((n - k) * np.log(2 * np.pi) + logs + whole[k, k] ** 2))
