"""The shapes that cross the walls of the house: plain records of a farm, with no behaviour.

`files` reads and writes them, `book` keeps them, `desk` carries them between the two. Times are whole seconds
since 1970-01-01 UTC; a place is a `Place`; every other number carries its unit in its name or in `unit`.
An absent value is None, never an empty string.
"""

from __future__ import annotations

from typing import Any, Literal

import msgspec

Role = Literal["owner", "hand", "reader"]
ROLES: tuple[Role, ...] = ("owner", "hand", "reader")

Duty = Literal["breeding", "nursery", "grow-out"]
DUTIES: tuple[Duty, ...] = ("breeding", "nursery", "grow-out")

Stage = Literal["pinhead", "nymph", "adult"]
STAGES: tuple[Stage, ...] = ("pinhead", "nymph", "adult")

UNITS: tuple[str, ...] = ("crickets", "pinheads", "eggs", "g", "kg", "l")

SPECIES: tuple[str, ...] = ("acheta-domesticus", "gryllodes-sigillatus", "gryllus-bimaculatus")

WEEKDAYS: tuple[str, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

DEEDS: tuple[str, ...] = (
    "stock", "lay", "pull", "hatch", "empty", "feed", "water", "clean", "count", "weigh", "deaths", "move", "split",
    "join", "take", "harvest", "retire", "pack", "ship", "note", "correct",
)  # fmt: skip

Days = int | tuple[str, ...]
"""How often something is done: every so many days, or on the named weekdays."""


class Record(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A frozen record; `extra` holds the columns of the farm's own that this tool does not know, as they came."""

    extra: dict[str, Any] = {}


class SizeClass(Record, frozen=True, kw_only=True):
    """A named band of body mass, from `from_mg` up to the next class; `from_mm` where it begins at a body length.

    It sells by the kilogram or by the thousand, in the farm's currency, where a price of its own is given.
    """

    name: str
    from_mg: float
    from_mm: float | None = None
    price_per_kg: float | None = None
    price_per_thousand: float | None = None


class FarmCard(Record, frozen=True, kw_only=True):
    """What `farm.toml` says: the farm as a whole."""

    name: str
    species: str = "acheta-domesticus"
    timezone: str = "UTC"
    currency: str = "EUR"
    wage_per_hour: float = 0.0
    swap_days: Days = 3
    feed_days: Days = 3
    substrate_cycles: int = 3
    size_classes: tuple[SizeClass, ...] = ()


class Room(Record, frozen=True, kw_only=True):
    """An insulated room with its set points [degC, %]."""

    room: str
    set_temperature_c: float
    set_humidity_pct: float | None = None


class Bin(Record, frozen=True, kw_only=True):
    """A vessel crickets live in, where it stood at first, with its floor and hide surfaces [cm2]."""

    bin: str
    room: str
    stack: int
    level: int
    duty: str
    floor_cm2: float
    hides_cm2: float = 0.0


class TrayType(Record, frozen=True, kw_only=True):
    """A size of laying tray [cm]; `clear_side_cm` is the length of its see-through wall."""

    tray_type: str
    length_cm: float
    width_cm: float
    depth_cm: float
    clear_side_cm: float | None = None


class Person(Record, frozen=True, kw_only=True):
    """Somebody who works with the book."""

    person: str
    role: str


class Entry(Record, frozen=True, kw_only=True):
    """One fact of the book: what was seen or done, when, by whom. Columns as on the design page."""

    id: str
    at: int
    deed: str
    person: str | None = None
    bin: str | None = None
    lot: str | None = None
    clutch: str | None = None
    tray_type: str | None = None
    substrate: str | None = None
    cycle: int | None = None
    to_bin: str | None = None
    to_lot: str | None = None
    to_place: str | None = None
    from_lots: tuple[str, ...] = ()
    stage: str | None = None
    age_days: float | None = None
    quantity: float | None = None
    unit: str | None = None
    cv: float | None = None
    sample: int | None = None
    minutes: float | None = None
    note: str | None = None
    replaces: str | None = None


class Reading(Record, frozen=True, kw_only=True):
    """Air measured at a place: temperature [degC], relative humidity [%]; level None means the room as a whole."""

    at: int
    room: str
    level: int | None = None
    temperature_c: float
    humidity_pct: float | None = None


class FarmFolder(msgspec.Struct, kw_only=True):
    """A whole farm as plain records: what a folder or a workbook holds."""

    farm: FarmCard
    rooms: list[Room] = []
    bins: list[Bin] = []
    tray_types: list[TrayType] = []
    people: list[Person] = []
    entries: list[Entry] = []
    readings: list[Reading] = []


class Fault(msgspec.Struct, frozen=True, kw_only=True):
    """Something wrong in a file or a form: where, what was found, what was expected, in the farmer's words."""

    file: str
    line: int | None = None
    column: str | None = None
    found: str = ""
    expected: str = ""

    def __str__(self) -> str:
        where = self.file + (f", line {self.line}" if self.line else "") + (f", {self.column}" if self.column else "")
        found = f": found {self.found}" if self.found else ""
        return f"{where}{found}; expected {self.expected}." if self.expected else f"{where}{found}."
