"""The hand-over sheet: all that a stand-in needs on paper while somebody is away. No money."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta

import msgspec

from chirr.book import ledger, shelf
from chirr.desk import belief, browse, clock
from chirr.desk.racks import FAR_OFF_C, racks
from chirr.desk.round import NONE_YET, round_sheet
from chirr.desk.shapes import BinTile, RackRoom, RoundItem, RoundSheet, StoryLine
from chirr.desk.spoken import say, say_n
from chirr.says import word

MOST_DAYS = 21
NOTES_BACK_DAYS = 14
NOTES_SHOWN = 8
_NOT_WORDS = ("trial {", "way ")
NAMED_AT_MOST = 12
"""So many places are named in a line; of more, how many in each room."""
TOGETHER: tuple[tuple[str, tuple[str, ...]], ...] = (
    (word("Look for pinheads"), ("hatch",)),
    (word("Feed and water"), ("feed", "water")),
    (word("Swap trays: old out, new in"), ("pull", "lay")),
    (word("Clean"), ("clean",)),
    (word("Empty spent trays"), ("empty",)),
    (word("Move trays to hatch"), ("move",)),
    (word("Harvest"), ("harvest",)),
    (word("Retire breeders"), ("retire",)),
)
"""Deeds that are told in one line for all their places; every other thing has a line of its own."""


class HandOverLine(msgspec.Struct, frozen=True, kw_only=True):
    """One line to tick: what, and where."""

    what: str
    where: str = ""


class HandOverDay(msgspec.Struct, frozen=True, kw_only=True):
    """What is due on one day, and the minutes it should take with the walking."""

    day: date
    minutes: float
    lines: tuple[HandOverLine, ...]


class HandOver(msgspec.Struct, frozen=True, kw_only=True):
    """The sheet. `odd` is what is wrong or late today; `notes` what people wrote lately, newest first."""

    days: tuple[HandOverDay, ...]
    odd: tuple[HandOverLine, ...]
    notes: tuple[StoryLine, ...]
    rooms: tuple[RackRoom, ...]
    bins: dict[str, tuple[int, int]]
    """Room to how many bins it has, and how many of them are lived in."""
    humidity_pct: dict[str, float]
    """Room to its set point, where it has one."""
    made_at: int


def hand_over(first: date, last: date) -> HandOver:
    """What a stand-in needs from `first` to `last`, both included.

    Raises ValueError, in plain words, for days that are past, the wrong way round, or more than MOST_DAYS.
    """
    today = clock.today()
    if last < first:
        raise ValueError(say("The last day lies before the first. Give the first day first."))
    if first < today:
        raise ValueError(say("A hand-over begins today or later."))
    if (last - first).days >= MOST_DAYS:
        raise ValueError(say("A sheet holds {n} days at most. Make two.", n=MOST_DAYS))
    beliefs = belief.beliefs()
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    drawn = racks()
    tiles = [t for room in drawn for stack in room.stacks for level in stack.levels for t in level.bins]
    return HandOver(
        days=tuple(_day(day, round_sheet(day, beliefs=beliefs)) for day in days),
        odd=_odd(round_sheet(beliefs=beliefs), tiles, drawn),
        notes=_notes(today),
        rooms=drawn,
        bins={r.room: _lived_in([t for t in tiles if t.room == r.room]) for r in drawn},
        humidity_pct={r.room: r.set_humidity_pct for r in shelf.rooms() if r.set_humidity_pct is not None},
        made_at=clock.now(),
    )


def _day(day: date, sheet: RoundSheet) -> HandOverDay:
    places: dict[str, list[str]] = defaultdict(list)
    rooms: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    single: list[HandOverLine] = []
    for stop in sheet.stops:
        for item in stop.items:
            if item.urgency in ("soon", "optional"):
                continue
            what = next((words for words, deeds in TOGETHER if item.deed in deeds), None)
            if what is None:
                single.append(HandOverLine(what=item.what, where=_place(item, stop.room)))
                continue
            where = _short(item, stop.room)
            if where not in places[what]:
                places[what].append(where)
                rooms[what][stop.room] += 1
    together = [
        HandOverLine(what=say(what), where=_named(places[what], rooms[what])) for what, _ in TOGETHER if places[what]
    ]  # fmt: skip
    return HandOverDay(day=day, minutes=sheet.minutes, lines=(*together, *single))


def _place(item: RoundItem, room: str) -> str:
    return f"{item.bin}, {room}" if item.bin else say("rack in {room}", room=room)


def _short(item: RoundItem, room: str) -> str:
    """A thing in few words: what is moved by its tray, what leaves by its lot, all else by its bin."""
    place = item.bin or say("rack in {room}", room=room)
    thing = {"move": item.clutch, "harvest": item.lot, "retire": item.lot}.get(item.deed)
    return (
        thing
        if item.deed == "move" and thing
        else say("{thing} in {place}", thing=thing, place=place)
        if thing
        else place
    )


def _named(places: list[str], rooms: dict[str, int]) -> str:
    if len(places) <= NAMED_AT_MOST:
        return ", ".join(places)
    named = ", ".join(f"{room} {n}" for room, n in rooms.items())
    return say("{n} places: {names}", n=len(places), names=named)


def _odd(sheet: RoundSheet, tiles: list[BinTile], rooms: tuple[RackRoom, ...]) -> tuple[HandOverLine, ...]:
    late = [(stop, item) for stop in sheet.stops for item in stop.items if item.urgency == "overdue"]
    told = {item.bin for _, item in late}
    return (
        *(HandOverLine(what=item.what, where=f"{_place(item, stop.room)}: {item.why}") for stop, item in late),
        *(
            HandOverLine(what=say("Bin {bin}", bin=t.bin), where=t.trouble)
            for t in tiles
            if t.trouble and t.bin not in told
        ),
        *(HandOverLine(what=say("Room {room}", room=r.room), where=r.temperature_says) for r in rooms if _far_off(r)),
        *_unsettled(),
    )


def _far_off(room: RackRoom) -> bool:
    return room.temperature_c is not None and abs(room.temperature_c - room.set_temperature_c) >= FAR_OFF_C


def _unsettled() -> list[HandOverLine]:
    out = len(ledger.live().misfits)
    if not out:
        return []
    where = say_n(
        "{n} entry does not fit the rest of the book; the owner settles that",
        "{n} entries do not fit the rest of the book; the owner settles that",
        out,
    )
    return [HandOverLine(what=say("The book"), where=where)]


def _notes(today: date) -> tuple[StoryLine, ...]:
    """What people wrote lately: not what the round or a trial wrote in their name."""
    since = clock.day_bounds(today - timedelta(days=NOTES_BACK_DAYS))[0]
    written = list(ledger.entries("deed = 'note' AND at >= %s", (since,), order="at DESC, id DESC"))
    own = [e for e in written if e.note and e.note != NONE_YET and not e.note.startswith(_NOT_WORDS)]
    return tuple(x for x in browse.story_lines(own[: 3 * NOTES_SHOWN]) if not x.standing)[:NOTES_SHOWN]


def _lived_in(tiles: list[BinTile]) -> tuple[int, int]:
    return len(tiles), sum(t.state not in ("empty", "to clean") for t in tiles)
