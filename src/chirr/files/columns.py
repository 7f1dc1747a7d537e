"""The sheets of a farm and their columns: the one table that reading, writing, workbook and template go by."""

from __future__ import annotations

from typing import Any

import msgspec

from chirr import records
from chirr.files.kinds import LEVEL, STACK, Choice, Days, Id, Kind, Name, Names, Number, Place, Text, Time, Zone


class Column(msgspec.Struct, frozen=True, kw_only=True):
    """A column: what it holds, whether it must be filled, what an empty cell stands for, what it means."""

    name: str
    kind: Kind
    says: str
    required: bool = False
    empty: Any = None


class Sheet(msgspec.Struct, frozen=True, kw_only=True):
    """A kind of row: its columns in the order they are written, and the record that a row becomes.

    `field` is where FarmFolder keeps these; `key` the column that names a row, where one does.
    """

    name: str
    record: type[records.Record]
    columns: tuple[Column, ...]
    says: str
    example: str
    key: str | None = None
    required: bool = False

    @property
    def file(self) -> str:
        """The file that holds it in a farm folder."""
        return f"{self.name}.csv"


def _column(name: str, kind: Kind, says: str, *, must: bool = False, empty: Any = None) -> Column:
    return Column(name=name, kind=kind, says=says, required=must, empty=empty)


_LOT = Name(without=";", thing="lot")
_TEMPERATURE = Number(-30, 60)
_HUMIDITY = Number(0, 100)
_SIDE_CM = Number(0, 500, above=True)

ROOMS = Sheet(
    name="rooms", record=records.Room, key="room", required=True,
    says="The insulated rooms, each with the temperature and humidity that it is set to.",
    example="west,29.5,60",
    columns=(
        _column("room", Name(), "the room's name", must=True),
        _column("set_temperature_c", _TEMPERATURE, "temperature it is set to, degrees Celsius", must=True),
        _column("set_humidity_pct", _HUMIDITY, "relative humidity it is set to, per cent"),
    ),
)  # fmt: skip

BINS = Sheet(
    name="bins", record=records.Bin, key="bin", required=True,
    says="The bins, each where it stood when the book begins.",
    example="W3-2,west,3,2,grow-out,5400,21000",
    columns=(
        _column("bin", Name(thing="bin"), "the bin's name, as on its label", must=True),
        _column("room", Name("rooms", thing="room"), "the room it stands in", must=True),
        _column("stack", STACK, "the stack it stands in, counted along the room", must=True),
        _column("level", LEVEL, "its level in the stack, 1 is the lowest", must=True),
        _column("duty", Choice(records.DUTIES), "what it is for", must=True),
        _column("floor_cm2", Number(0, 1_000_000, above=True), "floor of the bin, square centimetres", must=True),
        _column("hides_cm2", Number(0, 10_000_000), "surface of its hides, square centimetres", empty=0.0),
    ),
)  # fmt: skip

TRAY_TYPES = Sheet(
    name="tray_types", record=records.TrayType, key="tray_type",
    says="The sizes of laying tray.",
    example="shallow,28,19,5,28",
    columns=(
        _column("tray_type", Name(thing="tray type"), "your name for this size", must=True),
        _column("length_cm", _SIDE_CM, "length, centimetres", must=True),
        _column("width_cm", _SIDE_CM, "width, centimetres", must=True),
        _column("depth_cm", _SIDE_CM, "depth, centimetres", must=True),
        _column("clear_side_cm", Number(0, 500), "length of its see-through wall, centimetres, if it has one"),
    ),
)  # fmt: skip

PEOPLE = Sheet(
    name="people",
    record=records.Person,
    key="person",
    says="Who works with the book. An owner may change everything, a hand writes entries, a reader only looks.",
    example="wanda,hand",
    columns=(
        _column("person", Name(thing="person"), "the name that stands in the entries", must=True),
        _column("role", Choice(records.ROLES), "what they may do", must=True),
    ),
)

