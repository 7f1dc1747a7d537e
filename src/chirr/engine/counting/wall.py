"""From the eggs seen along a tray's clear wall to the eggs in the tray."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from chirr.engine.counting.sample import CannotTell

FRESH_MM3, RIPE_MM3 = 0.66, 1.92
FRESH_MM, RIPE_MM = (2.53, 0.75), (3.32, 0.99)
"""Volume, and length and width, of house cricket eggs on the first day and before hatching (Douan et al. 2020); the
water
is taken up mainly on days 4 to 8 (same)."""
SWELLS_FROM, SWELLS_TO = 4.0, 8.0

SEEN_LENGTHS = 0.6
"""Eggs are seen that lie within this part of an egg's length of the wall: judgement."""
PRIOR_LOG_SD = 0.8
"""How wide the geometric prior is: about a factor of 2.2 either way as one standard deviation (judgement)."""
BETWEEN_TYPES = 0.3
BETWEEN_TRAYS = 0.3
TRAYS_BEHIND_SPREAD = 4.0
"""The spread between trays of a type starts at BETWEEN_TRAYS, with the weight of so many trays (judgement)."""


def swollen(age_days: float) -> float:
    """How far an egg is on its way from fresh (0) to its size before hatching (1), at about 30 degC.

    >>> swollen(2.0), swollen(6.0), swollen(12.0)
    (0.0, 0.5, 1.0)
    """
    way = min(max((age_days - SWELLS_FROM) / (SWELLS_TO - SWELLS_FROM), 0.0), 1.0)
    return way * way * (3 - 2 * way)


def egg_volume_mm3(age_days: float) -> float:
    """Volume of one egg."""
    return FRESH_MM3 + (RIPE_MM3 - FRESH_MM3) * swollen(age_days)


def egg_length_mm(age_days: float) -> float:
    """Length of one egg."""
    return FRESH_MM[0] + (RIPE_MM[0] - FRESH_MM[0]) * swollen(age_days)


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """Eggs in the tray for each egg seen at the wall: log of the middle value, its standard error, the spread
    between trays.

    `trays` is how many trays counted both ways stand behind it; 0 for the geometric guess.
    """

    log_factor: float
    log_se: float
    log_spread: float
    trays: int = 0

    @property
    def middle(self) -> float:
        return math.exp(self.log_factor)


def geometric_factor(length_cm: float, width_cm: float, clear_side_cm: float, age_days: float = 2.0) -> Factor:
    """The factor before any tray was counted both ways: laid area over the strip that can be seen through the wall."""
    if not all(0 < side < math.inf for side in (length_cm, width_cm, clear_side_cm)):
        raise CannotTell("The tray's length, width and clear side must be above nought.")
    seen_cm = SEEN_LENGTHS * egg_length_mm(age_days) / 10
    factor = max(1.0, length_cm * width_cm / (clear_side_cm * seen_cm))
    return Factor(log_factor=math.log(factor), log_se=PRIOR_LOG_SD, log_spread=BETWEEN_TRAYS)


def learn_factors(
    wall: Sequence[float], tray: Sequence[float], kind: Sequence[str], priors: dict[str, Factor]
) -> dict[str, Factor]:
    """The factor of each tray type, from trays counted both ways.

    `wall` and `tray` are eggs seen at the wall and in the whole tray, `kind` the tray types, each of shape (trays,);
    `priors` has the geometric factor of every type. On logs: trays of a type scatter around the type's own departure
    from
    geometry, types around the farm's, the farm's around none; a normal model, solved exactly. The scatter between trays
    is the pooled one, held by a starting value.
    """
    y = [math.log(t / w) - priors[k].log_factor for w, t, k in zip(wall, tray, kind, strict=True) if w > 0 and t > 0]
    of = [k for w, t, k in zip(wall, tray, kind, strict=True) if w > 0 and t > 0]
    spread2 = _pooled(np.array(y), of)
    names = list(priors)
    column = {name: i + 1 for i, name in enumerate(names)}
    precision = np.diag([1 / PRIOR_LOG_SD**2, *[1 / BETWEEN_TYPES**2] * len(names)])
    pull = np.zeros(len(names) + 1)
    for value, name in zip(y, of, strict=True):
        row = np.zeros(len(names) + 1)
        row[0] = row[column[name]] = 1.0
        precision += np.outer(row, row) / spread2
        pull += row * value / spread2
    cover = np.linalg.inv(precision)
    middle = cover @ pull
    found = {}
    for name in names:
        row = np.zeros(len(names) + 1)
        row[0] = row[column[name]] = 1.0
        found[name] = Factor(
            log_factor=priors[name].log_factor + float(row @ middle), log_se=float(math.sqrt(row @ cover @ row)),
            log_spread=math.sqrt(spread2), trays=of.count(name),
        )  # fmt: skip
    return found


def _pooled(y: np.ndarray, of: list[str]) -> float:
    squares, degrees = TRAYS_BEHIND_SPREAD * BETWEEN_TRAYS**2, TRAYS_BEHIND_SPREAD
    for name in dict.fromkeys(of):
        own = y[[k == name for k in of]]
        squares += float(((own - own.mean()) ** 2).sum())
        degrees += own.size - 1
    return squares / degrees


@dataclass(frozen=True, slots=True, kw_only=True)
class TrayEggs:
    """Eggs in a tray: middle, nine in ten interval, and coefficient of variation (of a lognormal)."""

    middle: float
    low: float
    high: float
    cv: float


def tray_eggs(seen: float, seen_cv: float, factor: Factor) -> TrayEggs:
    """Eggs in a tray from the eggs seen at its wall, with the errors of the look, of the factor and between trays
    together. seen_cv: 0 to 1."""
    if not 0 <= seen_cv <= 1:
        raise CannotTell("The relative error of the count at the wall lies between 0 and 1; 0.1 is ten per cent.")
    if not seen > 0:
        raise CannotTell("No eggs were seen at the wall, so nothing can be said of the tray.")
    log_sd = math.sqrt(math.log1p(seen_cv**2) + factor.log_se**2 + factor.log_spread**2)
    reach = float(stats.norm.ppf(0.95)) * log_sd
    middle = seen * factor.middle
    return TrayEggs(
        middle=middle, low=middle * math.exp(-reach), high=middle * math.exp(reach), cv=math.sqrt(math.expm1(log_sd**2))
    )
