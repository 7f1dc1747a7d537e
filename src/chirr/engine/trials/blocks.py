"""Outcomes with blocks: least squares of terms in order, and the refusal of what the layout cannot tell apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, stats

from chirr.engine.errors import EngineError
from chirr.engine.trials.estimates import Estimate, TooFew
from chirr.says import said

Floats = NDArray[np.float64]
MOST_CELLS = 2e7
TINY = 1e-9


class Confounded(EngineError, ValueError):  # noqa: N818  named for what is wrong
    """A term that goes hand in hand with others, so its effect cannot be told from theirs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of an analysis of variance; `f` and `p` are None for what is left over and for a confounded term.

    `aliased` is the number of the term's columns that go hand in hand with the terms before it.
    """

    term: str
    ss: float
    df: int
    f: float | None = None
    p: float | None = None
    aliased: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Anova:
    """An analysis of variance: its lines in order, then what is left over."""

    lines: tuple[Line, ...]
    residual: Line

    @property
    def residual_ms(self) -> float:
        """Mean square of what is left over."""
        return self.residual.ss / self.residual.df

    def line(self, term: str) -> Line:
        """The line of a term; raises `Confounded` when the layout cannot tell its effect."""
        found = next(line for line in self.lines if line.term == term)
        if found.f is None:
            raise Confounded(
                f"The effect of {term} goes hand in hand with what stands before it, so this layout cannot tell it."
            )
        return found


def dummies(labels: ArrayLike) -> Floats:
    """Columns of 0 and 1 for all but the first level, in sorted order; shape (units, levels - 1).

    Raises EngineError where that would be too large to work with.
    """
    names, of = np.unique(np.asarray(labels), return_inverse=True)
    if len(of) * len(names) > MOST_CELLS:
        raise EngineError(
            f"{len(names):,} blocks in {len(of):,} rows are more than can be judged together; "
            "cut out a part of the rows, or give a coarser block."
        )
    return np.asarray((of[:, None] == np.arange(1, len(names))).astype(np.float64), dtype=np.float64)


def crossed(*factors: ArrayLike) -> Floats:
    """Columns of the interaction of factors: all products of their columns."""
    out = np.ones((len(np.asarray(factors[0])), 1))
    for factor in factors:
        columns = dummies(factor)
        out = (out[:, :, None] * columns[:, None, :]).reshape(len(out), -1)
    return out


def anova(y: ArrayLike, terms: Mapping[str, Floats]) -> Anova:
    """Sums of squares of terms, each after those before it, around the common mean.

    A term (or a part of it) that lies within the terms before it has no sum of squares of its own: it is reported
    with fewer degrees of freedom, and with no F at all when nothing of it is left.

    Parameters
    ----------
    y : array_like, shape (units,)
    terms : name -> columns of shape (units, k), such as from `dummies` and `crossed`
    """
    v = np.asarray(y, dtype=np.float64)
    # the common mean goes out first and exactly enough for data with many leading digits
    left = v - v[0]
    left = left - left.mean()
    left = left - left.mean()
    basis = np.full((len(v), 1), len(v) ** -0.5)
    drafts: list[tuple[str, float, int, int]] = []
    for name, columns in terms.items():
        own = _new_directions(columns, basis)
        fitted = own @ (own.T @ left)
        drafts.append((name, float(fitted @ fitted), own.shape[1], columns.shape[1] - own.shape[1]))
        left = left - fitted
        basis = np.hstack([basis, own])
    df = len(v) - basis.shape[1]
    residual = Line(term="left over", ss=float(left @ left), df=df)
    if df <= 0:
        raise TooFew("Every unit is used up by the terms, so nothing is left to judge them by; leave a term out.")
    ms = residual.ss / df
    lines = []
    for name, ss, own_df, aliased in drafts:
        f = ss / own_df / ms if own_df and ms > 0 else None
        p = float(stats.f.sf(f, own_df, df)) if f is not None else None
        lines.append(Line(term=name, ss=ss, df=own_df, f=f, p=p, aliased=aliased))
    return Anova(lines=tuple(lines), residual=residual)


def _new_directions(columns: Floats, basis: Floats) -> Floats:
    """Orthonormal directions of `columns` that `basis` (orthonormal) does not hold."""
    if columns.shape[1] == 0:
        return columns
    scale = np.linalg.norm(columns, axis=0)
    columns = columns / np.where(scale > 0, scale, 1.0)
    for _ in range(2):
        columns = columns - basis @ (basis.T @ columns)
    q, r, _ = linalg.qr(columns, mode="economic", pivoting=True)
    keep = np.abs(np.diag(r)) > TINY * 10
    return np.asarray(q[:, keep])


def one_way(groups: Sequence[ArrayLike]) -> Anova:
    """Analysis of variance of groups of values."""
    sizes = [len(np.asarray(g)) for g in groups]
    labels = np.repeat(np.arange(len(groups)), sizes)
    return anova(np.concatenate([np.asarray(g, dtype=np.float64) for g in groups]), {"ways": dummies(labels)})


def within_blocks(y: ArrayLike, is_a: ArrayLike, block: ArrayLike, nuisance: Floats | None = None) -> Estimate:
    """Effect of way a against way b within blocks, all block differences taken out (least squares).

    y, is_a, block: shape (units,); nuisance: further columns to adjust for, shape (units, k).

    Raises
    ------
    Confounded
        If no block holds both ways.
    TooFew
        If nothing is left to find the spread from.
    """
    v, a = np.asarray(y, dtype=np.float64), np.asarray(is_a, dtype=np.float64)
    before = dummies(block)
    if nuisance is not None:
        before = np.hstack([before, nuisance])
    base = np.full((len(v), 1), len(v) ** -0.5)
    basis = np.hstack([base, _new_directions(before, base)])
    x = a - basis @ (basis.T @ a)
    left = v - basis @ (basis.T @ v)
    information = float(x @ x)
    if information < TINY * len(v):
        raise Confounded(
            said("no block holds both ways, so a difference between ways cannot be told from one of blocks")
        )
    df = len(v) - basis.shape[1] - 1
    if df < 1:
        raise TooFew(said("after blocks and ways nothing is left to find the spread from; more units are needed"))
    effect = float(x @ left) / information
    rest = left - effect * x
    ss = float(rest @ rest)
    if ss <= 1e-24 * float(v @ v):
        raise TooFew(said("the values do not vary within blocks, so nothing can be said of their spread"))
    return Estimate(value=effect, se=float(np.sqrt(ss / df / information)), df=df, size=information)


def tukey(groups: Sequence[ArrayLike], level: float = 0.95) -> list[tuple[int, int, float, float, float, float]]:
    """Every pair of groups with joint intervals (Tukey-Kramer): tuples (i, j, mean i - mean j, low, high, p)."""
    table = one_way(groups)
    ms, df, k = table.residual_ms, table.residual.df, len(groups)
    means = [float(np.mean(np.asarray(g))) for g in groups]
    sizes = [len(np.asarray(g)) for g in groups]
    q = float(stats.studentized_range.ppf(level, k, df))
    out = []
    for i in range(k):
        for j in range(i + 1, k):
            se = float(np.sqrt(ms / 2 * (1 / sizes[i] + 1 / sizes[j])))
            gap = means[i] - means[j]
            p = float(stats.studentized_range.sf(abs(gap) / se, k, df))
            out.append((i, j, gap, gap - q * se, gap + q * se, p))
    return out
