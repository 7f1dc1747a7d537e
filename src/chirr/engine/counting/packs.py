"""How many to pack so that enough arrive alive."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from chirr.engine.counting.sample import CannotTell


@dataclass(frozen=True, slots=True, kw_only=True)
class Transit:
    """Deaths on the way: mean share, and how much the share differs from one consignment to the next (standard
    deviation)."""

    share: float
    sd: float = 0.0


def transit_from_past(sent: ArrayLike, dead: ArrayLike) -> Transit:
    """Deaths on the way, from past consignments: `sent` and found `dead`, shape (consignments,).

    The spread between consignments is what remains of theirs after the chance of each is taken away (moments). Half a
    death in half a consignment is added, so that no farm is told that nothing ever dies.
    """
    n, k = np.asarray(sent, dtype=np.float64), np.asarray(dead, dtype=np.float64)
    if n.size == 0 or n.shape != k.shape or (n <= 0).any() or (k < 0).any() or (k > n).any():
        raise CannotTell("Give for each consignment how many were sent and how many of them were dead, not more.")
    share = float((k.sum() + 0.5) / (n.sum() + 1))
    if n.size < 2:
        return Transit(share=share, sd=share * 0.5)
    between = float(np.average((k / n - share) ** 2, weights=n) * n.size / (n.size - 1))
    chance = share * (1 - share) / float(n.mean())
    return Transit(share=share, sd=float(np.sqrt(max(0.0, between - chance))))


def chance_enough(packed: int, wanted: int, transit: Transit) -> float:
    """Chance that at least `wanted` of `packed` arrive alive: exact binomial, or beta-binomial where consignments
    differ."""
    if wanted <= 0:
        return 1.0
    alive = 1 - transit.share
    if not 0 < transit.share < 1 or transit.sd < 1e-5:
        return float(stats.binom.sf(wanted - 1, packed, alive))
    together = alive * (1 - alive) / transit.sd**2 - 1
    if together <= 0:
        raise CannotTell("Consignments cannot differ as much as that: the spread is larger than any share allows.")
    return float(stats.betabinom.sf(wanted - 1, packed, alive * together, (1 - alive) * together))


def to_pack(wanted: int, chance: float, transit: Transit, most: int = 10_000_000) -> int:
    """The least number to pack so that at least `wanted` arrive alive with the given chance.

    Examples
    --------
    >>> to_pack(500, 0.95, Transit(share=0.02))
    516
    """
    if wanted < 1 or not 0 < chance < 1 or not 0 <= transit.share < 1:
        raise CannotTell("Give a number wanted, a chance below 1 and a share of deaths below 1.")
    low, high = wanted, wanted
    while chance_enough(high, wanted, transit) < chance:
        low, high = high + 1, high * 2
        if high > most:
            raise CannotTell(
                "No number is enough for that chance: too many die on the way, or the share is too uncertain."
            )
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if chance_enough(middle, wanted, transit) >= chance else (middle + 1, high)
    return low
