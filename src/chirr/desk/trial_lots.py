"""What lots gave: kilograms as harvested, and kilograms or crickets for each clutch that fed them.

A lot that was split is taken together with its parts. Where animals came in from other lots, or a part of it left in
another unit than the one counted, what it gave cannot be known and it is left out.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

from chirr.book.standing import Lot, Standing
from chirr.desk.gather import HARVEST_CV

DAY = 86400
FRESH_DAYS = 7
"""A weighing so long before the harvest still tells how heavy they were (judgement)."""
MOST_GROWTH = 0.12
"""Growth carried forward from the last two weighings is at most this share a day (judgement)."""
WEIGHED_CV, GROWN_CV = 0.04, 0.02
"""Error of the mean of a sample weighing, and of each day carried forward (judgement)."""


@dataclass(frozen=True, slots=True)
class Gave:
    """What one lot gave, with its relative error."""

    lot: Lot
    value: float
    cv: float


def kilograms(s: Standing) -> list[Gave]:
    """Kilograms of each lot that was harvested whole."""
    return [Gave(lot, lot.end_kg, HARVEST_CV) for lot in s.lots.values() if lot.end_kg is not None]


def for_each_clutch(s: Standing, *, crickets: bool) -> list[Gave]:
    """Kilograms, or crickets alive at harvest, for each clutch of the lots that began from clutches."""
    parts: dict[str, list[Lot]] = defaultdict(list)
    for lot in s.lots.values():
        if lot.origin == "split" and len(lot.parents) == 1:
            parts[lot.parents[0]].append(lot)
    out = []
    for lot in s.lots.values():
        if lot.origin != "clutches" or not lot.clutches:
            continue
        found = [_given(x, crickets=crickets, part=x is not lot) for x in _family(lot, parts)]
        known = [f for f in found if f is not None]
        whole = sum(value for value, _ in known)
        if len(known) == len(found) and whole > 0:
            error = math.sqrt(sum((value * cv) ** 2 for value, cv in known)) / whole
            out.append(Gave(lot, whole / len(lot.clutches), error))
    return out


def _family(lot: Lot, parts: dict[str, list[Lot]]) -> list[Lot]:
    out, wait = [], [lot]
    while wait:
        out.append(wait.pop())
        wait += parts.get(out[-1].name, [])
    return out


def _given(lot: Lot, *, crickets: bool, part: bool) -> tuple[float, float] | None:
    """What one lot gave by itself and its relative error; None when that cannot be known."""
    if lot.end_kg is None or any(f.kind == "mix" or (f.kind == "in" and not part) for f in lot.facts):
        return None
    takes = [f for f in lot.facts if f.kind == "take"]
    if any(f.unit != ("crickets" if crickets else "kg") or f.quantity is None for f in takes):
        return None
    taken = sum(f.quantity or 0.0 for f in takes)
    if not crickets:
        return lot.end_kg + taken, HARVEST_CV
    mass = mass_at_end_mg(lot)
    if mass is None:
        return None
    return lot.end_kg * 1e6 / mass[0] + taken, math.hypot(mass[1], HARVEST_CV)


def mass_at_end_mg(lot: Lot) -> tuple[float, float] | None:
    """Mean mass of one cricket when the lot ended, from its last weighings, and its relative error."""
    weighed = [(f.at, f.quantity * 1000 / f.sample) for f in lot.facts if f.kind == "weigh" and f.quantity and f.sample]
    if not weighed or lot.ended_at is None:
        return None
    at, mg = weighed[-1]
    days = (lot.ended_at - at) / DAY
    if days > FRESH_DAYS:
        return None
    growth = 0.0
    if len(weighed) > 1 and at > weighed[-2][0]:
        growth = math.log(mg / weighed[-2][1]) / ((at - weighed[-2][0]) / DAY)
    grown = mg * math.exp(min(max(growth, 0.0), MOST_GROWTH) * days)
    return grown, math.hypot(WEIGHED_CV, GROWN_CV * days)
