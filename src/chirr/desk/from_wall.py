"""From the eggs along a tray's clear wall to those in the tray, as this farm's trays counted both ways have shown."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import msgspec

from chirr.book import ledger, shelf
from chirr.book.models import EntryRow
from chirr.desk.counting import CannotCount
from chirr.desk.photos import KeptPhoto, all_kept, tray_type_of
from chirr.desk.spoken import say

if TYPE_CHECKING:
    from chirr.engine.counting.wall import Factor
    from chirr.records import TrayType

FROM_THE_WALL = "From the wall:"
"""How the note of a count begins that was itself guessed from a wall."""
BY_HAND_CV = 0.25
"""A count of a clutch's eggs with no more error than this was not guessed from its wall."""
UNKNOWN_AGE_DAYS = 2.0


class TrayGuess(msgspec.Struct, frozen=True, kw_only=True):
    """Eggs in the tray, from those seen at its wall: each of those stands for `factor`; so many `trays` of the type
    were counted both ways on this farm before."""

    count: int
    interval: tuple[int, int]
    cv: float
    trays: int
    factor: float = 0.0


def factor_of(tray: TrayType, age_days: float) -> Factor:
    """How many eggs of a tray of this type each egg at its wall stands for, when the eggs are so old: geometry,
    moved by the farm's own trays that were counted both ways."""
    from chirr.engine.counting import wall

    priors = {
        t.tray_type: wall.geometric_factor(t.length_cm, t.width_cm, t.clear_side_cm, age_days)
        for t in (*shelf.tray_types(), tray) if t.clear_side_cm
    }  # fmt: skip
    both = list(_both_ways(age_days))
    learnt = wall.learn_factors([b[0] for b in both], [b[1] for b in both], [b[2] for b in both], priors)
    return learnt[tray.tray_type]


def tray_from_wall(seen: float, seen_cv: float, tray: TrayType, age_days: float) -> TrayGuess:
    """Eggs in a tray from those seen along its whole wall. Raises CannotCount."""
    from chirr.engine.counting import wall
    from chirr.engine.counting.sample import CannotTell

    if not tray.clear_side_cm:
        raise CannotCount(
            say("Trays of type {tray} have no clear side, so none can be counted through it.", tray=tray.tray_type)
        )
    factor = factor_of(tray, age_days)
    try:
        eggs = wall.tray_eggs(seen, seen_cv, factor)
    except CannotTell as error:
        raise CannotCount(str(error)) from error
    return TrayGuess(
        count=_short(eggs.middle), interval=(_short(eggs.low), _short(eggs.high)), cv=eggs.cv, trays=factor.trays,
        factor=round(factor.middle, 2),
    )  # fmt: skip


def tray_guess(kept: KeptPhoto) -> TrayGuess | None:
    """Eggs in the whole tray; None without a scale, without eggs, or where the tray has no clear side."""
    tray = tray_type_of(kept.clutch)
    if kept.what != "eggs" or tray is None or not tray.clear_side_cm or not kept.per_cm:
        return None
    return tray_from_wall(kept.per_cm * tray.clear_side_cm, kept.cv, tray, age_days(kept.clutch, kept.at))


def named(tray_type: str) -> TrayType:
    """A tray type of the farm. Raises CannotCount."""
    types = {t.tray_type: t for t in shelf.tray_types()}
    if tray_type not in types:
        have = ", ".join(types) or say("none yet")
        raise CannotCount(say("There is no tray type {tray}; this farm has {have}.", tray=tray_type, have=have))
    return types[tray_type]


def of_clutch(clutch: str) -> TrayType:
    """The tray that a clutch lies in. Raises CannotCount."""
    tray = tray_type_of(clutch)
    if tray is None:
        raise CannotCount(say("There is no clutch {clutch} in a tray of a known type.", clutch=clutch))
    return tray


def _short(value: float) -> int:
    """A guess with two digits that count."""
    digits = max(0, math.floor(math.log10(max(value, 1))) - 1)
    return round(round(value, -digits))


def age_days(clutch: str | None, at: int) -> float:
    """How old the eggs of a clutch are; a guess where the book does not know it."""
    known = ledger.live().clutches.get(clutch or "")
    return max(0.0, (at - known.laid_at) / 86_400) if known else UNKNOWN_AGE_DAYS


def _both_ways(now_days: float) -> Iterator[tuple[float, float, str]]:
    """Trays of which the wall was photographed and the eggs were also counted properly: wall, tray, type.

    The wall's eggs are those that would be seen if they were `now_days` old: the strip that is seen through the wall is
    as deep as eggs are long, and eggs swell.
    """
    from chirr.engine.counting.wall import egg_length_mm

    clutches = ledger.live().clutches
    guessed = set(EntryRow.objects.filter(note__startswith=FROM_THE_WALL).values_list("id", flat=True))
    sides = {t.tray_type: t.clear_side_cm for t in shelf.tray_types() if t.clear_side_cm}
    latest: dict[str, KeptPhoto] = {k.clutch: k for k in all_kept() if k.clutch and k.what == "eggs" and k.per_cm}
    for name, kept in latest.items():
        known = clutches.get(name)
        if known is None or known.tray_type not in sides or kept.per_cm is None:
            continue
        counts: Sequence[float] = [
            f.quantity for f in known.facts
            if f.kind == "count" and f.unit == "eggs" and f.quantity and f.cv is not None and f.cv <= BY_HAND_CV
            and f.entry not in guessed
        ]  # fmt: skip
        if counts:
            swollen = egg_length_mm(now_days) / egg_length_mm(age_days(name, kept.at))
            yield kept.per_cm * sides[known.tray_type] * swollen, counts[-1], known.tray_type


def deed_values(kept: KeptPhoto) -> dict[str, str]:
    """What the form of the count is filled with: the tray's eggs where they can be told, else what is on the picture.

    The eggs along a wall are never offered as those of a whole tray: a person must fill that in.
    """
    guess = tray_guess(kept)
    values = {"deed": "count", "unit": kept.what}
    if guess or not (kept.what == "eggs" and kept.clutch):
        quantity, cv = (guess.count, guess.cv) if guess else (kept.count, kept.cv)
        values |= {"quantity": str(quantity), "cv": f"{min(cv, 2.0):.3f}"}
    seen = f"{kept.count} {kept.what} on photograph {kept.id}"
    values["note"] = f"{FROM_THE_WALL} {seen}." if guess else f"{seen[0].upper()}{seen[1:]}."
    for name in ("clutch", "lot"):
        if value := getattr(kept, name):
            values[name] = value
    return values
