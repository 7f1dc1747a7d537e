"""The robust look beside the main one: ranks and reshuffling, which no single odd tray can sway."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

Floats = NDArray[np.float64]
MOST_SORTED, AT_ONCE = 2e7, 4e6
"""Random numbers drawn in all for a reshuffling, and held at once (judgement)."""
Side = Literal["two-sided", "less", "greater"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RankLook:
    """Typical shift of `a` against `b` (middle of all pairwise differences), its interval, and p values.

    `p` is two-sided against no shift; `p_lower` and `p_upper` are the one-sided ones against the margin's bounds.
    """

    shift: float
    interval: tuple[float, float]
    p: float
    p_lower: float | None
    p_upper: float | None


def unpaired_ranks(a: ArrayLike, b: ArrayLike, level: float, low: float | None, high: float | None) -> RankLook:
    """Rank sums of two independent groups (Wilcoxon 1945) with the shift of Hodges and Lehmann (1963)."""
    x, y = np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64)
    n, m = len(x), len(y)
    shifts = np.sort((x[:, None] - y[None, :]).ravel())
    # the rank sum's normal spread picks how many of the sorted shifts lie outside the interval
    half = float(stats.norm.ppf(0.5 + level / 2)) * math.sqrt(n * m * (n + m + 1) / 12)
    outside = max(math.floor(n * m / 2 - half), 0)

    def p(shift: float, alternative: Side) -> float:
        return float(stats.mannwhitneyu(x - shift, y, alternative=alternative).pvalue)

    return RankLook(
        shift=float(np.median(shifts)), interval=(float(shifts[outside]), float(shifts[-1 - outside])),
        p=p(0.0, "two-sided"), p_lower=None if low is None else p(low, "greater"),
        p_upper=None if high is None else p(high, "less"),
    )  # fmt: skip


def paired_ranks(differences: ArrayLike, level: float, low: float | None, high: float | None) -> RankLook:
    """Signed ranks of differences within pairs (Wilcoxon 1945) with the middle of the Walsh averages."""
    d = np.asarray(differences, dtype=np.float64)
    n = len(d)
    i, j = np.triu_indices(n)
    walsh = np.sort((d[i] + d[j]) / 2)
    half = float(stats.norm.ppf(0.5 + level / 2)) * math.sqrt(n * (n + 1) * (2 * n + 1) / 24)
    outside = max(math.floor(n * (n + 1) / 4 - half), 0)

    def p(shift: float, alternative: Side) -> float:
        left = d - shift
        return 1.0 if not left.any() else float(stats.wilcoxon(left, alternative=alternative).pvalue)

    return RankLook(
        shift=float(np.median(walsh)), interval=(float(walsh[outside]), float(walsh[-1 - outside])),
        p=p(0.0, "two-sided"), p_lower=None if low is None else p(low, "greater"),
        p_upper=None if high is None else p(high, "less"),
    )  # fmt: skip


def reshuffled_p(
    values: ArrayLike, is_a: ArrayLike, block: ArrayLike, *, rng: np.random.Generator, shuffles: int = 4999
) -> float:
    """Two-sided p value from putting the ways to the units again and again, within blocks as the draw did.

    values, is_a, block: shape (units,); with very many, fewer shuffles are made. The statistic is the difference of way
    means within each block, weighted by n_a n_b / n, so a block with one way only adds nothing.
    """
    v = np.asarray(values, dtype=np.float64)
    a = np.asarray(is_a, dtype=bool)
    _, of = np.unique(np.asarray(block), return_inverse=True)
    v = v - (np.bincount(of, v) / np.bincount(of))[of]
    found = abs(float(v[a].sum()))
    # sorting random numbers within a block deals its a's anew
    rank = np.argsort(of, kind="stable")
    sorted_a, sorted_v, sorted_of = a[rank], v[rank], of[rank]
    as_much, done = 1, 0
    shuffles = max(min(shuffles, int(MOST_SORTED / len(v))), 199)
    at_once = min(500, shuffles, max(int(AT_ONCE / len(v)), 1))
    while done < shuffles:
        done += at_once
        keys = rng.random((at_once, len(v))) + sorted_of
        dealt = np.take_along_axis(np.broadcast_to(sorted_a, keys.shape), np.argsort(keys, axis=1), axis=1)
        as_much += int((np.abs(dealt @ sorted_v) >= found * (1 - 1e-12)).sum())
    return as_much / (1 + done)
