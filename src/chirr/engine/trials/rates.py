"""Counts out of an exposure, and shares out of a number: exact and approximate intervals, and two rates compared."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special, stats

from chirr.engine.errors import EngineError

Interval = tuple[float, float]


def poisson_exact(count: float, exposure: float = 1.0, level: float = 0.95) -> Interval:
    """Exact interval of a rate from a count (Garwood 1936, Biometrika 28:437).

    >>> [round(end, 6) for end in poisson_exact(0)]
    [0.0, 3.688879]
    """
    tail = (1 - level) / 2
    low = 0.0 if count == 0 else float(stats.chi2.ppf(tail, 2 * count)) / 2
    return low / exposure, float(stats.chi2.isf(tail, 2 * count + 2)) / 2 / exposure


def poisson_score(count: float, exposure: float = 1.0, level: float = 0.95) -> Interval:
    """Interval of a rate by inverting the score test."""
    z = float(stats.norm.isf((1 - level) / 2))
    centre, half = count + z**2 / 2, z * math.sqrt(count + z**2 / 4)
    return max(centre - half, 0.0) / exposure, (centre + half) / exposure


def poisson_wald(count: float, exposure: float = 1.0, level: float = 0.95) -> Interval:
    """Interval of a rate from its normal approximation; poor where the count is small."""
    half = float(stats.norm.isf((1 - level) / 2)) * math.sqrt(count)
    return (count - half) / exposure, (count + half) / exposure


def poisson_jeffreys(count: float, exposure: float = 1.0, level: float = 0.95) -> Interval:
    """Equal-tailed interval of a rate under Jeffreys' prior."""
    tail = (1 - level) / 2
    shape = count + 0.5
    return float(stats.gamma.ppf(tail, shape)) / exposure, float(stats.gamma.isf(tail, shape)) / exposure


def poisson_p_exact(count: int, expected: float) -> float:
    """Two-sided exact p value of a count against an expected number: twice the smaller tail, as the interval has it."""
    tail = min(float(stats.poisson.cdf(count, expected)), float(stats.poisson.sf(count - 1, expected)))
    return min(2 * tail, 1.0)


def poisson_p_score(count: float, expected: float) -> float:
    """Two-sided p value of a count against an expected number by the score test."""
    return float(2 * stats.norm.sf(abs(count - expected) / math.sqrt(expected)))


def share_exact(count: int, of: int, level: float = 0.95) -> Interval:
    """Exact interval of a share (Clopper and Pearson 1934, Biometrika 26:404)."""
    tail = (1 - level) / 2
    low = 0.0 if count == 0 else float(special.betaincinv(count, of - count + 1, tail))
    high = 1.0 if count == of else float(special.betaincinv(count + 1, of - count, 1 - tail))
    return low, high


def share_score(count: int, of: int, level: float = 0.95) -> Interval:
    """Interval of a share by inverting the score test (Wilson 1927, J. Am. Stat. Assoc. 22:209)."""
    z = float(stats.norm.isf((1 - level) / 2))
    share = count / of
    centre = (share + z**2 / (2 * of)) / (1 + z**2 / of)
    half = z / (1 + z**2 / of) * math.sqrt(share * (1 - share) / of + z**2 / (4 * of**2))
    return (0.0 if count == 0 else centre - half), (1.0 if count == of else centre + half)


