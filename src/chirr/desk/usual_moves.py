"""What this farm usually does next: when it tips nursery lots over, and which way its trays go to hatch."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from chirr.book.standing import Clutch, Standing, Stay

FEW = 4
LAST_MOVES = 40
"""So many of the newest moves say what is usual."""

LEFT_STANDING_S = 3 * 86400
"""A tray that stays this much longer than usual where it is has been left there."""

Spot = tuple[str, int]
"""Room and level: what a place is to the clocks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TippedOver:
    """Nursery lots are tipped over `age_s` after their hatch, most often to `spot`; stays: the moves that say so."""

    age_s: float
    spot: Spot
    stays: tuple[Stay, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A tray is carried to `spot` when it is `age_s` old, counted from the day it was laid in."""

    age_s: float
    spot: Spot


def usually_tipped(s: Standing, known: set[Spot]) -> TippedOver | None:
    """The age at which this farm tips nursery lots over, and where they go, by its last moves."""
    moves = [
        (after.at, after.at - max(before.at, lot.began_at), after)
        for lot in s.lots.values()
        for before, after in pairwise(lot.stays)
        if lot.began_at is not None and duty(s, before) == "nursery" and duty(s, after) == "grow-out"
    ]
    latest = sorted(moves, key=lambda m: m[0])[-LAST_MOVES:]
    there = [stay for _, _, stay in latest if (stay.room, stay.level) in known]
    if len(moves) < FEW or not there:
        return None
    return TippedOver(age_s=float(np.median([age for _, age, _ in latest])), spot=_commonest(there), stays=tuple(there))


def usual_way(s: Standing, known: set[Spot]) -> tuple[Step, ...]:
    """The places where trays usually stand after they were pulled, in order, until they hatch; by the last that did.

    Empty where too few have hatched; a further step is usual where most trays took it.
    """
    done = [c for c in s.clutches.values() if c.pulled_at is not None and (c.hatched_at or c.emptied_at)]
    latest = sorted(done, key=lambda c: (c.pulled_at or 0, c.name))[-LAST_MOVES:]
    steps: list[Step] = []
    while len(latest) >= FEW:
        n = len(steps) + 1
        took = [c for c in latest if len(c.stays) > n and c.stays[n].at < _ended(c)]
        there = [c.stays[n] for c in took if (c.stays[n].room, c.stays[n].level) in known]
        if 2 * len(took) <= len(latest) or not there:
            break
        age = float(np.median([c.stays[n].at - c.laid_at for c in took]))
        steps.append(Step(age_s=age, spot=_commonest(there)))
        latest = took
    return tuple(steps)


def way_ahead(c: Clutch, way: tuple[Step, ...], at: int) -> list[tuple[int, Spot]]:
    """Where a tray will most likely stand from when on, as believed at time `at`: its own stays and the usual ones."""
    stays = [(p.at, (p.room, p.level)) for p in c.stays]
    if c.hatched_at is not None or c.emptied_at is not None:
        return stays
    for step in way[max(len(c.stays) - 1, 0) :]:
        due = c.laid_at + step.age_s
        if due < at - LEFT_STANDING_S:
            break
        stays.append((int(max(due, at + 1, stays[-1][0] + 1)), step.spot))
    return stays


def duty(s: Standing, stay: Stay) -> str:
    """Duty of the bin of a stay; empty on a rack."""
    bin_ = s.bins.get(stay.bin or "")
    return bin_.duty if bin_ else ""


def _ended(c: Clutch) -> int:
    return c.hatched_at or c.emptied_at or 0


def _commonest(stays: list[Stay]) -> Spot:
    return Counter((stay.room, stay.level) for stay in stays).most_common(1)[0][0]
