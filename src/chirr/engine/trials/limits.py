"""What limits a farm: eggs, space, survival or labour, from four measures of its book, and why in words."""

from __future__ import annotations

from dataclasses import dataclass

from chirr.says import Said, joined, said, word

NAMES = (word("space"), word("labour"), word("survival"), word("eggs"))
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
        says = said("more eggs would meet {names} first", names=_and([said(x.name) for x in others if x.tight]))
        return (*others, Limit(name="eggs", tight=False, load=None, says=says))
    unknown = any(x.tight is None for x in others)
    says = (
        said("bins stand empty and hands have time, so more eggs could be raised, as far as the book tells")
        if unknown
        else said("bins stand empty and hands have time, so more eggs could be raised")
    )
    return (*others, Limit(name="eggs", tight=True, load=None, says=says))


def _and(names: list[Said]) -> Said:
    if len(names) < 2:
        return names[0]
    return said("{names} and {last}", names=joined(names[:-1], " and "), last=names[-1])


def limiting(found: tuple[Limit, ...]) -> Limit:
    """The one that limits the farm."""
    return next(x for name in NAMES for x in found if x.name == name and x.tight)


def _space(m: Measures) -> Limit:
    if m.bins == 0:
        return Limit(name="space", tight=True, load=None, says=said("there is no nursery or grow-out bin"))
    says = said("{empty} of {bins} nursery and grow-out bins are empty", empty=m.empty_bins, bins=m.bins)
    crowded = m.crowded_lots / m.lots if m.lots else 0.0
    if m.lots:
        says = said(
            "{says}; {crowded} of {lots} growing lots stand above {knee:g} crickets on a cm2",
            says=says, crowded=m.crowded_lots, lots=m.lots, knee=m.knee,
        )  # fmt: skip
    if m.nursery_density is not None:
        says = said("{says}, nursery lots at {density:.2g} in the middle", says=says, density=m.nursery_density)
    full = m.empty_bins == 0 or m.empty_bins < FULL * m.bins
    return Limit(
        name="space", tight=full or crowded >= CROWDED, says=says,
        load=max((1 - m.empty_bins / m.bins) / (1 - FULL), crowded / CROWDED),
    )  # fmt: skip


def _labour(m: Measures) -> Limit:
    if m.hours_there <= 0 or m.hours <= 0:
        says = said("no deed was written down of late") if m.hours <= 0 else said("nobody's hours are known")
        return Limit(name="labour", tight=None, load=None, says=says)
    share = m.hours / m.hours_there
    says = said(
        "what is written down takes {hours:.3g} hours a week of the {there:.3g} that people have for it",
        hours=m.hours, there=m.hours_there,
    )  # fmt: skip
    return Limit(name="labour", tight=share > BUSY, load=share / BUSY, says=says)


def _survival(m: Measures) -> Limit:
    low, high = m.band
    expected = said("the table of values leads to {low:.0f} to {high:.0f}", low=100 * low, high=100 * high)
    if m.survival is None or m.survival_lots < FEW_LOTS:
        says = said(
            "only {n} lots have both pinheads counted and a weighed harvest; {expected} of 100",
            n=m.survival_lots, expected=expected,
        )  # fmt: skip
        return Limit(name="survival", tight=None, load=None, says=says)
    says = said(
        "of 100 pinheads counted {n:.0f} were harvested (middle of {lots} lots); {expected}",
        n=100 * m.survival, lots=m.survival_lots, expected=expected,
    )  # fmt: skip
    return Limit(name="survival", tight=m.survival < low, load=low / m.survival if m.survival > 0 else None, says=says)
