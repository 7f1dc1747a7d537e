"""How what each fact should have been changes with each unknown: derivatives taken through the walk itself.

What the farm's level does to a lot, it mostly does as the lot's own luck would: faster by so much, so many more
pinheads. So a lot is walked beside what is believed in the directions of its own unknowns, and most of the farm's are
had from those by the chain rule. Only what is felt on the way (a room's warmth, how long adults live) is walked for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from chirr.engine.colony.facts import Facts, predict, spread
from chirr.engine.colony.handfuls import HATCH, Handful
from chirr.engine.colony.latents import FARM, farm_level
from chirr.engine.colony.walk import Biology, Cohorts, Laid, Told, clutches_of, own_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STEP = 0.001
"""How far beside, in standard units: small, since what one thousand facts err by in one way moves the farm's level."""

FELT_ON_THE_WAY = ("hatchling_mass", "longevity")
"""Unknowns of the farm that no clutch or lot has of its own and none starts with; the warmth of rooms is another."""

SPEED, EGGS = 0, 1
_NOTHING = 1e-12
"""A slope so flat that nothing follows from it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What some facts should have been, the spread of their errors, and their slopes.

    said, sd: shape (facts,); by_farm: (facts, farm's unknowns); local: (pairs of a handful,).
    """

    said: Floats
    sd: Floats
    by_farm: Floats
    local: Floats


def see(h: Handful, z: Floats, laid: Laid, bio: Biology) -> Seen:
    """Walk a handful at `z`, shape (unknowns of its part,), and beside it."""
    eggs = _clutches_beside(h, z, laid, bio)
    shown = predict(eggs, h.of_clutches)
    slopes = _slopes(shown)
    of_lots = _see_lots(h, z, eggs, laid, bio)
    return Seen(
        said=np.concatenate([of_lots.said, shown[:, 0]]),
        sd=np.concatenate([of_lots.sd, h.of_clutches.log_sd]),
        by_farm=np.concatenate([of_lots.by_farm, slopes[:, : h.farm]]),
        local=np.concatenate([of_lots.local, slopes[:, h.farm :].ravel()]),
    )


def _slopes(shown: Floats) -> Floats:
    """Derivatives from what is shown in the first column and, a step beside it, in each of the others."""
    return np.asarray((shown[..., 1:] - shown[..., :1]) / STEP)


def _beside(z: Floats, unknowns: Ints, column: Ints, columns: int) -> Floats:
    """`z` itself in the first column, and in so many others, counted from 0, some unknowns a step further."""
    out = np.repeat(z[:, None], 1 + columns, axis=1)
    out[unknowns, 1 + column] += STEP
    return out


def _clutches_beside(h: Handful, z: Floats, laid: Laid, bio: Biology) -> Told:
    """The clutches at `z`, and a step aside in each of the farm's unknowns and then in each of their own three."""
    latents, clutches = h.part.latents, np.arange(len(h.part.clutches))
    own = np.repeat(np.arange(3), len(clutches))
    unknowns = np.concatenate([np.arange(h.farm), latents.clutch.ravel()])
    beside = _beside(z, unknowns, np.concatenate([np.arange(h.farm), h.farm + own]), h.farm + 3)
    farm, none = farm_level(beside, latents, bio.species), np.zeros((0, beside.shape[1]))
    told = clutches_of(beside, farm, latents, h.part.arrays, laid.some(h.part.clutches), bio, only=clutches)
    return Told(
        lots=Cohorts.none(0, 0), clutches=told, farm=farm, log_number=none, log_mg=none, log_variance=none,
        adult_days=none,
    )  # fmt: skip


def _see_lots(h: Handful, z: Floats, eggs: Told, laid: Laid, bio: Biology) -> Seen:
    """What is seen of lots."""
    latents, facts = h.part.latents, h.of_lots
    felt = np.array([FARM.index(name) for name in FELT_ON_THE_WAY], dtype=np.int64)
    felt = np.concatenate([felt, latents.room[np.unique(h.part.schedule.room)]])
    own = np.flatnonzero(h.colour >= 0)
    column = np.concatenate([np.arange(len(felt)), len(felt) + h.colour[own]])
    columns = len(felt) + int(h.colour.max(initial=-1)) + 1
    told = h.tell(_beside(z, np.concatenate([felt, own]), column, columns), laid, bio)
    shown = predict(told, facts)
    slopes = _slopes(shown)

    pairs = h.of_fact < len(facts.what)
    fact, unknown = h.of_fact[pairs], h.bears[pairs]
    steps = _in_own_steps(h, z, eggs, bio)
    hatch = np.isin(unknown, latents.clutch[HATCH])
    like = np.where(hatch, unknown + EGGS - HATCH, unknown)
    local = slopes[fact, len(felt) + h.colour[like]] * np.where(hatch, steps[unknown, -1], 1.0)
    by_own = sparse.csr_matrix((local[~hatch], (fact[~hatch], unknown[~hatch])), shape=(len(facts.what), len(z)))
    by_farm = by_own @ steps[:, : h.farm] + _by_how_counted(facts, eggs)[:, : h.farm]
    by_farm[:, felt] = slopes[:, : len(felt)]
    return Seen(said=shown[:, 0], sd=spread(told, facts), by_farm=by_farm, local=local)


def _in_own_steps(h: Handful, z: Floats, eggs: Told, bio: Biology) -> Floats:
    """How many steps of a clutch's or lot's own unknown one of each of the farm's unknowns is, (unknowns, farm's + 1).

    How many a clutch draws its hatch share from counts like its eggs; the last column says, for the former, how many
    steps of the latter it is.
    """
    latents, out = h.part.latents, np.zeros((len(z), h.farm + 1))
    pace, number = _slopes(eggs.clutches.log_speed), _slopes(np.log(eggs.clutches.pinheads))
    out[latents.clutch[SPEED], : h.farm] = _ratio(pace[:, : h.farm], pace[:, h.farm + SPEED])
    out[latents.clutch[EGGS], : h.farm] = _ratio(number[:, : h.farm], number[:, h.farm + EGGS])
    out[latents.clutch[HATCH], h.farm] = _ratio(number[:, h.farm + HATCH, None], number[:, h.farm + EGGS])[:, 0]
    lots = np.flatnonzero(latents.lot[0] >= 0)
    unknowns = latents.lot[:, lots]
    column = np.concatenate([np.arange(h.farm), np.full(unknowns.size, h.farm)])
    beside = _beside(z, np.concatenate([np.arange(h.farm), unknowns.ravel()]), column, h.farm + 1)
    own = _slopes(own_of(lots, beside, latents, farm_level(beside, latents, bio.species)))
    for mine, slope in zip(unknowns, own, strict=True):
        out[mine, : h.farm] = _ratio(slope[:, : h.farm], slope[:, h.farm])
    return out


def _ratio(slopes: Floats, own: Floats) -> Floats:
    """Slopes, shape (things, n), in steps of the things' own, shape (things,); 0 where their own does nothing."""
    return np.where(np.abs(own) > _NOTHING, 1.0 / np.where(own == 0, 1.0, own), 0.0)[:, None] * slopes


def _by_how_counted(facts: Facts, eggs: Told) -> Floats:
    """Slopes of facts by the farm's unknowns that change what a count shows and not what is there."""
    slopes = _slopes(eggs.farm.seen)
    out = np.zeros((len(facts.what), slopes.shape[1]))
    for counted, slope in zip(facts.counted, slopes, strict=True):
        out[counted] = slope
    return out
