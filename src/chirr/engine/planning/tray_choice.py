"""How many days to leave a tray in, and how many trays to give a bin: by eggs for each breeder, tray and minute.

An egg for each breeder and day is always most with the shortest stay, since a fresh tray takes eggs best; an egg for
each tray with the longest stay that is not yet eaten; minutes lie between, since a bin is fed and watered whether or
not a tray is swapped.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chirr.engine.planning.choice import Best, best_of
from chirr.engine.planning.laying import LayingDraws, eggs_left

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayingBin:
    """A breeding bin as it is laid in: adults, females among them, vigour (age factor times warmth factor; one for
    all draws, or of shape (draws,))."""

    adults: float
    females: float
    vigour: float | Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Labour:
    """Minutes that one tray takes from laying to emptying, and that the bin takes each day whatever its trays."""

    per_tray: float
    per_bin_day: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DaysJudged:
    """Days left in, judged three ways. eggs: in one tray, shape (days, draws); habit_eggs: (draws,)."""

    days: Floats
    eggs: Floats
    habit_eggs: Floats
    per_breeder_day: Best
    per_tray: Best
    per_minute: Best


def judge_days(
    d: LayingDraws,
    bin_: LayingBin,
    *,
    area_cm2: float,
    trays: float,
    days: Floats,
    habit_days: float,
    labour: Labour,
) -> DaysJudged:
    """Judge every number of days in `days` (whole, > 0) against the habit, for `trays` equal trays in a bin."""
    both = np.append(days, habit_days)
    eggs = eggs_left(d, females=bin_.females, vigour=bin_.vigour, area_cm2=area_cm2, trays=trays, days=both)
    per_day = trays * eggs / (bin_.adults * both[:, None])
    per_minute = trays * eggs / (trays * labour.per_tray + labour.per_bin_day * both)[:, None]
    return DaysJudged(
        days=days,
        eggs=eggs[:-1],
        habit_eggs=eggs[-1],
        per_breeder_day=best_of(days, per_day[:-1], per_day[-1]),
        per_tray=best_of(days, eggs[:-1], eggs[-1]),
        per_minute=best_of(days, per_minute[:-1], per_minute[-1]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TraysJudged:
    """One to several equal trays in a bin, for one stay.

    total: eggs of the bin in a stay, shape (numbers, draws); extra: what the last tray of each number adds; minutes: of
    the bin in a stay, shape (numbers,); best: by eggs for each minute, against the usual number.
    """

    numbers: Floats
    total: Floats
    extra: Floats
    minutes: Floats
    best: Best


def judge_trays(
    d: LayingDraws, bin_: LayingBin, *, area_cm2: float, days: float, most: int, habit: float, labour: Labour
) -> TraysJudged:
    """Judge 1 to `most` trays of one type in a bin, each left in for `days`, against the `habit` number (> 0).

    The extra tray is worth its minutes while it brings more eggs a minute than the bin as a whole does: that number
    has the most eggs for each minute of labour.
    """
    numbers = np.arange(1.0, most + 1)

    def total_of(k: float) -> Floats:
        one = eggs_left(d, females=bin_.females, vigour=bin_.vigour, area_cm2=area_cm2, trays=k, days=np.array([days]))
        return np.asarray(k * one[0])

    total = np.stack([total_of(k) for k in numbers])
    minutes = numbers * labour.per_tray + labour.per_bin_day * days
    usual = total_of(habit) / (habit * labour.per_tray + labour.per_bin_day * days)
    return TraysJudged(
        numbers=numbers,
        total=total,
        extra=np.diff(total, axis=0, prepend=0.0),
        minutes=minutes,
        best=best_of(numbers, total / minutes[:, None], usual),
    )
