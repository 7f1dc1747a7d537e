"""How many bins for how many weeks: each bin to one way, or each bin to all ways in turn."""

from __future__ import annotations

import math
from dataclasses import dataclass

from chirr.engine.trials.power import Design, difference_power, equivalence_power
from chirr.engine.trials.rows import Spread

MOST_WEEKS = 52


@dataclass(frozen=True, slots=True, kw_only=True)
class Sized:
    """A plan that fits the bins at hand. `clutches` counts all ways; powers are those reached in `weeks`.

    `enough` is False where even a year does not reach the wanted power; then weeks is a year's.
    """

    kind: str
    bins: int
    weeks: int
    clutches: int
    equivalence_power: float
    difference_power: float
    enough: bool


def sized(
    kind: str,
    spread: Spread,
    *,
    bins: int,
    ways: int,
    clutches_per_bin_week: float,
    low: float,
    high: float,
    alpha: float,
    wanted: float,
    truth: float = 0.0,
) -> Sized | None:
    """The fewest weeks in which `bins` bins show equivalence with the wanted power.

    kind: 'apart' (each bin keeps one way) or 'crossing' (each bin has all ways in turn). Two ways at a time are
    compared, on logs. None when there are too few bins.
    """
    per_way = bins // ways if kind == "apart" else bins
    if per_way < 2:
        return None
    best = None
    for weeks in range(1, MOST_WEEKS + 1):
        each = weeks * clutches_per_bin_week / (1 if kind == "apart" else ways)
        if each < 1:
            continue
        each = math.floor(each)
        d = design(kind, spread, each)
        se, df = d.se(per_way), d.df(per_way)
        best = Sized(
            kind=kind, bins=per_way * (ways if kind == "apart" else 1), weeks=weeks, clutches=per_way * each * ways,
            equivalence_power=equivalence_power(truth, low, high, se, df, alpha),
            difference_power=difference_power(high, se, df, alpha), enough=False,
        )  # fmt: skip
        if best.equivalence_power >= wanted:
            return Sized(**{**{k: getattr(best, k) for k in Sized.__slots__}, "enough": True})
    return best


def design(kind: str, spread: Spread, clutches_each: int) -> Design:
    """The bin as the unit: its mean of so many clutches of each way it has."""
    if kind == "apart":
        return Design(kind="parallel", sd=math.hypot(spread.bin_sd, spread.clutch_sd / math.sqrt(clutches_each)))
    return Design(kind="paired", sd=spread.clutch_sd * math.sqrt(2 / clutches_each))


def smallest_margin(
    kind: str, spread: Spread, *, per_way: int, clutches_each: int, alpha: float, wanted: float
) -> float:
    """The smallest loss (as a share) that such a plan can rule out with the wanted power, if there is none."""
    d = design(kind, spread, clutches_each)
    se, df = d.se(per_way), d.df(per_way)
    low, high = 1e-4, 0.99
    for _ in range(50):
        m = (low + high) / 2
        bound = -math.log1p(-m)
        low, high = (low, m) if equivalence_power(0.0, -bound, bound, se, df, alpha) >= wanted else (m, high)
    return high