ENTRIES = Sheet(
    name="entries", record=records.Entry, key="id", required=True,
    says="What was seen and done, one row for each deed. README.txt says which columns each deed needs.",
    example=",2031-05-06T08:20,wanda,feed,W3-2,,,,,,,,,,,,250,g,,,2,,",
    columns=(
        _column("id", Id(), "name of the row, made from its words when there is none", empty=""),
        _column("at", Time(), "when, in the farm's time zone or with an offset", must=True),
        _column("person", Name("people", thing="person"), "who did it"),
        _column("deed", Choice(records.DEEDS, thing="deed"), "what was done", must=True),
        _column("bin", Name("bins", thing="bin"), "the bin"),
        _column("lot", _LOT, "the lot: crickets that live and are traced together"),
        _column("clutch", Name(), "the clutch: the eggs of one tray from one stay in a bin"),
        _column("tray_type", Name("tray_types", thing="tray type"), "the size of tray"),
        _column("substrate", Name(), "the batch of substrate in the tray"),
        _column("cycle", Number(1, 50, whole=True), "which use of that substrate this is"),
        _column("to_bin", Name("bins", thing="bin"), "the bin it goes to"),
        _column("to_lot", _LOT, "the lot it goes to"),
        _column("to_place", Place(), "the place it goes to"),
        _column("from_lots", Names(), "the lots that become one", empty=()),
        _column("stage", Choice(records.STAGES), "how far along the crickets are"),
        _column("age_days", Number(0, 400), "their age in days, within that stage"),
        _column("quantity", Number(0, 1e9), "how much or how many"),
        _column("unit", Choice(records.UNITS), "of what"),
        _column("cv", Number(0, 3, above=True), "relative standard error of the quantity, 0.1 is ten per cent"),
        _column("sample", Number(1, 1_000_000, whole=True), "crickets in a weighed sample"),
        _column("minutes", Number(0, 1440), "minutes it took"),
        _column("note", Text(), "anything to be remembered"),
        _column("replaces", Id(), "id of an earlier entry that was wrong"),
    ),
)  # fmt: skip

READINGS = Sheet(
    name="readings", record=records.Reading,
    says="Air measured in a room, or at one level of it.",
    example="2031-05-06T06:00,west,2,29.1,61",
    columns=(
        _column("at", Time(), "when, in the farm's time zone or with an offset", must=True),
        _column("room", Name("rooms", thing="room"), "the room", must=True),
        _column("level", LEVEL, "the level; empty for the room as a whole"),
        _column("temperature_c", _TEMPERATURE, "air temperature, degrees Celsius", must=True),
        _column("humidity_pct", _HUMIDITY, "relative humidity, per cent"),
    ),
)  # fmt: skip

SHEETS: tuple[Sheet, ...] = (ROOMS, BINS, TRAY_TYPES, PEOPLE, ENTRIES, READINGS)
"""In the order they must be read: a sheet comes after those whose names it uses."""

SIZE_CLASSES = Sheet(
    name="size_classes",
    record=records.SizeClass,
    key="name",
    says="The farm's own bands of body mass or length, from the smallest up.",
    example="half grown,60,,,",
    columns=(
        _column("name", Name(), "your name for the class", must=True),
        _column("from_mg", Number(0, 100_000), "smallest body mass in it, milligrams"),
        _column("from_mm", Number(0, 300), "smallest body length in it, millimetres, where it goes by length"),
        _column("price_per_kg", Number(0, 1e6), "what a kilogram of it sells for, where it has a price of its own"),
        _column("price_per_thousand", Number(0, 1e6), "what a thousand of it sell for, where they go by number"),
    ),
)
"""A sheet of the workbook only; in a folder the classes stand in farm.toml."""

CARD: tuple[Column, ...] = (
    _column("name", Name(at_most=200), "the farm's name", must=True),
    _column("species", Choice(records.SPECIES, thing="species"), "the species kept", must=True),
    _column("timezone", Zone(), "the time zone the farm's clocks show", must=True),
    _column("currency", Name(), "the currency of the wage, three letters", empty="EUR"),
    _column("wage_per_hour", Number(0, 1e6), "what an hour of work costs", empty=0.0),
    _column("swap_days", Days(), "how often laying trays are swapped", empty=3),
    _column("feed_days", Days(), "how often bins are fed", empty=3),
    _column("substrate_cycles", Number(1, 50, whole=True), "how often laying substrate is used", empty=3),
)
"""The keys of farm.toml, and the names on the sheet `farm` of a workbook."""
