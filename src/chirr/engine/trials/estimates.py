"""A difference between two ways with its standard error: its interval, two one-sided tests, the difference test.

Everything here is on a working scale on which errors add: the outcome itself for differences, its logarithm for ratios.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from chirr.engine.errors import EngineError
from chirr.says import said

Floats = NDArray[np.float64]


class TooFew(EngineError, ValueError):  # noqa: N818  named for what is wrong
    """There are not enough values, or they do not vary, so nothing can be said of their spread."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Number, mean and standard deviation of the outcomes of one way."""

    n: int
    mean: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A difference on the working scale: its value, standard error and degrees of freedom (inf for a normal one).

    `size` is the information in it as a number of units, (spread / standard error)^2: n of pairs, n m / (n + m) of two
    groups.
    """

    value: float
    se: float
    df: float
    size: float = math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class Equivalence:
    """Two one-sided tests against the bounds: `p_lower` that the truth is below them, `p_upper` that it is above."""

    t_lower: float
    t_upper: float
    p_lower: float
    p_upper: float
    equivalent: bool

    @property
    def p(self) -> float:
        """The larger of the two: equivalence is shown where it lies under alpha."""
        return max(self.p_lower, self.p_upper)


def summary(values: ArrayLike) -> Group:
    """Number, mean and sample standard deviation, in two passes so that large offsets do no harm.

    >>> summary([1000000.1, 1000000.2, 1000000.3]).mean
    1000000.2
    """
    v = np.asarray(values, dtype=np.float64)
    n = len(v)
    if n == 0:
        return Group(n=0, mean=math.nan, sd=math.nan)
    first = float(v[0])
    shifted = v - first
    rest = math.fsum(shifted) / n
    mean = first + rest
    left = shifted - rest
    var = (math.fsum(left**2) - math.fsum(left) ** 2 / n) / (n - 1) if n > 1 else math.nan
    return Group(n=n, mean=mean, sd=math.sqrt(max(var, 0.0)) if n > 1 else math.nan)


def unpaired(a: Group, b: Group, *, equal_spread: bool = False) -> Estimate:
    """Mean of `a` less mean of `b`, from summaries.

    The spreads may differ (Welch 1947, Biometrika 34:28) unless `equal_spread` (Student).

    Raises
    ------
    TooFew
        With less than two values in a group, or no spread at all.
    """
    if a.n < 2 or b.n < 2:
        raise TooFew(said("each way needs at least two values before anything can be said of their spread"))
    va, vb = a.sd**2 / a.n, b.sd**2 / b.n
    if equal_spread:
        df: float = a.n + b.n - 2
        pooled = ((a.n - 1) * a.sd**2 + (b.n - 1) * b.sd**2) / df
        se = math.sqrt(pooled * (1 / a.n + 1 / b.n))
    else:
        se = math.sqrt(va + vb)
        df = (va + vb) ** 2 / (va**2 / (a.n - 1) + vb**2 / (b.n - 1)) if se > 0 else math.nan
    return _with_spread(a.mean - b.mean, se, df, a.n * b.n / (a.n + b.n))


def paired(differences: Group) -> Estimate:
    """Mean of the differences within pairs."""
    if differences.n < 2:
        raise TooFew(said("at least two pairs are needed before anything can be said of their spread"))
    return _with_spread(differences.mean, differences.sd / math.sqrt(differences.n), differences.n - 1, differences.n)


def paired_from_summaries(a: Group, b: Group, correlation: float) -> Estimate:
    """The paired difference from both summaries and the correlation of the pairs."""
    if a.n != b.n:
        raise EngineError(f"There are {a.n} values of one way and {b.n} of the other, so they are not all pairs.")
    sd = math.sqrt(a.sd**2 + b.sd**2 - 2 * correlation * a.sd * b.sd)
    return paired(Group(n=a.n, mean=a.mean - b.mean, sd=sd))


def one_sample(a: Group, against: float) -> Estimate:
    """Mean of `a` less a fixed number."""
    return paired(Group(n=a.n, mean=a.mean - against, sd=a.sd))


def _with_spread(value: float, se: float, df: float, size: float) -> Estimate:
    if not se > 1e-12 * max(abs(value), 1e-300):
        raise TooFew(said("the values do not vary, so nothing can be said of their spread; measure more finely"))
    return Estimate(value=value, se=se, df=df, size=size)


def interval(e: Estimate, level: float) -> tuple[float, float]:
    """Two-sided interval of the difference at a level such as 0.90."""
    half = float(stats.t.ppf(0.5 + level / 2, e.df)) * e.se
    return e.value - half, e.value + half


def difference_p(e: Estimate, null: float = 0.0) -> float:
    """Two-sided p value against a difference of `null`."""
    return float(2 * stats.t.sf(abs(e.value - null) / e.se, e.df))


def equivalence(e: Estimate, low: float, high: float, alpha: float = 0.05) -> Equivalence:
    """Two one-sided tests (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657) against the bounds `low` and `high`.

    Examples
    --------
    Lakens (2017), Soc. Psychol. Personal. Sci. 8:355: equivalence shown with p = .004.

    >>> e = unpaired(Group(n=95, mean=5.25, sd=0.95), Group(n=89, mean=5.22, sd=0.83))
    >>> round(equivalence(e, -0.384, 0.384).p, 5)
    0.00384
    """
    if not low < high:
        raise EngineError("The margin must leave room between its lower and its upper bound.")
    t_lower, t_upper = (e.value - low) / e.se, (e.value - high) / e.se
    p_lower, p_upper = float(stats.t.sf(t_lower, e.df)), float(stats.t.cdf(t_upper, e.df))
    return Equivalence(
        t_lower=t_lower, t_upper=t_upper, p_lower=p_lower, p_upper=p_upper, equivalent=max(p_lower, p_upper) < alpha
    )  # fmt: skip


def chance_above(e: Estimate, bound: float = 0.0) -> float:
    """Chance that the truth lies above `bound`, given the data alone (flat prior)."""
    return float(stats.t.cdf((e.value - bound) / e.se, e.df))


def fieller(a: Group, b: Group, level: float, *, equal_spread: bool = False) -> tuple[float, float]:
    """Interval for the ratio of the means of two independent groups, without logarithms.

    Fieller (1954), J. R. Stat. Soc. B 16:175; degrees of freedom by Satterthwaite at the estimated ratio unless
    `equal_spread`. Ends are infinite where the mean of `b` cannot be told from nought.
    """
    va, vb = a.sd**2 / a.n, b.sd**2 / b.n
    df: float = a.n + b.n - 2
    if equal_spread:
        pooled = ((a.n - 1) * a.sd**2 + (b.n - 1) * b.sd**2) / df
        va, vb = pooled / a.n, pooled / b.n
    else:
        wb = vb * (a.mean / b.mean) ** 2
        df = (va + wb) ** 2 / (va**2 / (a.n - 1) + wb**2 / (b.n - 1))
    t2 = float(stats.t.ppf(0.5 + level / 2, df)) ** 2
    # (a - r b)^2 <= t^2 (va + r^2 vb), a quadratic in the ratio r
    qa, qb, qc = b.mean**2 - t2 * vb, -2 * a.mean * b.mean, a.mean**2 - t2 * va
    root = qb**2 - 4 * qa * qc
    if qa <= 0 or root < 0:
        return -math.inf, math.inf
    return (-qb - math.sqrt(root)) / (2 * qa), (-qb + math.sqrt(root)) / (2 * qa)


def ratio_of_means(a: Group, b: Group) -> Estimate:
    """Log of the ratio of two independent means by the delta method, with Satterthwaite's degrees of freedom.

    Needs no model of how spread goes with the mean; both means must be above nought.
    """
    if a.mean <= 0 or b.mean <= 0:
        raise EngineError("A ratio needs both means above nought.")
    if a.n < 2 or b.n < 2:
        raise TooFew(said("each way needs at least two values before anything can be said of their spread"))
    va, vb = a.sd**2 / (a.n * a.mean**2), b.sd**2 / (b.n * b.mean**2)
    se = math.sqrt(va + vb)
    df = (va + vb) ** 2 / (va**2 / (a.n - 1) + vb**2 / (b.n - 1)) if se > 0 else math.nan
    return _with_spread(math.log(a.mean / b.mean), se, df, a.n * b.n / (a.n + b.n))
