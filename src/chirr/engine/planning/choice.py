"""The best of several ways, judged over joint draws: which one, how sure, and how much better than the habit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Best:
    """The way with the highest mean over the draws.

    at: the winning way; ways: the winner in each draw, shape (draws,); value: what the winner yields, (draws,); gain:
    its yield over that of the habit, (draws,); chance: share of draws in which it beats the habit, one half where the
    two are the same.
    """

    at: float
    ways: Floats
    value: Floats
    gain: Floats
    chance: float


def best_of(ways: Floats, values: Floats, habit: Floats) -> Best:
    """The best of some ways.

    Parameters
    ----------
    ways : ndarray, shape (ways,)
        What is chosen, such as days or a number of trays.
    values : ndarray, shape (ways, draws)
        What each yields in each draw.
    habit : ndarray, shape (draws,)
        What the present habit yields, > 0.

    Returns
    -------
    Best

    Examples
    --------
    >>> found = best_of(np.array([1.0, 2.0]), np.array([[1.0, 3.0, 4.0], [2.0, 2.0, 9.0]]), np.array([1.0, 3.0, 4.0]))
    >>> found.at, found.ways.tolist(), round(found.chance, 2)
    (2.0, [2.0, 1.0, 2.0], 0.67)
    """
    winner = int(values.mean(axis=1).argmax())
    value = values[winner]
    better, same = value > habit * (1 + 1e-9), np.isclose(value, habit, rtol=1e-9)
    return Best(
        at=float(ways[winner]),
        ways=np.asarray(ways[values.argmax(axis=0)]),
        value=value,
        gain=np.asarray(value / np.maximum(habit, 1e-12)),
        chance=float((better + 0.5 * same).mean()),
    )
