"""The racks: every room as it stands, each bin with who is in it, how far along, what is due, and trouble."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection

from chirr.book import ledger, shelf
from chirr.book.standing import BinNow, Standing
from chirr.desk import clock
from chirr.desk.belief import beliefs as believed
from chirr.desk.overdue import overdue
from chirr.desk.round import round_sheet
from chirr.desk.shapes import Beliefs, BinTile, LotBelief, RackLevel, RackRoom, RackStack, RoundStop
from chirr.desk.spoken import say, say_n, term
from chirr.records import Room

STALE_READING_S = 6 * 3600
FAR_OFF_C = 2.0
"""A room is said to be off when the newest reading lies so far from its set point [degC] (judgement)."""


def racks() -> tuple[RackRoom, ...]:
    """Every room of the farm, in the farm's order."""
    s, seen, now = ledger.live(), believed(), clock.now()
    due, late = due_stops(seen), overdue(s, seen.clutches.values(), now)
    latest = latest_temperatures(now)
    tiles: dict[str, list[BinTile]] = defaultdict(list)
    for name, bin_ in s.bins.items():
        tiles[bin_.room].append(tile(s, bin_, seen, due.get(name), late, now))
    racked: dict[str, list[str]] = defaultdict(list)
    for clutch in s.open_clutches():
        if clutch.here.bin is None:
            racked[clutch.here.room].append(clutch.name)
    return tuple(_room(room, tiles[room.room], latest, tuple(racked[room.room])) for room in shelf.rooms())


def due_stops(seen: Beliefs) -> dict[str, RoundStop]:
    """Today's stop of each bin."""
    return {stop.bin: stop for stop in round_sheet(beliefs=seen).stops if stop.bin is not None}


def latest_temperatures(now: int) -> dict[tuple[str, int], float]:
    """Newest reading of each room and level (-1 for the room as a whole), none older than `STALE_READING_S` [degC]."""
    rows = shelf.temperatures(now - STALE_READING_S, now)
    return {(room, level): temperature_c for _, room, level, temperature_c in rows}


def _room(room: Room, tiles: list[BinTile], latest: dict[tuple[str, int], float], racked: tuple[str, ...]) -> RackRoom:
    here = [t for (name, _), t in latest.items() if name == room.room]
    mean = sum(here) / len(here) if here else None
    stacks = []
    for stack in sorted({t.stack for t in tiles}):
        mine = [t for t in tiles if t.stack == stack]
        top = max(t.level for t in mine)
        stacks.append(
            RackStack(
                stack=stack,
                levels=tuple(
                    RackLevel(
                        level=level,
                        bins=tuple(t for t in mine if t.level == level),
                        temperature_c=latest.get((room.room, level)),
                    )
                    for level in range(top, 0, -1)
                ),
            )
        )
    return RackRoom(
        room=room.room,
        set_temperature_c=room.set_temperature_c,
        temperature_c=mean,
        temperature_says=_warmth(room, mean),
        stacks=tuple(stacks),
        racked_clutches=racked,
    )


def _warmth(room: Room, mean: float | None) -> str:
    if mean is None:
        return say("no reading in the last six hours")
    off = mean - room.set_temperature_c
    return say("near its set point") if abs(off) < FAR_OFF_C else (say("too warm") if off > 0 else say("too cold"))


def tile(s: Standing, bin_: BinNow, seen: Beliefs, stop: RoundStop | None, late: Collection[str], now: int) -> BinTile:
    """One bin as it is drawn; `late`: clutches that are overdue."""
    lots = [s.lots[n] for n in bin_.lots]
    lot = next((x for x in lots if x.began_at is not None), lots[0] if lots else None)
    belief = seen.lots.get(lot.name) if lot else None
    state, says, progress = _state(s, bin_, belief, seen, late, now)
    return BinTile(
        bin=bin_.name,
        duty=bin_.duty,
        room=bin_.room,
        stack=bin_.stack,
        level=bin_.level,
        state=state,
        lot=lot.name if lot else None,
        says=says,
        progress=None if progress is None else round(progress, 2),
        next_due=_next_due(stop),
        trouble=_trouble(s, bin_, stop, late),
        trays=len(bin_.trays) + len(bin_.hatching),
    )


