"""The round: what is due on a day, in walking order, and doing it with one tap.

Doing an item writes the entry that it stands for; the book then stands otherwise, so the item is no longer due and
the same tap twice writes nothing twice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
from django.db import connection, transaction
from django.utils.translation import get_language
from uuid_utils.compat import uuid7

from chirr.book import actions, ledger, shelf
from chirr.book.replay import voided
from chirr.book.standing import Misfit, Standing
from chirr.desk import clock
from chirr.desk.minutes import learnt
from chirr.desk.one_tap import Answer, Offers, is_free
from chirr.desk.round_jobs import Scene, jobs_of
from chirr.desk.shapes import Beliefs, RoundItem, RoundSheet, RoundStop
from chirr.desk.spoken import again, say, say_n, term
from chirr.engine.rounds import order
from chirr.engine.rounds.due import Job
from chirr.engine.rounds.lots import ALERT_DAYS
from chirr.engine.rounds.minutes import Minutes
from chirr.records import Entry, FarmCard, Person

TOGETHER = ("pull", "lay", "empty", "feed", "water", "clean")
"""Deeds that a tap on a whole bin does. What must first be seen or decided (a hatch, retiring a lot) is never among
them, or the book would hold hatches that nobody saw."""
_AT_A_STOP = (
    "note",
    "hatch",
    "move",
    "pull",
    "lay",
    "empty",
    "feed",
    "water",
    "weigh",
    "split",
    "harvest",
    "retire",
    "clean",
)
_NUMBERS: dict[str, type] = {"cycle": int, "sample": int, "quantity": float, "age_days": float, "cv": float}
NONE_YET = "looked, no pinheads yet"


class NotNow(Exception):  # noqa: N818 - what was asked for cannot be done by a tap, or not today
    """An item of the round cannot be done as it was asked for; the text says why and what to do."""


def round_sheet(
    day: date | None = None,
    *,
    hands: int = 1,
    minutes_each: float = 240.0,
    as_of: int | None = None,
    beliefs: Beliefs | None = None,
) -> RoundSheet:
    """What is due on `day` (default today), in walking order, with the reason and the minutes of each item.

    For a day to come the turns until then are taken as kept and the windows are those believed now; for a day past
    the round is the one that stood when the day began. `as_of` believes only entries up to that time. `hands`
    people have `minutes_each`: the sheet says how far they get.
    """
    card = shelf.card()
    now = clock.now() if as_of is None else as_of
    if card is None:
        return _no_farm(day, now, hands, minutes_each)
    tz = ZoneInfo(card.timezone)
    today = clock.local(now, tz).date()
    if as_of is None and day is not None and day < today:
        as_of = now = clock.day_bounds(day, tz)[0]
        today = day
    beliefs = beliefs or _believe(as_of)
    if as_of is not None:
        scene = _scene(ledger.standing_at(as_of), card, beliefs, day=day or today, now=now)
        return _sheet(scene, now, hands, minutes_each)
    sheets = _sheets_now(beliefs, today)  # before the standing is read: an entry that comes between asks anew
    asked = (day or today, hands, minutes_each, get_language() or "", beliefs.remarks)
    if asked not in sheets:
        scene = _scene(ledger.live(), card, beliefs, day=day or today, now=now)
        sheets[asked] = _sheet(scene, now, hands, minutes_each)
    return msgspec.structs.replace(sheets[asked], as_of=now)


Sheets = dict[tuple[date, int, float, str, tuple[str, ...]], RoundSheet]
_kept: dict[str, tuple[tuple[int, str], date, Beliefs, Sheets]] = {}


def _sheets_now(beliefs: Beliefs, today: date) -> Sheets:
    """The sheets that were worked out from the book as it is, by day, hands, minutes, language and remarks.

    The Round, the Racks and every phone ask for the same sheet until an entry comes or belief changes, as it does with
    the hour and with the farm's card, rooms and trays.
    """
    book, top = str(connection.settings_dict["NAME"]), ledger.newest()
    kept = _kept.get(book)
    if kept is None or kept[:2] != (top, today) or not _alike(kept[2], beliefs):
        kept = _kept[book] = (top, today, beliefs, {})
    return kept[3]


def _alike(one: Beliefs, other: Beliefs) -> bool:
    """Whether two hold the very same beliefs; what they remark may be in different languages."""
    parts = ("lots", "clutches", "sharpen", "retire")
    return all(getattr(one, part) is getattr(other, part) for part in parts)


def lots_in_bins() -> dict[str, str]:
    """Bin -> lot, for what else may be written at a stop."""
    return {lot.bin: lot.name for lot in ledger.live().live_lots() if lot.bin}


def whole_bin(stop: RoundStop) -> tuple[str, ...]:
    """Keys of the items of a stop that one tap on the whole bin does; no new tray while the old one cannot come out."""
    stuck = any(i.deed == "pull" and i.asks for i in stop.items)
    return tuple(
        i.key
        for i in stop.items
        if i.deed in TOGETHER and not i.asks and i.urgency != "soon" and not (stuck and i.deed == "lay")
    )


def entries_for(
    keys: Iterable[str],
    *,
    day: date,
    at: int,
    person: str | None,
    minutes: float | None = None,
    beliefs: Beliefs | None = None,
) -> list[Entry]:
    """The entries that doing the items `keys` writes, for those of them that are still due today.

    `minutes` spent on all of them are shared out by what each should take. For an open hatch window, `none:CLUTCH`
    in place of `hatch:CLUTCH` writes that somebody looked and nothing was out. Raises `NotNow` for another day than
    today and for an item that needs a form.
    """
    if day != clock.today():
        raise NotNow(
            say(
                "The round of {day} is not today's. Write what was done on another day in the Book.",
                day=day.isoformat(),
            )
        )
    sheet = round_sheet(day, beliefs=beliefs)
    items = {item.key: item for stop in sheet.stops for item in stop.items}
    items |= {f"none:{i.clutch}": _none_yet(i) for i in list(items.values()) if i.deed == "hatch"}
    chosen = [items[key] for key in dict.fromkeys(keys) if key in items]
    for item in chosen:
        if item.asks:
            asks = ", ".join(term("column", a) for a in item.asks)
            raise NotNow(say("{what}: fill in {asks} on its form first.", what=item.what, asks=asks))
    total = sum(item.minutes for item in chosen)
    share = {i.key: minutes * i.minutes / total if minutes is not None and total > 0 else None for i in chosen}
    return [_entry(item, at, person, share[item.key]) for item in chosen]


def do(
    keys: Iterable[str],
    *,
    actor: Person,
    at: int | None = None,
    minutes: float | None = None,
    beliefs: Beliefs | None = None,
) -> list[str]:
    """Do items of today's round, all or none, and return the ids of the entries written.

    An item that is no longer due is passed over. Raises `NotAllowed`, `Refused`, `NotNow`.
    """
    actions.allow(actor, "owner", "hand")
    wanted = list(keys)
    beliefs = beliefs or _believe(None)  # the slow part, before the book is held for writing
    with transaction.atomic():
        time = clock.now() if at is None else at
        entries = entries_for(
            wanted, day=clock.today(), at=time, person=actor.person, minutes=minutes, beliefs=beliefs
        )  # fmt: skip
        actions.record(entries, actor=actor)
    return [e.id for e in entries]


def undo(ids: Iterable[str], *, actor: Person, at: int | None = None) -> list[str]:
    """Take back entries by ones that say they never happened; those taken back already are passed over.

    Returns the ids of the entries written. Raises `NotAllowed`, and `Refused` where later entries rest on them.
    """
    actions.allow(actor, "owner", "hand")
    wanted = list(dict.fromkeys(ids))
    with transaction.atomic():
        marks = ", ".join(["%s"] * len(wanted))
        there = {e.id: e for e in ledger.entries(f"id IN ({marks})", tuple(wanted))} if wanted else {}
        for missing in (i for i in wanted if i not in there):
            raise actions.Refused([Misfit(missing, "replaces", f"entry {missing}", "an entry that the book has")])
        gone = voided(ledger.entries("replaces IS NOT NULL"))
        time = clock.now() if at is None else at
        back = [
            Entry(id=str(uuid7()), at=max(time, there[i].at), deed="correct", person=actor.person, replaces=i,
                  note="undone on the round")
            for i in wanted if i not in gone
        ]  # fmt: skip
        actions.record(back, actor=actor)
    return [e.id for e in back]


def _believe(as_of: int | None) -> Beliefs:
    from chirr.desk.belief import beliefs

    return beliefs(as_of)


def _no_farm(day: date | None, now: int, hands: int, minutes_each: float) -> RoundSheet:
    return RoundSheet(
        day=str(day or clock.local(now).date()), as_of=now, stops=(), minutes=0.0, walking_minutes=0.0, hands=hands,
        minutes_each=minutes_each, finished_minutes=0.0, left_over=0, done_today=0,
        remarks=(say("No farm is set up yet. Set one up, or import a farm folder."),),
    )  # fmt: skip


def _scene(standing: Standing, card: FarmCard, beliefs: Beliefs, *, day: date, now: int) -> Scene:
    tz = ZoneInfo(card.timezone)
    today = clock.local(now, tz).date()
    start = clock.day_bounds(today, tz)[0]
    return Scene(
        standing=standing, card=card, beliefs=beliefs, day=day, today=today, today_start=start,
        day_of=lambda at: clock.local(at, tz).date(), looked=_looked(start, now, tz),
    )  # fmt: skip


def _looked(today_start: int, now: int, tz: ZoneInfo) -> dict[str, date]:
    """Day of the latest note about each lot and clutch, as far back as an alert lasts."""
    looked: dict[str, date] = {}
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT e.at, e.lot, e.clutch FROM book_entryrow e WHERE e.deed = 'note' AND e.at BETWEEN %s AND %s"
            " AND NOT EXISTS (SELECT 1 FROM book_entryrow r WHERE r.replaces = e.id) ORDER BY e.at",
            (today_start - (ALERT_DAYS + 1) * 86400, now),
        )
        for at, lot, clutch in cursor.fetchall():
            looked |= {
                f"{kind}:{name}": clock.local(at, tz).date()
                for kind, name in (("lot", lot), ("clutch", clutch))
                if name
            }
    return looked


def _sheet(scene: Scene, now: int, hands: int, minutes_each: float) -> RoundSheet:
    found = jobs_of(scene)
    stops, jobs_at = _stops(scene, found.jobs, found.sick, found.hatching)
    times = learnt(scene.standing, now)
    offers = Offers(
        scene.standing, swap_days=scene.card.swap_days, cycles=scene.card.substrate_cycles, day=scene.day,
        day_start=scene.today_start,
    )  # fmt: skip
    items = _items(scene, [jobs_at[stop.key] for stop in stops], offers, times)
    stops = [
        replace(stop, work=tuple((i.urgency, i.minutes) for i in here)) for stop, here in zip(stops, items, strict=True)
    ]
    reach = order.reach(stops, hands, minutes_each)
    walking = order.walking_minutes(stops)
    shown = tuple(
        _stop(scene, stop, here, within=bool(done) or not any(u != "soon" for u, _ in stop.work))
        for stop, here, done in zip(stops, items, reach.done, strict=True)
    )
    return RoundSheet(
        day=str(scene.day), as_of=now, stops=shown, minutes=sum(s.minutes for s in shown) + walking,
        walking_minutes=walking, hands=hands, minutes_each=minutes_each, finished_minutes=reach.minutes,
        left_over=reach.left_over(stops), done_today=_done_on(scene.today_start, now),
        remarks=(*scene.beliefs.remarks, *_remarks(scene, shown)),
    )  # fmt: skip


def _stops(
    scene: Scene, jobs: list[Job], sick: set[str], hatching: set[str]
) -> tuple[list[order.Stop], dict[str, list[Job]]]:
    """One stop for each bin or rack place with something due, in walking order, and the jobs at each."""
    bins = scene.standing.bins
    rank = {room.room: n for n, room in enumerate(shelf.rooms())}
    jobs_at: dict[str, list[Job]] = {}
    stops: dict[str, order.Stop] = {}
    for job in jobs:
        key = f"bin:{job.bin}" if job.bin else f"rack:{job.place}"
        jobs_at.setdefault(key, []).append(job)
        if key in stops:
            continue
        if job.bin:
            b = bins[job.bin]
            room, stack, level = b.room, b.stack, b.level
            group = order.group_of(b.duty, sick=b.name in sick, hatching=b.name in hatching)
        else:
            room, at_stack, at_level = (job.place or "//").rsplit("/", 2)
            stack, level, group = int(at_stack), int(at_level), order.group_of(None)
        stops[key] = order.Stop(
            key=key, group=group, room=room, room_rank=rank.get(room, len(rank)), stack=stack, level=level
        )  # fmt: skip
    for here in jobs_at.values():
        here.sort(key=lambda job: (_AT_A_STOP.index(job.deed), job.key))
    return order.walk(list(stops.values())), jobs_at


def _items(scene: Scene, walked: list[list[Job]], offers: Offers, times: Minutes) -> list[tuple[RoundItem, ...]]:
    """The items of each stop. What is to be done today chooses its bins and names before what is only soon."""
    answers: dict[str, Answer] = {}
    if scene.day == scene.today:
        jobs = [job for here in walked for job in here]
        for job in sorted(jobs, key=lambda job: job.urgency == "soon"):
            answers[job.key] = offers.answer(job)
    return [tuple(_item(scene, job, *answers.get(job.key, ({}, job.asks)), times) for job in here) for here in walked]


def _item(scene: Scene, job: Job, filled: dict[str, str], asks: tuple[str, ...], times: Minutes) -> RoundItem:
    clutch = scene.standing.clutches.get(job.clutch or "")
    tray = clutch.tray_type if clutch else filled.get("tray_type")
    return RoundItem(
        key=job.key, deed=job.deed, what=_what(job, filled), why=again(job.why), urgency=job.urgency,
        minutes=0.0 if job.urgency == "soon" else times.of(job.deed, tray), bin=job.bin, lot=job.lot,
        clutch=job.clutch, prefill=filled, asks=asks,
    )  # fmt: skip


def _what(job: Job, filled: dict[str, str]) -> str:
    what = again(job.what)
    if "to_place" in filled:
        return say("{what}, to {place}", what=what, place=filled["to_place"])
    if "to_bin" in filled:
        return say("{what}, to {bin} as lot {lot}", what=what, bin=filled["to_bin"], lot=filled.get("to_lot", ""))
    return say("{what}, name it {clutch}", what=what, clutch=filled["clutch"]) if "tray_type" in filled else what


def _stop(scene: Scene, stop: order.Stop, items: tuple[RoundItem, ...], *, within: bool) -> RoundStop:
    name = stop.key.removeprefix("bin:") if stop.key.startswith("bin:") else None
    return RoundStop(
        key=stop.key, group=stop.group, room=stop.room, stack=stop.stack, level=stop.level, bin=name,
        duty=scene.standing.bins[name].duty if name else None, items=items, minutes=sum(i.minutes for i in items),
        within_reach=within,
    )  # fmt: skip


def _done_on(day_start: int, now: int) -> int:
    """Entries of the day up to now, without those taken back."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT COUNT(*) FROM book_entryrow e WHERE e.at BETWEEN %s AND %s AND e.deed != 'correct'"
            " AND NOT EXISTS (SELECT 1 FROM book_entryrow r WHERE r.replaces = e.id)",
            (day_start, now),
        )
        return int(cursor.fetchone()[0])


