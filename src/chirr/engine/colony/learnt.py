"""What was learnt so far, by name, so that the next search starts where the last one ended.

A start changes how soon the search is there, not where it ends: belief depends on the facts alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.history import FarmHistory
from chirr.engine.colony.latents import FARM, Latents, prior_spreads
from chirr.engine.colony.schedule import Schedule

if TYPE_CHECKING:
    from chirr.engine.colony.belief import Belief

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Learnt:
    """Unknowns in standard units by the name of what they belong to; factors on the prior spreads.

    farm: unknown -> value; tray_type, room: one value each, in the farm's order; things: 'clutch NAME', 'lot NAME',
    'entry ID', 'substrate NAME' -> values; clutch, lot: spread factors; facts: how many there were.
    """

    farm: dict[str, float] = field(default_factory=dict)
    things: dict[str, list[float]] = field(default_factory=dict)
    tray_type: tuple[float, ...] = ()
    room: tuple[float, ...] = ()
    clutch: tuple[float, ...] = ()
    lot: tuple[float, ...] = ()
    facts: int = 0


def learnt_of(belief: Belief) -> Learnt:
    """What a belief has learnt, to start the next search from."""
    z, latents, history, schedule = belief.mode, belief.latents, belief.history, belief.schedule
    things = {f"clutch {c.name}": z[latents.clutch[:, i]].tolist() for i, c in enumerate(history.clutches)}
    for i, lot in enumerate(history.lots):
        if latents.lot[0, i] >= 0:
            things[f"lot {lot.name}"] = z[latents.lot[:, i]].tolist()
    for row in np.flatnonzero(latents.happening >= 0):
        things[f"entry {schedule.entry[row]}"] = [float(z[latents.happening[row]])]

    for name, k in zip(history.substrates, latents.substrate, strict=True):
        things[f"substrate {name}"] = [float(z[k])]

    def factor(now: Floats, first: Floats) -> tuple[float, ...]:
        return tuple((now[:, 0] / first).tolist()) if now.shape[1] else ()

    return Learnt(
        farm=dict(zip(FARM, z[: len(FARM)].tolist(), strict=True)), things=things,
        tray_type=tuple(z[latents.tray_type].tolist()), room=tuple(z[latents.room].tolist()),
        facts=len(belief.facts.what),
        clutch=factor(latents.clutch_sd, prior_spreads()[0]), lot=factor(latents.lot_sd, prior_spreads()[1]),
    )  # fmt: skip


def start_at(learnt: Learnt, history: FarmHistory, schedule: Schedule, latents: Latents) -> Floats:
    """A vector of unknowns to start from: what was learnt of each thing, zero for those that are new."""
    z = np.zeros(latents.size)
    for i, name in enumerate(FARM):
        z[i] = learnt.farm.get(name, 0.0)
    for index, values in ((latents.tray_type, learnt.tray_type), (latents.room, learnt.room)):
        if len(index) == len(values):
            z[index] = values

    def put(index: NDArray[np.int64], name: str) -> None:
        own = learnt.things.get(name)
        if own is not None and len(own) == len(index) and index[0] >= 0:
            z[index] = own

    for i, c in enumerate(history.clutches):
        put(latents.clutch[:, i], f"clutch {c.name}")
    for i, lot in enumerate(history.lots):
        put(latents.lot[:, i], f"lot {lot.name}")
    for n, name in enumerate(history.substrates):
        put(latents.substrate[n : n + 1], f"substrate {name}")
    for row in np.flatnonzero(latents.happening >= 0):
        put(latents.happening[row : row + 1], f"entry {schedule.entry[row]}")
    return np.where(np.isfinite(z), np.clip(z, -20, 20), 0.0)