def _state(
    s: Standing, bin_: BinNow, belief: LotBelief | None, seen: Beliefs, late: Collection[str], now: int
) -> tuple[str, str, float | None]:
    """State, one short line, and progress of a bin."""
    if belief is None or (belief.waiting and not bin_.hatching):
        dirty = bin_.vacated_at is not None and (bin_.cleaned_at or 0) < bin_.vacated_at
        return (
            ("to clean", _empty_since(now - (bin_.vacated_at or now)), None)
            if dirty
            else ("empty", term("state", "empty"), None)
        )
    if belief.waiting:
        return "hatching", *_hatching(s, bin_, seen, late, now)
    return _living(bin_, belief, now)


def _living(bin_: BinNow, belief: LotBelief, now: int) -> tuple[str, str, float | None]:
    """The same for a bin with crickets in it."""
    number, ready = about(belief.alive.mid), belief.harvest_ready
    if bin_.duty == "breeding" and belief.progress >= 0.999:
        return (
            "breeding",
            say("{number} adults, day {day:.0f}", number=number, day=belief.adult_days),
            min(belief.adult_days / 42.0, 1.0),
        )
    if ready is not None and ready.mid <= now:
        return "ready", say("{number}, {mg:.0f} mg, ready", number=number, mg=belief.mean_mg.mid), 1.0
    if bin_.hatching and belief.progress < 0.1:
        return "hatching", say("{number} so far", number=number), belief.progress
    says = f"{number}, {belief.size_class}"
    if ready is not None:
        says = say("{says}, ready in {days:.0f} d", says=says, days=max((ready.mid - now) / 86400, 0.0))
    return "growing", says, belief.progress


def _hatching(s: Standing, bin_: BinNow, seen: Beliefs, late: Collection[str], now: int) -> tuple[str, float | None]:
    """How far along the clutches of a bin are, in words and as a share."""
    clutches = [seen.clutches[c] for c in bin_.hatching if c in seen.clutches]
    if not clutches:
        return say("tray waiting to hatch"), None
    first = min(clutches, key=lambda c: c.first_pinheads.mid)
    laid = s.clutches[first.clutch].laid_at
    share = (now - laid) / max(first.first_pinheads.mid - laid, 1.0)
    soonest, latest = (first.first_pinheads.low - now) / 86400, (first.first_pinheads.high - now) / 86400
    if first.clutch in late:
        return say("hatch overdue"), 1.0
    if soonest <= 0:
        return say("may hatch now, within {days:.0f} d", days=latest) if latest >= 1 else say("may hatch now"), min(
            share, 1.0
        )
    return say("hatch in {early:.0f} to {late:.0f} d", early=soonest, late=latest), min(max(share, 0.0), 1.0)


def _next_due(stop: RoundStop | None) -> str | None:
    """The most pressing thing to do; what is only to come, such as breeders kept until others follow, is not one."""
    todo = [i for i in stop.items if i.urgency != "soon"] if stop is not None else []
    if not todo:
        return None
    first = min(todo, key=lambda i: ("overdue", "due", "open", "optional").index(i.urgency))
    more = len(todo) - 1
    return say("{what} and {more} more", what=first.what, more=more) if more else first.what


def _trouble(s: Standing, bin_: BinNow, stop: RoundStop | None, late: Collection[str]) -> str | None:
    if len([n for n in bin_.lots if s.lots[n].began_at is not None]) > 1:
        return say("two lots in one bin")
    if stop is not None and stop.group == "sick":
        return say("many deaths")
    first = next((c for c in bin_.hatching if c in late), None)
    return say("{clutch} has not hatched", clutch=first) if first else None


def about(number: float) -> str:
    """A number that is not certain, to two figures."""
    if number < 20:
        return say("about {number:.0f}", number=number)
    digits = len(str(int(number))) - 2
    return say("about {number:,.0f}", number=float(round(number, -digits)))


def _empty_since(seconds: int) -> str:
    days = seconds // 86400
    return say("empty since today") if days < 1 else say_n("empty since {n} day", "empty since {n} days", days)
