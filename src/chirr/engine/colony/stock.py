"""Crickets and kilograms of the whole farm by size class, added up cohort by cohort in joint draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.cohort_ahead import CohortAhead
from chirr.engine.colony.horizon import Horizon
from chirr.engine.colony.size_classes import Sizes
from chirr.engine.colony.sizes import Sex

Floats32 = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class StockDraws:
    """Crickets and kg of the whole farm, shape (size classes, days + 1, draws): joint draws, for any question."""

    crickets: Floats32
    kg: Floats32


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """Crickets and kg above the lower bound of each size class, shape (size classes, days looked at, draws), so far."""

    horizon: Horizon
    sexes: tuple[Sex, ...]
    crickets: Floats32
    kg: Floats32

    @classmethod
    def none(cls, horizon: Horizon, sexes: tuple[Sex, ...], draws: int) -> Stock:
        """No crickets."""
        shape = (len(horizon.from_mg), len(horizon.looked_at), draws)
        return cls(
            horizon=horizon, sexes=sexes, crickets=np.zeros(shape, np.float32), kg=np.zeros(shape, np.float32)
        )  # fmt: skip

    def add(self, cohort: CohortAhead) -> None:
        """Add a cohort's crickets and kilograms."""
        kilograms = cohort.number * (cohort.mean_mg / np.float32(1e6))
        sizes = Sizes(cohort, self.sexes)
        for k, bound in enumerate(self.horizon.from_mg):
            for days, crickets, kg in sizes.above(bound):
                self.crickets[k, days] += cohort.number[days] * crickets
                self.kg[k, days] += kilograms[days] * kg

    @staticmethod
    def together(parts: Sequence[Stock]) -> StockDraws:
        """What some threads have added up, by size class and for every day."""
        horizon = parts[0].horizon

        def by_class(above: list[Floats32]) -> Floats32:
            total = np.sum(above, axis=0)
            total[:-1] -= total[1:]
            return horizon.every_day(np.maximum(total, np.float32(0)), axis=1)

        return StockDraws(crickets=by_class([p.crickets for p in parts]), kg=by_class([p.kg for p in parts]))
