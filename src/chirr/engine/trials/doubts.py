"""What a comparison takes for granted, looked at in its own data and said in plain words."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from chirr.says import joined, said, said_n

Floats = NDArray[np.float64]
FEW = 6
SURE = 0.01
FAR = 4.5
"""An odd value lies this many robust spreads from the middle (judgement)."""


def doubts(left: Floats, of: NDArray[np.int64], names: tuple[str, ...], *, logs: bool) -> list[str]:
    """Sentences on few values, unlike spreads, odd values, skew errors and drift; none when nothing stands out.

    Parameters
    ----------
    left : shape (units,), what the model leaves over, in the order in which the units were recorded
    of : shape (units,), index of each unit's way
    names : the ways
    logs : whether `left` is on the log scale
    """
    groups = [left[of == i] for i in range(len(names))]
    out: list[str] = []
    few = [said("{name} has {n}", name=name, n=len(g)) for name, g in zip(names, groups, strict=True) if len(g) < FEW]
    if few:
        out.append(
            said("Very few values ({few}): the interval leans on the errors being bell-shaped.", few=joined(few))
        )
    if len(groups) > 1 and all(len(g) > 2 and g.std() > 0 for g in groups) and stats.levene(*groups).pvalue < SURE:
        wide = max(range(len(names)), key=lambda i: groups[i].std())
        out.append(
            said("The ways are not equally regular: {way} varies most. The interval allows for that.", way=names[wide])
        )
    spread = 1.4826 * float(np.median(np.abs(left - np.median(left))))
    odd = np.flatnonzero(np.abs(left - np.median(left)) > FAR * spread) if spread > 0 else np.empty(0, dtype=int)
    if len(odd):
        which = ", ".join(str(i + 1) for i in odd[:5])
        out.append(
            said_n(
                "Far from the rest: value {which}. See whether it was written right.",
                "Far from the rest: values {which}. See whether they were written right.",
                len(odd), which=which,
            )
        )  # fmt: skip
    if 8 <= len(left) <= 5000 and left.std() > 0 and not len(odd) and stats.shapiro(left).pvalue < SURE:
        out.append(
            said(
                "The errors are not bell-shaped even on the log scale; trust the look by ranks where the two disagree."
            )
            if logs
            else said("The errors are not bell-shaped; trust the look by ranks where the two disagree.")
        )
    if len(left) >= 20 and lag_one(left) > 3 / np.sqrt(len(left)):
        out.append(
            said(
                "Neighbouring values resemble each other, as when something drifts with time: give the date as a block."
            )
        )
    return out


def lag_one(values: ArrayLike) -> float:
    """Autocorrelation of neighbours, about the common mean; nought where nothing varies. values: shape (n,)."""
    v = np.asarray(values, dtype=np.float64)
    c = v - v.mean()
    c -= c.mean()  # what rounding left of a large offset
    return float(c[1:] @ c[:-1] / (c @ c)) if float(c @ c) > 0 else 0.0
