"""The state of the made-up farm as its people go round: bins, lots, trays, substrate, and the day that it is."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from chirr.demo.animals import Clutch, Lot
from chirr.demo.diary import Diary
from chirr.demo.scenario import ZONE, Habits, Nature
from chirr.demo.weather import Climate
from chirr.records import Bin


@dataclass(kw_only=True)
class Box:
    """A bin: where it stands and who is in it. `lot` may be a lot whose trays are still to hatch."""

    name: str
    room: str
    stack: int
    level: int
    duty: str
    surface_cm2: float
    lot: str | None = None
    dirty: bool = False
    vacated_day: int = -9

    @property
    def free(self) -> bool:
        return self.lot is None and not self.dirty


@dataclass(kw_only=True)
class Batch:
    """A mixed lot of laying substrate."""

    name: str
    fills_left: int
    mouldy: bool = False


@dataclass(kw_only=True)
class Dairy:
    """Everything that is on the farm, and the hand that writes."""

    climate: Climate
    nature: Nature
    habits: Habits
    diary: Diary
    rng: np.random.Generator
    boxes: dict[str, Box]
    first_day: date
    last_day: int
    """Number of the day that is today; the first day of the book is 0."""
    factor: float
    rack_stack: int
    lots: dict[str, Lot] = field(default_factory=dict)
    ended: list[Lot] = field(default_factory=list)
    clutches: dict[str, Clutch] = field(default_factory=dict)
    done_clutches: list[Clutch] = field(default_factory=list)
    batches: list[Batch] = field(default_factory=list)
    used_substrate: list[tuple[str, int]] = field(default_factory=list)
    """Spent substrate fit for another use: batch, and the cycle that it would be."""
    mouldy: set[str] = field(default_factory=set)
    cold_until_h: dict[str, float] = field(default_factory=dict)
    day: int = 0
    day_s: int = 0
    numbers: dict[str, int] = field(default_factory=dict)

    def start_day(self, day: int) -> None:
        """It is the morning of this day."""
        self.day = day
        self.day_s = midnight_s(self.first_day + timedelta(days=day))

    @property
    def weekday(self) -> int:
        return (self.first_day + timedelta(days=self.day)).weekday()

    @property
    def hour(self) -> float:
        """Hour of the climate's grid at the diary's present time."""
        return self.climate.hour(self.diary.at)

    def begin(self, clock: float, who: str) -> None:
        """Somebody starts a part of the round at this hour of the day."""
        self.diary.begin(self.day_s + round(clock * 3600), who)

    def number(self, letter: str) -> str:
        """The next name of a kind, such as K0012."""
        self.numbers[letter] = self.numbers.get(letter, 0) + 1
        return f"{letter}{self.numbers[letter]:04d}" if letter == "K" else f"{letter}{self.numbers[letter]:03d}"

    def row(self, room: str, level: int) -> int:
        """Row of the climate for a place."""
        return self.climate.rows[room, level]

    def free(self, duty: str) -> list[Box]:
        """Clean, empty bins for a duty, nearest the door first."""
        return [b for b in self.boxes.values() if b.duty == duty and b.free]

    def new_lot(self, name: str, kind: str, box: Box, **more: float) -> Lot:
        """A lot comes to live, or its trays to hatch, in a bin."""
        n, rng = self.nature, self.rng
        lot = Lot(
            name=name, kind=kind, bin=box.name, row=self.row(box.room, box.level), surface_cm2=box.surface_cm2,
            hour=self.hour,
            speed=more.get("speed", float(np.exp(n.lot_speed_sd * rng.standard_normal()))),
            size=more.get("size", float(np.exp(n.lot_size_sd * rng.standard_normal()))),
            frail=more.get("frail", float(np.exp(n.lot_frail_sd * rng.standard_normal()))),
            watched=bool(rng.random() < 0.6), counted=bool(rng.random() < 0.75),
        )  # fmt: skip
        box.lot = name
        self.lots[name] = lot
        return lot

    def part(self, lot: Lot, name: str, kind: str, box: Box, crickets: int) -> Lot:
        """Some of a lot become a lot of their own."""
        child = self.new_lot(name, kind, box, speed=lot.speed, size=lot.size, frail=lot.frail)
        crickets = min(crickets, lot.alive)
        lot.alive -= crickets
        child.alive, child.x, child.x_var, child.adult_days = crickets, lot.x, lot.x_var, lot.adult_days
        child.warmth, child.warm_days, child.began_day = lot.warmth, lot.warm_days, lot.began_day
        return child

    def carry(self, lot: Lot, box: Box) -> None:
        """All of a lot are tipped into another bin."""
        self.vacate(self.boxes[lot.bin])
        box.lot = lot.name
        lot.settle(box.name, self.row(box.room, box.level), box.surface_cm2)

    def vacate(self, box: Box) -> None:
        """Nobody lives here any more."""
        box.lot, box.dirty, box.vacated_day = None, True, self.day

    def end(self, lot: Lot) -> None:
        """The lot is over."""
        self.vacate(self.boxes[lot.bin])
        lot.ended_day = self.day
        self.ended.append(self.lots.pop(lot.name))

    def trays_in(self, box_name: str) -> list[Clutch]:
        """Trays standing in a bin, laying or hatching."""
        return [c for c in self.clutches.values() if c.place is None and c.bin == box_name]

    def live(self, kind: str) -> list[Lot]:
        """Living lots of a kind that have begun, in order of name."""
        return [lot for lot in self.lots.values() if lot.kind == kind and lot.began_day is not None]

    def about(self, crickets: float, cv: float) -> int:
        """A count with its error, as somebody would write it down."""
        counted = max(1.0, crickets * float(np.exp(cv * self.rng.standard_normal())))
        digits = -max(len(str(int(counted))) - 2, 0)
        return max(1, int(round(counted, digits)))


def midnight_s(day: date) -> int:
    """Epoch seconds of the start of a day at the dairy."""
    return int(datetime.combine(day, time(), ZoneInfo(ZONE)).timestamp())


def boxes_of(bins: list[Bin]) -> dict[str, Box]:
    """The bins of the farm, all clean and empty."""
    return {
        b.bin: Box(
            name=b.bin, room=b.room, stack=b.stack, level=b.level, duty=b.duty, surface_cm2=b.floor_cm2 + b.hides_cm2
        )
        for b in bins
    }
