"""What a new way is worth a week in money and time, the chance that it pays, and what knowing more would be worth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from chirr.engine.errors import EngineError

Floats = NDArray[np.float64]
MOST = 1e15
QUANTILES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What is known of an effect: a location-scale t with `df` (inf: normal), on the log scale when `log`."""

    value: float
    se: float
    df: float = math.inf

    def draws(self, rng: np.random.Generator, n: int) -> Floats:
        """Values it may have, shape (n,)."""
        z = rng.standard_normal(n) if math.isinf(self.df) else rng.standard_t(self.df, n)
        return np.asarray(self.value + self.se * z, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stakes:
    """What a week looks like, and what things are worth; money in the farm's currency.

    trays_per_week: trays swapped; output_per_tray: eggs (or pinheads, or kg) of the present way; worth_per_output: what
    one more of them is worth here, nought where something else limits the farm; material_saved_per_tray: money.
    """

    trays_per_week: float
    wage_per_hour: float
    output_per_tray: float = 0.0
    worth_per_output: float = 0.0
    material_saved_per_tray: float = 0.0
    once: float = 0.0
    """What changing over costs, once."""
    weeks: float = 52.0
    """Weeks over which the change must have paid."""

    def __post_init__(self) -> None:
        if not all(abs(getattr(self, name)) < MOST for name in self.__slots__):
            raise EngineError("Trays, wage, output, worth, material, cost and weeks must be plain numbers.")
        if self.trays_per_week <= 0 or self.weeks <= 0:
            raise EngineError("Trays a week and weeks must be above nought.")
        if min(self.wage_per_hour, self.output_per_tray, self.worth_per_output, self.once) < 0:
            raise EngineError("Wage, output, what it is worth and the cost of changing cannot be below nought.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """The gain of the new way. gain_per_week and hours_per_week: quantiles at QUANTILES; `gains`: the sorted draws."""

    gain_per_week: Floats
    hours_per_week: Floats
    chance_pays: float
    mean_per_week: float
    knowing_all: float
    """What certainty would be worth over the weeks: the expected value of perfect information."""
    gains: Floats


def worth(
    log_ratio: Effect | None,
    minutes_saved: Effect | None,
    stakes: Stakes,
    *,
    rng: np.random.Generator,
    draws: int = 20_000,
) -> Worth:
    """Money and hours a week gained by the new way.

    Parameters
    ----------
    log_ratio : log of the output of the new way over the present one; None when output is taken as the same
    minutes_saved : minutes saved per tray; None when they are taken as the same
    """
    lost = np.zeros(draws) if log_ratio is None else np.expm1(np.clip(log_ratio.draws(rng, draws), -5, 5))
    minutes = np.zeros(draws) if minutes_saved is None else minutes_saved.draws(rng, draws)
    per_tray = (
        minutes / 60 * stakes.wage_per_hour + stakes.output_per_tray * stakes.worth_per_output * lost
        + stakes.material_saved_per_tray
    )  # fmt: skip
    gains = np.sort(per_tray * stakes.trays_per_week - stakes.once / stakes.weeks)
    mean = float(gains.mean())
    return Worth(
        gain_per_week=np.quantile(gains, QUANTILES),
        hours_per_week=np.quantile(minutes * stakes.trays_per_week / 60, QUANTILES),
        chance_pays=float((gains > 0).mean()), mean_per_week=mean,
        knowing_all=stakes.weeks * (float(np.maximum(gains, 0).mean()) - max(mean, 0.0)), gains=gains,
    )  # fmt: skip


def what_if(
    log_ratio: Effect | None,
    minutes_saved: Effect | None,
    stakes: Stakes,
    *,
    seed: int = 1,
    wages: Sequence[float] = (),
    worths: Sequence[float] = (),
    trays: Sequence[float] = (),
) -> list[tuple[str, float, float, float, float, float]]:
    """How the answer changes: rows (what, its value, low, middle and high gain a week, chance that it pays).

    The same draws serve every row, so rows differ by what was changed and nothing else.
    """
    cases = (
        [("wage_per_hour", w) for w in wages] + [("worth_per_output", w) for w in worths]
        + [("trays_per_week", t) for t in trays]
    )  # fmt: skip
    rows = []
    for name, value in cases:
        found = worth(log_ratio, minutes_saved, replace(stakes, **{name: value}), rng=np.random.default_rng(seed))
        low, middle, high = (float(found.gain_per_week[i]) for i in (1, 3, 5))
        rows.append((name, value, low, middle, high, found.chance_pays))
    return rows


def normal_loss(mean: float, sd: float) -> float:
    """Mean of max(0, x) for a normal x: the unit normal loss integral in its own units."""
    if sd <= 0:
        return max(mean, 0.0)
    z = mean / sd
    return float(sd * stats.norm.pdf(z) + mean * stats.norm.cdf(z))


def knowing_all(mean: float, sd: float) -> float:
    """Expected value of perfect information on a gain known as normal, against the best choice without it.

    >>> round(knowing_all(0.0, 1.0), 6)  # 1 / sqrt(2 pi)
    0.398942
    """
    return normal_loss(mean, sd) - max(mean, 0.0)


def knowing_more(mean: float, sd: float, error_sd: float) -> float:
    """Expected value of a further trial that measures the gain with standard error `error_sd`.

    The mean after it is normal about the mean now, with variance sd^4 / (sd^2 + error_sd^2) (Raiffa and Schlaifer
    1961, Applied Statistical Decision Theory, chapter 5).
    """
    if sd <= 0:
        return 0.0
    return knowing_all(mean, sd**2 / math.hypot(sd, error_sd))


def best_next(
    mean: float, sd: float, sd_of_one: float, cost_of_one: float, weeks: float, most: int = 400
) -> tuple[int, float]:
    """Number of further units that is worth most after its cost, and what it nets; (0, 0) when none is worth it.

    mean, sd: gain a week as known now; sd_of_one: spread of the gain a week as one unit shows it; cost in money.
    """
    best = (0, 0.0)
    for n in range(2, most + 1):
        net = weeks * knowing_more(mean, sd, sd_of_one / math.sqrt(n)) - n * cost_of_one
        if net > best[1]:
            best = (n, net)
    return best
