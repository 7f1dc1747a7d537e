"""What the engine is told of a farm: clutches and lots with their facts, as plain numbers.

Hours count from the start of the temperature grid; places and tray types are indices. Quantities known with an error
carry `log_sd`, the standard deviation of their logarithm.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Kind(IntEnum):
    """What can happen to a lot."""

    STOCK = 0
    ARRIVE = 1
    PLACE = 2
    COUNT = 3
    WEIGH = 4
    DEATHS = 5
    TAKE = 6
    TAKE_KG = 7
    OUT = 8
    IN = 9
    MIX = 10
    HARVEST = 11
    TICK = 12
    LAY = 13
    GONE = 14


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """One event of a lot's life.

    quantity: crickets, or kg for TAKE_KG and HARVEST, or the sample's mean mass [mg] for WEIGH. other: the clutch
    (ARRIVE, LAY) or the lot on the far side (OUT, IN, MIX). young: a COUNT of pinheads. place, surface_cm2: where the
    lot is from then on. x, adult_days: for STOCK, the developed share and adult age. entry: the entry behind it, to
    name it by.
    """

    hour: float
    kind: Kind
    place: int
    surface_cm2: float
    quantity: float = 0.0
    log_sd: float = 0.0
    sample: int = 0
    other: int = -1
    young: bool = False
    x: float = 0.0
    adult_days: float = 0.0
    entry: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClutchFacts:
    """One clutch.

    lot: the lot its pinheads join (-1 if none yet); breeders: the lot that laid it (-1 if unknown). `pulled_h` is when
    the tray came out, or is meant to. `starts_h` and `places` are its path, moves still to come as well. First
    pinheads came between the two hours of `first_between`; or none were there at `unseen_until_h`. `settled_h`: by
    then it had surely hatched. `since_cold_days`: from the last cold night of its breeders to the middle of its stay.
    cycle: which use of its substrate this is; substrate: which of the history's batches, -1 for none of them.
    egg_counts, pinhead_counts: (hour, count, log_sd, entry).
    """

    name: str
    lot: int
    breeders: int
    laid_h: float
    pulled_h: float
    tray_cm2: float
    tray_type: int
    starts_h: Floats
    places: Ints
    cycle: int = 1
    substrate: int = -1
    first_between: tuple[float, float] | None = None
    unseen_until_h: float | None = None
    settled_h: float | None = None
    dud: bool = False
    egg_counts: tuple[tuple[float, float, float, str], ...] = ()
    pinhead_counts: tuple[tuple[float, float, float, str], ...] = ()
    first_entry: str = ""
    since_cold_days: float = np.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualMove:
    """What this farm does with nursery lots: at which age [h] they are tipped over, to what place and surface."""

    age_h: float
    place: int
    surface_cm2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LotFacts:
    """One lot: its happenings in order of time. `nursery` lots are still to be moved; `began_h` is their hatch."""

    name: str
    happenings: tuple[Happening, ...]
    nursery: bool = False
    began_h: float | None = None
    ended_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmHistory:
    """All clutches and lots that belief is formed on, up to hour `now_h`."""

    clutches: tuple[ClutchFacts, ...]
    lots: tuple[LotFacts, ...]
    now_h: float
    tray_types: int = 0
    substrates: tuple[str, ...] = ()
    """Batches of substrate that may have something of their own."""
    usual_move: UsualMove | None = None
    place_room: Ints = field(default_factory=lambda: np.zeros(1, dtype=np.int64))
    """Room of each place."""
    measured_rooms: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(1, dtype=bool))
    """Rooms in which a thermometer hangs."""