def _likely(mean: float) -> tuple[np.ndarray, np.ndarray]:
    """Poisson counts that are not next to impossible, and the chance of each."""
    low, high = float(stats.poisson.ppf(1e-13, mean)), float(stats.poisson.isf(1e-13, mean))
    counts = np.arange(max(low, 0.0), high + 1)
    return counts, np.asarray(stats.poisson.pmf(counts, mean))


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoRates:
    """Two counts with their exposures, such as deaths and cricket-days, compared by the ratio of their rates."""

    count_a: int
    exposure_a: float
    count_b: int
    exposure_b: float

    def __post_init__(self) -> None:
        if self.exposure_a <= 0 or self.exposure_b <= 0:
            raise EngineError("Each rate needs an exposure above nought, such as cricket-days.")
        if self.count_a + self.count_b == 0:
            raise EngineError("Both counts are nought, so there is no ratio of rates yet.")

    @property
    def ratio(self) -> float:
        """Rate of a over rate of b; infinite when b has no count."""
        return (self.count_a / self.exposure_a) / (self.count_b / self.exposure_b) if self.count_b else math.inf

    def z(self, method: str, null: float = 1.0) -> float:
        """Test statistic against a ratio of `null` (Gu et al. 2008, Biometrical J. 50:283).

        method: wald, score, log (Wald on logs), log score, root (square roots).
        """
        a, b, d = self.count_a, self.count_b, self.exposure_b / self.exposure_a
        gap = a - b * null / d
        if method == "wald":
            return gap / math.sqrt(a + b * (null / d) ** 2)
        if method == "score":
            return gap / math.sqrt((a + b) * null / d)
        if method == "root":
            return 2 * (math.sqrt(a + 0.375) - math.sqrt((b + 0.375) * null / d)) / math.sqrt(1 + null / d)
        log_gap = math.log(a / b) - math.log(null / d) if a and b else math.copysign(math.inf, a - b)
        if method == "log":
            return log_gap / math.sqrt(1 / a + 1 / b) if a and b else log_gap
        if method == "log score":
            return log_gap / math.sqrt((2 + d / null + null / d) / (a + b))
        raise EngineError(f"There is no test called '{method}' for two rates.")

    def p(self, method: str, null: float = 1.0) -> float:
        """Two-sided p value of `z`."""
        return float(2 * stats.norm.sf(abs(self.z(method, null))))

    def p_exact(self, null: float = 1.0) -> float:
        """Two-sided exact p value, given the total of both counts."""
        return float(stats.binomtest(self.count_a, self.count_a + self.count_b, self._share(null)).pvalue)

    def p_above(self, null: float = 1.0, *, mid: bool = False) -> float:
        """Exact one-sided p value that the ratio is above `null`; `mid` counts half the chance of what was found."""
        total, share = self.count_a + self.count_b, self._share(null)
        p = float(stats.binom.sf(self.count_a - 1, total, share))
        return p - float(stats.binom.pmf(self.count_a, total, share)) / 2 if mid else p

    def p_expected(self, null: float = 1.0, method: str = "score") -> float:
        """Two-sided p value of `z` by the distribution that it has at the rates expected under `null`.

        The E-test of Krishnamoorthy and Thomson (2004, J. Stat. Plan. Inference 119:23): the chance that two Poisson
        counts with those rates give a statistic as far out. method: score or wald.
        """
        if method not in ("score", "wald"):
            raise EngineError(f"The E-test knows no statistic called '{method}'; use score or wald.")
        d = self.exposure_b / self.exposure_a
        rate_b = (self.count_a + self.count_b) / (self.exposure_b + null * self.exposure_a)
        (x, chance_x), (y, chance_y) = (
            _likely(mean) for mean in (null * rate_b * self.exposure_a, rate_b * self.exposure_b)
        )
        found, p = abs(self.z(method, null)) * (1 - 1e-12), 0.0
        for one, chance in zip(x, chance_x, strict=True):  # row by row, as the whole grid may be large
            spread = (one + y) * null / d if method == "score" else one + y * (null / d) ** 2
            z = np.abs(one - y * null / d) / np.sqrt(np.maximum(spread, 1e-300))
            p += float(chance * chance_y[z >= found].sum())
        return min(p, 1.0)

    def _share(self, null: float) -> float:
        return self.exposure_a * null / (self.exposure_a * null + self.exposure_b)

    def interval_log(self, level: float = 0.95) -> Interval:
        """Interval of the ratio from the normal approximation on logs."""
        half = float(stats.norm.isf((1 - level) / 2)) * math.sqrt(1 / self.count_a + 1 / self.count_b)
        return self.ratio * math.exp(-half), self.ratio * math.exp(half)

    def interval_score(self, level: float = 0.95) -> Interval:
        """Interval of the ratio by inverting the score test."""
        z = float(stats.norm.isf((1 - level) / 2))

        def end(sign: float) -> float:
            a, b, d = self.count_a, self.count_b, self.exposure_b / self.exposure_a
            middle = math.log(self.ratio)
            far = middle - sign * 40
            gap = lambda x: (a - b * math.exp(x) / d) / math.sqrt((a + b) * math.exp(x) / d) - sign * z  # noqa: E731
            return math.exp(float(optimize.brentq(gap, min(far, middle), max(far, middle), xtol=1e-13)))

        return end(1.0), end(-1.0)

    def interval_exact(self, level: float = 0.95) -> Interval:
        """Exact interval of the ratio, given the total of both counts."""
        low, high = share_exact(self.count_a, self.count_a + self.count_b, level)
        factor = self.exposure_b / self.exposure_a
        return factor * low / (1 - low), math.inf if high == 1.0 else factor * high / (1 - high)
