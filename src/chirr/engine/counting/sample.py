"""From a sample to the whole: weighed and counted, by the cup, by squares on a tray; with a standard error each
time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from chirr.engine.errors import EngineError

Floats = NDArray[np.float64]

ONE_CRICKET_CV = 0.25
"""How much crickets of one lot differ in mass, where only one sample was weighed: common practice, no published
source."""
CLUMPED_CV = 0.35
"""How much squares of a tray differ beyond chance, where only one was counted: judgement, eggs lie in groups."""


class CannotTell(EngineError, ValueError):  # noqa: N818  named for what happened
    """A sample from which nothing can be said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A number for the whole with its standard error; `low` to `high` holds the truth in nine cases of ten.

    `degrees` are those of the t distribution behind the interval (inf for a normal); `samples` how many were taken.
    """

    total: float
    se: float
    samples: int
    degrees: float = math.inf

    @property
    def cv(self) -> float:
        return self.se / self.total if self.total > 0 else math.inf

    @property
    def low(self) -> float:
        return max(0.0, self.total - self._reach)

    @property
    def high(self) -> float:
        return self.total + self._reach

    @property
    def _reach(self) -> float:
        return float(stats.t.ppf(0.95, self.degrees)) * self.se


def ratio_total(
    amounts: ArrayLike, sizes: ArrayLike, whole_size: float, units: float | None = None, *, adjusted: bool = False
) -> Estimate:
    """Total of `amounts` over a whole of size `whole_size`, from samples whose sizes are known (the ratio estimator).

    Parameters
    ----------
    amounts, sizes : array_like, shape (samples,)
        What was counted in each sample, and its size (mass, volume, area), both in one unit throughout.
    whole_size : float
        Size of the whole.
    units : float, optional
        How many samples the whole would make; with it the finite population correction is applied.
        Without it: `whole_size` over the mean size, and no correction.
    adjusted : bool
        Multiply the standard error by the whole's mean size over the samples'.

    References
    ----------
    Lohr, Sampling: Design and Analysis, chapter on ratio estimation.
    """
    y, x = np.asarray(amounts, dtype=np.float64), np.asarray(sizes, dtype=np.float64)
    if y.shape != x.shape or y.ndim != 1 or y.size < 2:
        raise CannotTell("Give at least two samples, each with its count and its size.")
    if (x <= 0).any() or (y < 0).any() or not whole_size > 0:
        raise CannotTell("Sizes must be above nought and counts not below it.")
    n, ratio = y.size, float(y.sum() / x.sum())
    spread2 = float(((y - ratio * x) ** 2).sum() / (n - 1))
    whole_units = units if units is not None else whole_size / float(x.mean())
    left = max(0.0, 1 - n / units) if units is not None else 1.0
    se = whole_units * math.sqrt(left * spread2 / n)
    if adjusted:
        se *= (whole_size / whole_units) / float(x.mean())
    return Estimate(total=ratio * whole_size, se=se, samples=n, degrees=n - 1)


def weigh_and_count(
    counts: ArrayLike, masses_g: ArrayLike, gross_g: float, tare_g: float = 0.0, one_cv: float = ONE_CRICKET_CV
) -> Estimate:
    """How many are in a bin that weighs `gross_g` with and `tare_g` without them, from samples counted and weighed [g].

    One sample: its error is that of the mean mass of as many crickets as it held. More: what they differ by, but
    never less than that.
    """
    y, x = np.atleast_1d(np.asarray(counts, dtype=np.float64)), np.atleast_1d(np.asarray(masses_g, dtype=np.float64))
    net_g = gross_g - tare_g
    if y.shape != x.shape or (y <= 0).any() or (x <= 0).any():
        raise CannotTell("Every sample needs a count and a mass above nought.")
    if net_g <= 0:
        raise CannotTell(f"The bin weighs {gross_g:g} g and its tare is {tare_g:g} g: nothing is left between them.")
    if x.sum() > net_g * 1.001:
        raise CannotTell(f"The samples weigh {x.sum():g} g together, more than the {net_g:g} g in the bin.")
    total = net_g * y.sum() / x.sum()
    left = max(0.0, 1 - float(x.sum()) / net_g)
    least = float(total * one_cv / math.sqrt(y.sum()) * math.sqrt(left))
    if y.size == 1:
        return Estimate(total=float(total), se=least, samples=1)
    found = ratio_total(y, x, net_g, units=net_g / float(x.mean()))
    return Estimate(
        total=found.total,
        se=max(found.se, least),
        samples=y.size,
        degrees=found.degrees if found.se > least else math.inf,
    )


def cups(counts: ArrayLike, cups_filled: float) -> Estimate:
    """How many are in `cups_filled` cups, from cups that were counted.

    Two errors: the mean of the counted cups is not exact, and the filled ones differ among themselves.
    """
    y = np.atleast_1d(np.asarray(counts, dtype=np.float64))
    if y.size < 2:
        raise CannotTell("Count at least two cups: one does not show how much they differ.")
    if (y < 0).any() or not cups_filled > 0:
        raise CannotTell("Counts cannot be below nought, and at least one cup must have been filled.")
    sd = float(y.std(ddof=1))
    se = sd * math.sqrt(cups_filled**2 / y.size + cups_filled)
    return Estimate(total=float(y.mean() * cups_filled), se=se, samples=y.size, degrees=y.size - 1)


def squares(counts: ArrayLike, square_cm2: float, tray_cm2: float) -> Estimate:
    """How many are on a tray of `tray_cm2`, from squares of `square_cm2` counted on it."""
    y = np.atleast_1d(np.asarray(counts, dtype=np.float64))
    if (y < 0).any() or not 0 < square_cm2 * y.size <= tray_cm2 * 1.001:
        raise CannotTell("The squares must have a size, and fit on the tray together.")
    whole = tray_cm2 / square_cm2
    left = max(0.0, 1 - y.size / whole)
    mean = float(y.mean())
    variance = float(y.var(ddof=1)) if y.size > 1 else mean + (CLUMPED_CV * mean) ** 2
    se = whole * math.sqrt(left * variance / y.size)
    return Estimate(total=mean * whole, se=se, samples=y.size, degrees=y.size - 1 if y.size > 1 else math.inf)


def more_samples(found: Estimate, within: float = 0.10, chance: float = 0.95) -> int:
    """How many more samples like those taken bring the estimate to `within` (relative) with the given chance."""
    if not 0 < within < 1 or not math.isfinite(found.cv):
        raise CannotTell("Nothing was found in the samples, so their number cannot be planned.")
    z = float(stats.norm.ppf(0.5 + chance / 2))
    needed = found.samples * (z * found.cv / within) ** 2
    return max(0, math.ceil(needed - 1e-9) - found.samples)


def more_cups(counts: ArrayLike, cups_filled: float, within: float = 0.10, chance: float = 0.95) -> int | None:
    """How many more cups to count so that the total of the filled ones is known to `within` (relative); None where the
    filled cups differ so much among themselves that no counting of others is enough."""
    y = np.atleast_1d(np.asarray(counts, dtype=np.float64))
    if y.size < 2 or not y.mean() > 0:
        raise CannotTell("Count at least two cups with something in them.")
    z = float(stats.norm.ppf(0.5 + chance / 2))
    variance = float(y.var(ddof=1))
    room = (within * float(y.mean()) * cups_filled / z) ** 2 - cups_filled * variance
    if room <= 0:
        return None
    return max(0, math.ceil(cups_filled**2 * variance / room - 1e-9) - y.size)


def looks_for_share(whole: int | None = None, within: float = 0.05, chance: float = 0.95, share: float = 0.5) -> float:
    """How many of `whole` to look at to know a share (dead, female) to `within`; not rounded.

    Examples
    --------
    >>> [round(looks_for_share(n)) for n in (100, 500, 1000, 10_000)]
    [80, 217, 278, 370]
    """
    z2 = float(stats.chi2.ppf(chance, 1))
    endless = z2 * share * (1 - share) / within**2
    return endless if whole is None else endless * whole / (whole - 1 + endless)


def count_interval(found: int, chance: float = 0.95) -> tuple[float, float]:
    """Exact interval (Garwood 1936) for the mean of a Poisson count."""
    tail = (1 - chance) / 2
    low = float(stats.chi2.ppf(tail, 2 * found) / 2) if found else 0.0
    return low, float(stats.chi2.ppf(1 - tail, 2 * found + 2) / 2)


def share_interval(found: int, looked_at: int, chance: float = 0.95) -> tuple[float, float]:
    """Exact interval (Clopper and Pearson 1934) for a share, such as dead among those looked at."""
    if not 0 <= found <= looked_at or looked_at < 1:
        raise CannotTell("The part cannot be larger than the whole that was looked at.")
    tail = (1 - chance) / 2
    low = float(stats.beta.ppf(tail, found, looked_at - found + 1)) if found else 0.0
    high = float(stats.beta.ppf(1 - tail, found + 1, looked_at - found)) if found < looked_at else 1.0
    return low, high
