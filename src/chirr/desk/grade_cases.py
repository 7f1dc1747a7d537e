"""What was asked of the future on a day in the past, and what the book said later."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from chirr.book.standing import Clutch, Fact, Lot, Standing
from chirr.desk.gather import COUNT_CV, HARVEST_CV, LONGEST_LOOK_S, USUAL_LOOK_S, WEIGH_CV

DAY = 86400
KINDS = ("first pinheads", "pinheads", "mean mass", "harvest")
UNITS = {"first pinheads": "days", "pinheads": "pinheads", "mean mass": "mg", "harvest": "kg"}

REACH_DAYS = 35
"""How far ahead is asked."""

YOUNG_DAYS = 21
"""A lot's first count up to this age is a count of its pinheads."""

SIZE_SPREAD = 0.35
"""Spread of log mass between the crickets of one lot, for the error of a sample's mean (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing asked at `asked_at` that the book answered at `answered_at` (epoch seconds).

    truth: what the book said then, in the unit of its kind, for first pinheads days after `asked_at`. error: standard
    deviation of that answer, in days for first pinheads and on the log scale for the rest.
    """

    kind: str
    thing: str
    asked_at: int
    answered_at: int
    truth: float
    error: float

    @property
    def days(self) -> float:
        """How far ahead was asked."""
        return (self.answered_at - self.asked_at) / DAY


def questions(then: Standing, later: Standing, at: int) -> Iterator[Question]:
    """Everything of a past day `at` that the later book answers; `then` is how the farm stood as known on that day."""
    for name, clutch in then.clutches.items():
        now = later.clutches.get(name)
        if now is not None and clutch.emptied_at is None:
            yield from _of_clutch(clutch, now, at)
    for name, lot in then.lots.items():
        after = later.lots.get(name)
        if after is not None and lot.alive:
            yield from _of_lot(lot, after, later, at)


def _of_clutch(then: Clutch, later: Clutch, at: int) -> Iterator[Question]:
    if then.hatched_at is None and later.hatched_at is not None and at < later.hatched_at <= at + REACH_DAYS * DAY:
        low, high = hatch_between(later)
        yield Question(
            kind="first pinheads", thing=later.name, asked_at=at, answered_at=later.hatched_at,
            truth=(0.5 * (low + high) - at) / DAY, error=(high - low) / DAY / np.sqrt(12),
        )  # fmt: skip
    if not any(f.unit == "pinheads" for f in then.facts):
        counts = [f for f in later.facts if f.unit == "pinheads" and f.quantity and at < f.at <= at + REACH_DAYS * DAY]
        if counts:
            yield _counted("pinheads", later.name, counts[0], at)


def hatch_between(clutch: Clutch) -> tuple[int, int]:
    """The last look before first pinheads were seen and the look that saw them, taken as belief takes them."""
    seen = clutch.hatched_at or 0
    look = clutch.looked_at or 0
    if look < seen - LONGEST_LOOK_S:
        look = seen - USUAL_LOOK_S
    return max(look, clutch.laid_at), seen


def _counted(kind: str, thing: str, f: Fact, at: int) -> Question:
    cv = f.cv if f.cv is not None else COUNT_CV.get(f.unit or "crickets", 0.3)
    return Question(
        kind=kind, thing=thing, asked_at=at, answered_at=f.at, truth=float(f.quantity or 0.0),
        error=float(np.sqrt(np.log1p(cv**2))),
    )  # fmt: skip


def _of_lot(then: Lot, later: Lot, farm: Standing, at: int) -> Iterator[Question]:
    """A lot's pinheads, masses and harvest, as long as no crickets came or left that nobody could foresee."""
    first = first_count(later, farm)
    if first is not None and first.at > at and comparable(then, later, farm, at, first.at):
        yield _counted("pinheads", later.name, first, at)
    for f in later.facts:
        if not at < f.at <= at + REACH_DAYS * DAY or not f.quantity:
            continue
        if f.kind == "weigh" and f.sample and comparable(then, later, farm, at, f.at, leaving=True):
            error = np.hypot(f.cv or WEIGH_CV, SIZE_SPREAD / np.sqrt(f.sample))
            yield Question(
                kind="mean mass", thing=later.name, asked_at=at, answered_at=f.at, truth=f.quantity * 1000 / f.sample,
                error=float(error),
            )  # fmt: skip
        elif f.kind == "harvest" and later.ended_by == "harvest" and comparable(then, later, farm, at, f.at):
            yield Question(
                kind="harvest", thing=later.name, asked_at=at, answered_at=f.at, truth=f.quantity,
                error=f.cv or HARVEST_CV,
            )  # fmt: skip


def first_count(lot: Lot, farm: Standing) -> Fact | None:
    """The count of a lot's pinheads: its first, while it is young and whole; None if there is none."""
    if lot.origin != "clutches":
        return None
    born = min((c.hatched_at or c.laid_at for n in lot.clutches if (c := farm.clutches.get(n))), default=lot.named_at)
    for f in lot.facts:
        if f.kind in ("out", "take", "gone", "mix", "in") or f.at > born + YOUNG_DAYS * DAY:
            return None
        if f.kind == "count" and f.quantity:
            return f
    return None


_LEAVING = ("out", "take")
_COMING = ("in", "mix", "stock", "gone")


def comparable(then: Lot, later: Lot, farm: Standing, at: int, until: int, *, leaving: bool = False) -> bool:
    """Whether between two days no crickets came to a lot, nor left it (unless `leaving` is no matter), unforeseen."""
    barred = _COMING if leaving else (*_COMING, *_LEAVING)
    if any(at < f.at <= until and f.kind in barred for f in later.facts):
        return False
    came = {n for n in later.clutches if (c := farm.clutches.get(n)) and min(_joined(c, later), until) < until}
    return came <= set(then.clutches)


def _joined(clutch: Clutch, lot: Lot) -> int:
    """When a clutch was put with its lot."""
    return min((s.at for s in clutch.stays if s.bin is not None and s.at >= lot.named_at), default=lot.named_at)