def _remarks(scene: Scene, stops: tuple[RoundStop, ...]) -> tuple[str, ...]:
    """What stands in the way of the round as a whole."""
    lost = [
        i for s in stops for i in s.items if "to_bin" in i.asks and i.deed in ("pull", "move") and i.urgency != "soon"
    ]
    if not lost or scene.day != scene.today:
        return ()
    free = sum(1 for b in scene.standing.bins.values() if b.duty == "nursery" and is_free(b))
    return (
        say_n(
            "{n} tray has no clean empty nursery bin to go to ({free} free today). Clean one, or name a rack place.",
            "{n} trays have no clean empty nursery bin to go to ({free} free today). Clean one, or name a rack place.",
            len(lost), free=free,
        ),
    )  # fmt: skip


def _none_yet(item: RoundItem) -> RoundItem:
    where: dict[str, Any] = {k: v for k, v in item.prefill.items() if k in ("bin", "clutch")}
    return RoundItem(
        key=f"none:{item.clutch}", deed="note", what=item.what, why=item.why, minutes=item.minutes,
        urgency=item.urgency, bin=item.bin, clutch=item.clutch, prefill={**where, "note": NONE_YET},
    )  # fmt: skip


def _entry(item: RoundItem, at: int, person: str | None, minutes: float | None) -> Entry:
    columns = {name: _NUMBERS.get(name, str)(value) for name, value in item.prefill.items()}
    spent = None if minutes is None else round(minutes, 2)
    return Entry(id=str(uuid7()), at=at, person=person, deed=item.deed, minutes=spent, **columns)
