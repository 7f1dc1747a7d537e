"""How the farm stands: what the facts of the book say of every lot, clutch, bin and substrate batch.

Facts only: no belief, no forecast. A `Standing` can be thrown away at any time and replayed from the entries.
Times are epoch seconds.
"""

from __future__ import annotations

import msgspec

VISIT_GAP_S = 4 * 3600
"""Entries at one bin closer together than this belong to one visit."""


class Stay(msgspec.Struct):
    """From `at` on, the thing stands here; `bin` is None on a hatch rack."""

    at: int
    room: str
    stack: int
    level: int
    bin: str | None = None


class Fact(msgspec.Struct):
    """One thing that was measured or that happened to a lot or clutch.

    kind: stock, arrive, count, weigh, deaths, take, out (split away), in (came by split), mix (came by join),
    place (moved). `other` names the lot or clutch on the far side.
    """

    at: int
    kind: str
    entry: str
    quantity: float | None = None
    unit: str | None = None
    cv: float | None = None
    sample: int | None = None
    other: str | None = None


class Clutch(msgspec.Struct):
    """The eggs of one laying tray from one stay in a bin."""

    name: str
    lot: str
    bin: str
    tray_type: str
    laid_at: int
    laid_entry: str
    substrate: str | None = None
    cycle: int | None = None
    pulled_at: int | None = None
    to_lot: str | None = None
    stays: list[Stay] = []
    hatched_at: int | None = None
    looked_at: int | None = None
    """Last visit before the first pinheads were seen: they came between `looked_at` and `hatched_at`."""
    emptied_at: int | None = None
    reused: bool | None = None
    facts: list[Fact] = []

    @property
    def here(self) -> Stay:
        return self.stays[-1]


class Lot(msgspec.Struct):
    """Crickets that live and are traced together."""

    name: str
    origin: str
    """stock, clutches, split or join"""
    named_at: int
    began_at: int | None = None
    """When its first animals were there; None while all its clutches are still to hatch."""
    stage: str | None = None
    age_days: float | None = None
    bin: str | None = None
    stays: list[Stay] = []
    clutches: list[str] = []
    parents: list[str] = []
    facts: list[Fact] = []
    ended_at: int | None = None
    ended_by: str | None = None
    end_kg: float | None = None

    @property
    def alive(self) -> bool:
        return self.ended_at is None


class BinNow(msgspec.Struct):
    """A bin: where it stands, who is in it, when it was last cared for."""

    name: str
    duty: str
    floor_cm2: float
    hides_cm2: float
    room: str
    stack: int
    level: int
    lots: list[str] = []
    trays: list[str] = []
    """Clutches being laid in this bin now."""
    hatching: list[str] = []
    """Clutches pulled into this bin and not yet emptied."""
    fed_at: int | None = None
    watered_at: int | None = None
    cleaned_at: int | None = None
    vacated_at: int | None = None
    seen_at: int | None = None
    """The latest visit."""
    seen_before: int | None = None
    """The visit before the latest."""


class Substrate(msgspec.Struct):
    """A mixed batch of laying substrate: trays by cycle of use."""

    name: str
    first_at: int
    cycles: dict[int, list[str]] = {}


class Misfit(msgspec.Struct, frozen=True):
    """An entry that the rest of the book contradicts: kept, shown to a person, and left out of the standing."""

    entry: str
    column: str
    found: str
    expected: str

    def __str__(self) -> str:
        return f"{self.column}: {self.found}; expected {self.expected}."


class Standing(msgspec.Struct):
    """The whole farm, as the entries up to `at` tell it."""

    at: int = 0
    entries: int = 0
    lots: dict[str, Lot] = {}
    clutches: dict[str, Clutch] = {}
    bins: dict[str, BinNow] = {}
    substrates: dict[str, Substrate] = {}
    rooms_seen: dict[str, tuple[int, int]] = {}
    """room -> (latest visit, visit before it)"""
    misfits: dict[str, Misfit] = {}
    doubts: dict[str, str] = {}
    """entry id -> what looks odd though it may be right"""

    def live_lots(self) -> list[Lot]:
        """Lots not ended, in name order."""
        return sorted((lot for lot in self.lots.values() if lot.alive), key=lambda lot: lot.name)

    def open_clutches(self) -> list[Clutch]:
        """Clutches laid and not emptied, oldest first."""
        return sorted((c for c in self.clutches.values() if c.emptied_at is None), key=lambda c: (c.laid_at, c.name))


def beside(s: Standing) -> Standing:
    """A standing to replay on, beside the old one: who goes through the old one's lots or bins meets no new ones."""
    own = {name: dict(value) for name in s.__struct_fields__ if isinstance(value := getattr(s, name), dict)}
    return msgspec.structs.replace(s, **own)


encode = msgspec.msgpack.Encoder().encode
decode = msgspec.msgpack.Decoder(Standing).decode
