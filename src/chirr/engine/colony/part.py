"""Some lots and clutches of a farm as a small farm of their own, so that a walk costs what they cost.

Everything is numbered anew. What no wanted happening rests on is left out: what a lot goes through after its last
fact, for one, when only facts are wanted.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.history import Kind
from chirr.engine.colony.latents import Latents
from chirr.engine.colony.schedule import ClutchArrays, Schedule, in_waves

Ints = NDArray[np.int64]
Marks = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part of a farm, and the numbers that its unknowns, happenings, lots and clutches have on the whole farm.

    The farm's own unknowns are all there and come first. `latents.families` is left as that of the whole farm.
    """

    latents: Latents
    schedule: Schedule
    arrays: ClutchArrays
    unknowns: Ints
    happenings: Ints
    lots: Ints
    clutches: Ints

    @classmethod
    def of(
        cls,
        latents: Latents,
        schedule: Schedule,
        arrays: ClutchArrays,
        *,
        lots: Marks,
        clutches: Ints | None = None,
        happenings: Marks | None = None,
    ) -> Part:
        """The marked lots, whose parents must be among them, with the clutches that join them and some others.

        happenings: marks of those to be told, by default all of these lots.
        """
        told = lots[schedule.lot] if happenings is None else lots[schedule.lot] & happenings
        rows = np.flatnonzero(told)
        eggs = (arrays.lot >= 0) & np.append(lots, False)[arrays.lot]
        if clutches is not None:
            eggs[clutches] = True
        which, some = np.flatnonzero(lots), np.flatnonzero(eggs)
        own = [latents.clutch[:, some].ravel(), latents.lot[:, which].ravel(), latents.happening[rows]]
        numbers = np.sort(np.concatenate(own))
        farm = np.flatnonzero(latents.families.family < 0)
        unknowns = np.concatenate([farm, numbers[np.searchsorted(numbers, 0) :]])
        return cls(
            latents=_latents(latents, unknowns, which, some, rows),
            schedule=_schedule(schedule, rows, which, _numbers(some, len(arrays.lot))),
            arrays=_clutches(arrays, some, _numbers(which, len(lots))),
            unknowns=unknowns,
            happenings=rows,
            lots=which,
            clutches=some,
        )


def _numbers(chosen: Ints, size: int) -> Ints:
    """New numbers by the old ones, -1 for what is left out and, at the end, for -1 itself."""
    out = np.full(size + 1, -1, dtype=np.int64)
    out[chosen] = np.arange(len(chosen))
    return out


def _latents(latents: Latents, unknowns: Ints, lots: Ints, clutches: Ints, rows: Ints) -> Latents:
    new = _numbers(unknowns, latents.size)
    return replace(
        latents,
        size=len(unknowns),
        clutch=new[latents.clutch[:, clutches]],
        clutch_sd=latents.clutch_sd[:, clutches],
        lot=new[latents.lot[:, lots]],
        lot_sd=latents.lot_sd[:, lots],
        happening=new[latents.happening[rows]],
    )


def _schedule(s: Schedule, rows: Ints, lots: Ints, clutch: Ints) -> Schedule:
    lot, row = _numbers(lots, len(s.last_hour)), _numbers(rows, len(s.lot))
    kind, other = s.kind[rows], s.other[rows]
    of_clutch = (kind == Kind.ARRIVE) | (kind == Kind.LAY)
    elsewhere = np.empty_like(other)
    elsewhere[of_clutch], elsewhere[~of_clutch] = clutch[other[of_clutch]], lot[other[~of_clutch]]
    arrays = (
        "level", "quantity", "sample", "young", "room", "x", "adult_days", "surface_cm2", "hatched", "log_sd", "hour"
    )  # fmt: skip
    return replace(
        s,
        **{name: getattr(s, name)[rows] for name in arrays},
        waves=in_waves(kind, s.level[rows]),
        kind=kind,
        lot=lot[s.lot[rows]],
        other=elsewhere,
        source=row[s.source[rows]],
        passed=s.passed[:, rows],
        entry=(),
        last_hour=s.last_hour[lots],
        last_place=s.last_place[lots],
        last_surface_cm2=s.last_surface_cm2[lots],
    )


def _clutches(a: ClutchArrays, some: Ints, lot: Ints) -> ClutchArrays:
    arrays = {f.name: getattr(a, f.name)[some] for f in fields(a)}
    return replace(a, **arrays | {"lot": lot[a.lot[some]]})


def rested_on(schedule: Schedule, wanted: Marks) -> Marks:
    """Marks of the happenings that must be told for the wanted ones to be known, themselves included."""
    told, gone = wanted.copy(), np.zeros(len(wanted), dtype=bool)
    followed = np.zeros(len(schedule.last_hour), dtype=bool)
    for wave in reversed(schedule.waves):
        lot, source = schedule.lot[wave.rows], schedule.source[wave.rows]
        told[wave.rows] |= followed[lot] | gone[wave.rows]
        followed[lot] |= told[wave.rows]
        came = told[wave.rows] & (source >= 0)
        gone[source[came]] = True
    return told
