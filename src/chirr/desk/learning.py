"""What pages say while the first belief is still being worked out: that it is, and what stands where."""

from __future__ import annotations

import msgspec

from chirr.book import ledger, shelf


class StillLearning(Exception):  # noqa: N818 - it is what is said, not a failure of the program
    """The first belief since the pages began to be served is still being worked out."""


class Stands(msgspec.Struct, frozen=True, kw_only=True):
    """A bin with somebody or something in it. lots: those that live there; trays: how many stand in it."""

    bin: str
    duty: str
    lots: tuple[str, ...]
    trays: int


def as_it_stands() -> tuple[tuple[str, tuple[Stands, ...]], ...]:
    """The bins of each room that hold anything, as the entries have it, which needs no belief."""
    s = ledger.live()
    found: dict[str, list[Stands]] = {room.room: [] for room in shelf.rooms()}
    for b in s.bins.values():
        lots = tuple(name for name in b.lots if s.lots[name].began_at is not None)
        trays = len(b.trays) + len(b.hatching)
        if lots or trays:
            found.setdefault(b.room, []).append(Stands(bin=b.name, duty=b.duty, lots=lots, trays=trays))
    return tuple((room, tuple(bins)) for room, bins in found.items() if bins)
