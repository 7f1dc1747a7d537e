"""How many of a cohort, and how much of its mass, stand above the lower bound of a size class.

Log mass is normal over the crickets of a cohort; where the sexes of a species were weighed apart it is two such humps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.cohort_ahead import CohortAhead
from chirr.engine.colony.sizes import Sex

Floats32 = NDArray[np.float32]
Part = tuple[slice, Floats32 | np.float32, Floats32 | np.float32]
"""Some of the days looked at, with the share of the crickets above a bound on them and that of their mass: by draw, or
one number for all."""

f4 = np.float32

SURE = f4(5.0)
"""So many spreads from a bound a share is 0 or 1 for every purpose here."""


class Sizes:
    """The sizes of one cohort through the days to come."""

    def __init__(self, cohort: CohortAhead, sexes: tuple[Sex, ...]) -> None:
        self.days = len(cohort.number)
        self._humps = _apart(cohort, sexes) if sexes else [_together(cohort)]
        widest = [h.sd.max(axis=1) for h in self._humps]
        self._lowest = [(h.mean.min(axis=1), sd) for h, sd in zip(self._humps, widest, strict=True)]
        self._highest = [(h.mean.max(axis=1) + sd * sd, sd) for h, sd in zip(self._humps, widest, strict=True)]

    def above(self, bound_mg: float) -> Iterator[Part]:
        """The days on which some may stand above a bound [mg], with the shares of crickets and of mass that do."""
        if bound_mg <= 0:
            yield slice(None), f4(1), f4(1)
            return
        bound = f4(np.log(bound_mg))
        some = np.any([(top - bound) > -SURE * sd for top, sd in self._highest], axis=0)
        not_all = np.any([(bottom - bound) < SURE * sd for bottom, sd in self._lowest], axis=0)
        if not some.any():
            return
        begin = int(some.argmax())
        end = max(len(some) - int(not_all[::-1].argmax()) if not_all.any() else 0, begin)
        last: tuple[Floats32 | np.float32, Floats32 | np.float32] = f4(1), f4(1)
        if end > begin:
            days = slice(begin, end)
            share, of_mass = self._shares(days, bound)
            yield days, share, of_mass
            if end == len(some):
                last = share[-1], of_mass[-1]
        if end < self.days:
            yield slice(end, self.days), *last

    def _shares(self, days: slice, bound: np.float32) -> tuple[Floats32, Floats32]:
        """Shares of crickets and of mass above the log of a bound, shape (those days, draws)."""
        above, of_mass = self._humps[0].above(days, bound)
        for hump in self._humps[1:]:
            more, more_of_mass = hump.above(days, bound)
            above += more
            of_mass += more_of_mass
        return above, of_mass


@dataclass(frozen=True, slots=True, kw_only=True)
class Hump:
    """Crickets whose log mass is normal: its mean and spread, shape (days, draws), and what share of the cohort and of
    its mass they are (None for all)."""

    mean: Floats32
    sd: Floats32
    share: np.float32 | None
    share_of_mass: Floats32 | None

    def above(self, days: slice, bound: np.float32) -> tuple[Floats32, Floats32]:
        """Shares of all crickets, and of all mass, that are of this hump and above the log of a bound."""
        sd = self.sd[days]
        u = self.mean[days] - bound
        u /= sd
        crickets = normal_share(u)
        u += sd
        mass = normal_share(u)
        if self.share is not None and self.share_of_mass is not None:
            crickets *= self.share
            mass *= self.share_of_mass[days]
        return crickets, mass


def _together(cohort: CohortAhead) -> Hump:
    """One hump for all crickets."""
    return Hump(mean=cohort.log_mg, sd=np.sqrt(cohort.log_variance), share=None, share_of_mass=None)


def _apart(cohort: CohortAhead, sexes: tuple[Sex, ...]) -> list[Hump]:
    """A hump for each sex, as far apart as the crickets have grown; together they weigh what the cohort weighs."""
    log_mean_mg = cohort.log_mg + f4(0.5) * cohort.log_variance
    heavier = [f4(sex.share) * np.exp(cohort.grown * f4(sex.log_mass)) for sex in sexes]
    all_mass = np.sum(heavier, axis=0)
    humps = []
    for sex, mass in zip(sexes, heavier, strict=True):
        variance = np.maximum(cohort.log_variance + cohort.grown * f4(sex.more_variance), f4(1e-4))
        mean = log_mean_mg + np.log(mass / (all_mass * f4(sex.share))) - f4(0.5) * variance
        humps.append(Hump(mean=mean, sd=np.sqrt(variance), share=f4(sex.share), share_of_mass=mass / all_mass))
    return humps


def normal_share(u: Floats32) -> Floats32:
    """Normal distribution function in single precision, to 2e-4.

    References
    ----------
    Bowling, Khasawneh, Kaewkuekool and Cho (2009), J. Ind. Eng. Manag. 2(1), 114-127: a logistic of a cubic, here
    written with the hyperbolic tangent.
    """
    out: Floats32 = u * u
    out *= f4(0.070565992 / 2)
    out += f4(1.5976 / 2)
    out *= u
    np.tanh(out, out=out)
    out += f4(1)
    out *= f4(0.5)
    return out
