"""What limits a farm: eggs, space, survival or labour, from four measures of its book, and why in words."""

from __future__ import annotations

from dataclasses import dataclass

NAMES = ("space", "labour", "survival", "eggs")
"""In the order in which they are named when several are tight: room and hands cap what any more eggs could give."""
FULL = 0.05
"""Less than this share of nursery and grow-out bins empty: space is tight (judgement)."""
CROWDED = 0.5
"""So is it where at least this share of lots stands above the density at which crickets suffer (judgement)."""
BUSY = 0.95
"""Labour is tight when the round takes more than this share of people's hours (judgement)."""
FEW_LOTS = 5
"""Fewer lots with pinheads counted and a weighed harvest say nothing of survival yet (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measures:
    """What the book tells. Densities are crickets per cm2 of floor and hides; knee: where crowding begins to cost.

    survival: middle share of counted pinheads that were harvested, with the number of lots it rests on; None without
    any. band: the share that the table of values leads one to expect, from low to high.
    """

    bins: int
    empty_bins: int
    lots: int
    crowded_lots: int
    nursery_density: float | None
    knee: float
    survival: float | None
    survival_lots: int
    band: tuple[float, float]
    hours: float
    hours_there: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One thing that may limit the farm. load: how far its measure is towards the point where it does, 1 at it; None
    where that cannot be said. tight: None while the book tells too little."""

    name: str
    tight: bool | None
    load: float | None
    says: str


def limits(m: Measures) -> tuple[Limit, ...]:
    """Space, labour, survival and eggs, each with its reason; eggs limit where nothing else does."""
    others = (_space(m), _labour(m), _survival(m))
    if any(x.tight for x in others):
        says = "more eggs would meet " + " and ".join(x.name for x in others if x.tight) + " first"
        return (*others, Limit(name="eggs", tight=False, load=None, says=says))
    unknown = any(x.tight is None for x in others)
    tail = ", as far as the book tells" if unknown else ""
    says = f"bins stand empty and hands have time, so more eggs could be raised{tail}"
    return (*others, Limit(name="eggs", tight=True, load=None, says=says))


def limiting(found: tuple[Limit, ...]) -> Limit:
    """The one that limits the farm."""
    return next(x for name in NAMES for x in found if x.name == name and x.tight)


def _space(m: Measures) -> Limit:
    if m.bins == 0:
        return Limit(name="space", tight=True, load=None, says="there is no nursery or grow-out bin")
    says = f"{m.empty_bins} of {m.bins} nursery and grow-out bins are empty"
    crowded = m.crowded_lots / m.lots if m.lots else 0.0
    if m.lots:
        says += f"; {m.crowded_lots} of {m.lots} growing lots stand above {m.knee:g} crickets on a cm2"
    if m.nursery_density is not None:
        says += f", nursery lots at {m.nursery_density:.2g} in the middle"
    full = m.empty_bins == 0 or m.empty_bins < FULL * m.bins
    return Limit(
        name="space", tight=full or crowded >= CROWDED, says=says,
        load=max((1 - m.empty_bins / m.bins) / (1 - FULL), crowded / CROWDED),
    )  # fmt: skip


def _labour(m: Measures) -> Limit:
    if m.hours_there <= 0 or m.hours <= 0:
        says = "no deed was written down of late" if m.hours <= 0 else "nobody's hours are known"
        return Limit(name="labour", tight=None, load=None, says=says)
    share = m.hours / m.hours_there
    says = f"what is written down takes {m.hours:.3g} hours a week of the {m.hours_there:.3g} that people have for it"
    return Limit(name="labour", tight=share > BUSY, load=share / BUSY, says=says)


def _survival(m: Measures) -> Limit:
    low, high = m.band
    expected = f"the table of values leads to {100 * low:.0f} to {100 * high:.0f}"
    if m.survival is None or m.survival_lots < FEW_LOTS:
        says = f"only {m.survival_lots} lots have both pinheads counted and a weighed harvest; {expected} of 100"
        return Limit(name="survival", tight=None, load=None, says=says)
    says = (
        f"of 100 pinheads counted {100 * m.survival:.0f} were harvested (middle of {m.survival_lots} lots); {expected}"
    )
    return Limit(name="survival", tight=m.survival < low, load=low / m.survival if m.survival > 0 else None, says=says)
