"""Where each deed of the book was done, and in which order: the walks that were really walked."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from chirr.book import ledger
from chirr.book.replay import voided
from chirr.book.standing import Standing, Stay
from chirr.desk import clock
from chirr.engine.rounds.minutes import LONGEST_MINUTES
from chirr.engine.trials.walking import Gap
from chirr.records import Entry

PAUSE_S = 3600
"""Entries of one person in one room with a longer pause between them are two visits (judgement)."""
_AT_NO_BIN = ("note", "correct", "pack", "ship")


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A deed with the place where it was done; `key` is the bin, or the place of a hatch rack. minutes: None where it
    was not timed. tray_type: of the tray laid, pulled or emptied."""

    at: int
    day: date
    person: str
    deed: str
    key: str
    room: str
    stack: int
    level: int
    duty: str | None
    minutes: float | None
    tray_type: str | None


def spots(s: Standing, since: int, until: int) -> list[Spot]:
    """Deeds at bins and racks from `since` to `until` [epoch s], in the order of time, without those taken back."""
    void, tz = voided(ledger.entries("replaces IS NOT NULL")), clock.zone()
    out = []
    for e in ledger.entries("at >= %s AND at <= %s", (since, until)):
        if e.id in void or e.deed in _AT_NO_BIN:
            continue
        stay = _where(s, e)
        if stay is None:
            continue
        clutch = s.clutches.get(e.clutch or "")
        timed = e.minutes is not None and 0 < e.minutes <= LONGEST_MINUTES
        out.append(
            Spot(
                at=e.at, day=clock.local(e.at, tz).date(), person=e.person or "", deed=e.deed,
                key=stay.bin or f"{stay.room}/{stay.stack}/{stay.level}", room=stay.room, stack=stay.stack,
                level=stay.level, duty=s.bins[stay.bin].duty if stay.bin in s.bins else None,
                minutes=e.minutes if timed else None,
                tray_type=clutch.tray_type if clutch and e.deed in ("lay", "pull", "empty") else None,
            )
        )  # fmt: skip
    return out


def _where(s: Standing, e: Entry) -> Stay | None:
    """Where the entry's bin stands now, or where its clutch or lot stood then."""
    if e.bin in s.bins:
        b = s.bins[e.bin]
        return Stay(at=e.at, room=b.room, stack=b.stack, level=b.level, bin=b.name)
    thing = s.clutches.get(e.clutch or "") or s.lots.get(e.lot or "")
    if thing is None or not thing.stays:
        return None
    times = [x.at for x in thing.stays]
    return thing.stays[max(bisect_right(times, e.at - 1) - 1, 0)]


def gaps(found: Sequence[Spot]) -> list[Gap]:
    """Minutes between neighbouring deeds of each person on one day, with what lies between their places."""
    by_person: dict[tuple[str, date], list[Spot]] = defaultdict(list)
    for x in found:
        by_person[x.person, x.day].append(x)
    return [
        Gap(minutes=(b.at - a.at) / 60, deed=b.deed, step=_step(a, b), stacks=abs(b.stack - a.stack))
        for walk in by_person.values() for a, b in pairwise(walk)
    ]  # fmt: skip


def _step(a: Spot, b: Spot) -> str:
    if a.room != b.room:
        return "room"
    if a.key == b.key:
        return "bin"
    return "stack" if a.stack == b.stack else "stacks"


def timed_visits(found: Sequence[Spot]) -> dict[str, list[list[Spot]]]:
    """room -> visits: the timed deeds of one person there without a long pause."""
    out: dict[str, list[list[Spot]]] = defaultdict(list)
    last: dict[str, Spot] = {}
    visit: dict[str, list[Spot]] = {}
    for x in found:
        before = last.get(x.person)
        last[x.person] = x
        if before is None or before.room != x.room or x.at - before.at > PAUSE_S:
            visit[x.person] = []
            out[x.room].append(visit[x.person])
        if x.minutes is not None:
            visit[x.person].append(x)
    return {room: [v for v in visits if v] for room, visits in out.items()}
