"""The models that two ways are compared by: plain or on logs, in groups, pairs or blocks, and for counts."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chirr.engine.errors import EngineError
from chirr.engine.trials import blocks as within
from chirr.engine.trials.counts import fit_by_moments
from chirr.engine.trials.estimates import Estimate, TooFew, paired, summary, unpaired
from chirr.says import said

Floats = NDArray[np.float64]
SMALL_COUNT = 20.0
"""Whole numbers with a mean below this, or with noughts, are judged by a count model instead of by their logs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Values of two ways, shape (n,) and (m,), and what belongs together.

    kind: 'groups', 'pairs' (then a and b go together in order) or 'blocks'; block: shape (n + m,), labels of a then b.
    """

    kind: str
    a: Floats
    b: Floats
    block: NDArray[np.str_]
    equal_spread: bool = False

    @property
    def both(self) -> Floats:
        """All values, those of a first."""
        return np.concatenate([self.a, self.b])

    @property
    def is_a(self) -> NDArray[np.bool_]:
        """Which of `both` are of a."""
        return np.arange(len(self.a) + len(self.b)) < len(self.a)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """An estimate with the model's name and what it leaves over, shape (units,) or (pairs,)."""

    method: str
    estimate: Estimate
    left: Floats


def needs_count_model(a: Floats, b: Floats) -> bool:
    """Whether a ratio of these values is better judged by a count model than by their logs."""
    if min(a.min(), b.min()) < 0:
        raise EngineError("A ratio needs values of nought or more, and some are below; judge the difference instead.")
    return bool(min(a.min(), b.min()) == 0 or (whole(a, b) and min(a.mean(), b.mean()) < SMALL_COUNT))


def whole(a: Floats, b: Floats) -> bool:
    """Whether all values are whole numbers."""
    return bool(np.all(a == np.round(a)) and np.all(b == np.round(b)))


def fit_plain(layout: Layout, *, logs: bool) -> Fitted:
    """Normal errors, on the values as they are or on their logs (which must all be above nought)."""
    a, b = (np.log(layout.a), np.log(layout.b)) if logs else (layout.a, layout.b)
    tail = ", on logs" if logs else ""
    if layout.kind == "pairs":
        gaps = a - b
        return Fitted(method=f"differences within pairs{tail}", estimate=paired(summary(gaps)), left=gaps - gaps.mean())
    if layout.kind == "blocks":
        v, is_a = np.concatenate([a, b]), layout.is_a
        e = within.within_blocks(v, is_a, layout.block)
        x = np.column_stack([np.ones(len(v)), is_a, within.dummies(layout.block)])
        left = v - x @ np.linalg.lstsq(x, v, rcond=None)[0]
        return Fitted(method=f"differences within blocks{tail}", estimate=e, left=left)
    spread = "one spread" if layout.equal_spread else "each with its own spread"
    return Fitted(
        method=f"two groups, {spread}{tail}",
        estimate=unpaired(summary(a), summary(b), equal_spread=layout.equal_spread),
        left=np.concatenate([a - a.mean(), b - b.mean()]),
    )  # fmt: skip


def fit_as_counts(layout: Layout) -> Fitted:
    """Log ratio of means by negative binomial regression, with t on its residual degrees of freedom.

    Where counts vary less than by chance the spread found is used as well (quasi-likelihood).
    """
    v, is_a = layout.both, layout.is_a
    keep = np.ones(len(v), dtype=bool)
    if layout.kind != "groups":
        # a block of noughts only, or with one way only, says nothing of the ratio
        for label in np.unique(layout.block):
            here = layout.block == label
            keep[here] = v[here].any() and len(set(is_a[here].tolist())) == 2
        if not keep.any():
            raise within.Confounded(said("no block holds both ways, so their ratio cannot be told from one of blocks"))
    x = np.column_stack([np.ones(len(v)), is_a.astype(np.float64)])[keep]
    if layout.kind != "groups":
        x = np.hstack([x, within.dummies(layout.block[keep])])
    if x.shape[0] - x.shape[1] < 1:
        raise TooFew(said("there are too few values to find their spread from; more are needed"))
    fit = fit_by_moments(v[keep], x)
    scale = fit.pearson / fit.df  # 1 where alpha takes up the spread
    if scale < 1e-12:
        raise TooFew(said("the values do not vary, so nothing can be said of their spread; measure more finely"))
    others = np.delete(x, 1, axis=1)
    apart = x[:, 1] - others @ np.linalg.lstsq(others, x[:, 1], rcond=None)[0]
    mu = np.exp(x @ fit.coef)
    left = np.zeros(len(v))
    left[keep] = (v[keep] - mu) / np.sqrt(mu + fit.alpha * mu**2)
    e = Estimate(value=float(fit.coef[1]), se=float(fit.se[1]) * math.sqrt(scale), df=fit.df, size=float(apart @ apart))
    return Fitted(method="count model with log link", estimate=e, left=left)


def others(layout: Layout, chosen: Fitted, *, ratio: bool) -> list[Fitted]:
    """What the other usual models say of the same values, as far as they can be fitted."""
    makers: list[Callable[[], Fitted]] = []
    counted = chosen.method.startswith("count")
    if ratio and counted and layout.both.min() > 0:
        makers.append(lambda: fit_plain(layout, logs=True))
    if ratio and not counted and whole(layout.a, layout.b):
        makers.append(lambda: fit_as_counts(layout))
    if layout.kind == "groups" and not counted:
        turned = Layout(kind="groups", a=layout.a, b=layout.b, block=layout.block, equal_spread=not layout.equal_spread)
        makers.append(lambda: fit_plain(turned, logs=ratio))
    out = []
    for make in makers:
        try:
            out.append(make())
        except EngineError:
            continue  # it is only beside the main one
    return out
