"""How many it takes: exact power of the equivalence and the difference test, and the sizes that reach a wanted power.

Power is found by integrating over the spread that the trial itself will happen to find, which is exact for normal
errors; the shifted-t approximation is not, and fails where numbers are small. Working scale as in `estimates`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import stats

from chirr.engine.errors import EngineError

MOST = 1_000_000
"""More units than this are no plan."""
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(200)


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """How units are put to the ways, and what follows for the standard error.

    Its size n is the number of units of *each* way for 'parallel', of pairs for 'paired', and of all units together
    for 'crossover' (two periods, each unit gets both ways, half of them in the other order).
    `sd` is the spread of single values on the working scale: between units of one way (parallel), of the differences
    within pairs (paired), within a unit (crossover).
    """

    kind: str
    sd: float

    def se(self, n: float) -> float:
        """Standard error of the difference with n units."""
        factor = {"parallel": 2.0, "paired": 1.0, "crossover": 2.0}[self.kind]
        if self.kind == "crossover":
            # both sequences have half of the units; an odd one makes them differ by one
            a, b = math.ceil(n / 2), math.floor(n / 2)
            return self.sd * math.sqrt(0.5 * (1 / a + 1 / b))
        return self.sd * math.sqrt(factor / n)

    def df(self, n: float) -> float:
        """Degrees of freedom with n units."""
        return {"parallel": 2 * n - 2, "paired": n - 1, "crossover": n - 2}[self.kind]

    @property
    def least(self) -> int:
        """The smallest size for which there is any power."""
        return 3 if self.kind == "crossover" else 2


def sd_of_log(cv: float) -> float:
    """Standard deviation of the log of a lognormal with coefficient of variation `cv`.

    >>> round(sd_of_log(0.2), 6)
    0.198042
    """
    return math.sqrt(math.log1p(cv**2))


def equivalence_power(truth: float, low: float, high: float, se: float, df: float, alpha: float = 0.05) -> float:
    """Chance that both one-sided tests come out, if the true difference is `truth`.

    The tests pass together when |estimate| clears both bounds by t times the standard error found; for a given
    spread found that is a normal interval, so one integral over the spread's chi distribution is the exact power
    (Phillips 1990, J. Pharmacokinet. Biopharm. 18:137, gives the same by Owen's Q).

    Examples
    --------
    Two-period crossover, CV 20 %, true ratio 0.95, bounds 80-125 %, 20 units.

    >>> d = Design(kind="crossover", sd=sd_of_log(0.2))
    >>> bounds = math.log(0.8), math.log(1.25)
    >>> round(equivalence_power(math.log(0.95), *bounds, d.se(20), d.df(20)), 5)
    0.83468
    """
    t = float(stats.t.ppf(1 - alpha, df))
    widest = (high - low) / (2 * t * se)  # of spread found to true spread, beyond which no estimate passes
    top = min(widest, float(stats.chi2.isf(1e-14, df) / df) ** 0.5)
    bottom = float(stats.chi2.ppf(1e-14, df) / df) ** 0.5
    if top <= bottom:
        return 0.0
    u = bottom + (top - bottom) * (_NODES + 1) / 2
    density = stats.chi2.pdf(df * u**2, df) * 2 * df * u
    passes = stats.norm.cdf((high - t * se * u - truth) / se) - stats.norm.cdf((low + t * se * u - truth) / se)
    return float(np.clip((top - bottom) / 2 * np.sum(_WEIGHTS * density * passes), 0.0, 1.0))


def difference_power(truth: float, se: float, df: float, alpha: float = 0.05) -> float:
    """Chance that the two-sided t test finds a true difference (non-central t, both tails)."""
    t, shift = float(stats.t.ppf(1 - alpha / 2, df)), abs(truth) / se
    found = float(stats.nct.sf(t, df, shift))
    if not math.isfinite(found):  # so far out that the function gives up
        found = float(stats.norm.sf(t - shift))
    other = float(stats.nct.cdf(-t, df, shift)) if shift < 5 else 0.0
    return min(found + (other if math.isfinite(other) else 0.0), 1.0)


def size_for(power_of: Callable[[int], float], wanted: float, least: int, most: int = MOST) -> int | None:
    """The smallest size whose power reaches `wanted`; None if none up to `most` does.

    Power must not fall with size, but for ripples of neighbouring sizes.
    """
    if power_of(most) < wanted:
        return None
    low, high = least - 1, least
    while power_of(high) < wanted:
        low, high = high, min(2 * high, most)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if power_of(middle) >= wanted else (middle, high)
    return high


def equivalence_size(
    design: Design, truth: float, low: float, high: float, *, alpha: float = 0.05, wanted: float = 0.8
) -> int | None:
    """Units (as `Design` counts them) for equivalence to be shown with power `wanted`; crossover sizes are even.

    None when it cannot be: the supposed truth lies at or beyond a bound, or more than a million would be needed.
    """
    check_errors(alpha, wanted)
    if not low < truth < high:
        return None
    step = 2 if design.kind == "crossover" else 1

    def power_of(k: int) -> float:
        n = k * step
        return equivalence_power(truth, low, high, design.se(n), design.df(n), alpha)

    found = size_for(power_of, wanted, -(-design.least // step))
    return None if found is None else found * step


def difference_size(design: Design, truth: float, *, alpha: float = 0.05, wanted: float = 0.8) -> int | None:
    """Units (as `Design` counts them) for a true difference to be found with power `wanted`.

    >>> [difference_size(Design(kind="parallel", sd=1.0), d) for d in (0.2, 0.5, 0.8)]
    [394, 64, 26]
    """
    check_errors(alpha, wanted)
    if truth == 0:
        return None
    step = 2 if design.kind == "crossover" else 1

    def power_of(k: int) -> float:
        n = k * step
        return difference_power(truth, design.se(n), design.df(n), alpha)

    found = size_for(power_of, wanted, -(-design.least // step))
    return None if found is None else found * step


def check_errors(alpha: float, wanted: float) -> None:
    """Raise EngineError for an error or a power that no test can have."""
    if not 0 < alpha < 0.5:
        raise EngineError(f"An error of {alpha:g} will not do; choose one between 0 and 0.5, such as 0.05.")
    if not alpha < wanted < 1:
        raise EngineError(f"A power of {wanted:g} will not do; choose one between {alpha:g} and 1, such as 0.8.")
