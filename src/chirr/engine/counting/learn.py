"""What a farm's own corrections say about the finder: where to draw the line between marks, and how far off it is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chirr.engine.counting.marks import SURE_BELOW

Floats = NDArray[np.float64]

PULL = 5.0
"""How hard the packaged line holds: misjudged marks that moving it by one unit of log odds must save (judgement)."""
SOFT = 0.25
"""Marks this near the line [log odds] count as partly on either side, so that the line moves smoothly."""
LEAST_CUT, MOST_CUT = 0.08, 0.88
PACKAGED_CV, BEHIND = 0.06, 5.0
"""Error of the count that the packaged interval allows any picture, held with the weight of so many (judgement)."""
NARROWEST, WIDEST = 0.7, 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected:
    """A photograph gone over by a person: doubt and verdict of each mark, shape (marks,), and things added bare."""

    doubt: Floats
    right: NDArray[np.bool_]
    added: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Marks with less doubt than `cut` are counted. `log_bias`: log of the true number over the counted, as learnt;
    `stretch`: width of the interval over the packaged one; from `pictures` corrected photographs."""

    cut: float = SURE_BELOW
    log_bias: float = 0.0
    stretch: float = 1.0
    pictures: int = 0


def learn_line(pictures: Sequence[Corrected]) -> Line:
    """The line that this farm's corrections ask for, held to the packaged one while they are few.

    The cut misjudges the fewest marks (removed ones below it, confirmed ones above it) plus PULL times the square of
    its distance from the packaged cut in log odds. Bias and spread are those of the counts at that cut, shrunk as if
    BEHIND pictures without bias had been seen before.
    """
    used = [p for p in pictures if len(p.doubt) or p.added]
    if not used:
        return Line()
    cut = _best_cut(np.concatenate([p.doubt for p in used]), np.concatenate([p.right for p in used]))
    true = np.array([int(p.right.sum()) + p.added for p in used], dtype=np.float64)
    counted = np.array([int((p.doubt < cut).sum()) for p in used], dtype=np.float64)
    gaps = np.log((true + 0.5) / (counted + 0.5))[true > 0]
    bias = float(gaps.sum() / (gaps.size + BEHIND))
    expected = PACKAGED_CV**2 + 1 / (counted[true > 0] + 1)  # a few either way are in the packaged interval too
    stretch = math.sqrt((BEHIND + float(((gaps - bias) ** 2 / expected).sum())) / (BEHIND + gaps.size))
    return Line(cut=cut, log_bias=bias, stretch=min(max(stretch, NARROWEST), WIDEST), pictures=len(used))


def _best_cut(doubt: Floats, right: NDArray[np.bool_]) -> float:
    grid = np.linspace(_odds(LEAST_CUT), _odds(MOST_CUT), 161)
    at = np.log(np.clip(doubt, 1e-3, 1 - 1e-3) / (1 - np.clip(doubt, 1e-3, 1 - 1e-3)))
    counted = 1 / (1 + np.exp(np.clip((at[None, :] - grid[:, None]) / SOFT, -50, 50)))
    lost = np.where(right[None, :], 1 - counted, counted).sum(1) + PULL * (grid - _odds(SURE_BELOW)) ** 2
    return float(1 / (1 + np.exp(-grid[int(lost.argmin())])))


def _odds(share: float) -> float:
    return math.log(share / (1 - share))


def redrawn(doubt: Floats, packaged: tuple[int, int, int], line: Line) -> tuple[int, int, int]:
    """Count, least and most with a farm's own line, from the doubts of the marks, shape (marks,), and the count, least
    and most that were found with the packaged one."""
    if line.pictures == 0:
        return packaged
    before, low, high = packaged
    count = int((doubt < line.cut).sum())
    size = (count + 1) / (before + 1)
    down, up = (before - low) * line.stretch * size, (high - before) * line.stretch * size
    middle = count * math.exp(line.log_bias)
    return count, max(0, math.floor(min(count, middle - down))), math.ceil(max(count, middle + up))
