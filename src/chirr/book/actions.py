"""Every change of state: permission, check, one transaction, one entry (or one thing of the farm).

Pages, phone, import, sensors and the command line call these and nothing else writes to the book.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

import msgspec
from django.db import connection, transaction
from django.db.models import QuerySet

from chirr.book import ledger
from chirr.book.models import BinRow, EntryRow, FarmRow, PersonRow, RoomRow, TrayTypeRow
from chirr.book.standing import Misfit
from chirr.records import Bin, Entry, FarmCard, FarmFolder, Person, Reading, Room, TrayType

Thing = TypeVar("Thing", RoomRow, BinRow, TrayTypeRow, PersonRow)


class NotAllowed(Exception):  # noqa: N818
    """The person's role does not include this."""


class Refused(Exception):  # noqa: N818
    """Entries that cannot go into the book as it stands, each with its reason."""

    def __init__(self, misfits: Sequence[Misfit]) -> None:
        super().__init__(" ".join(str(m) for m in misfits))
        self.misfits = list(misfits)


def allow(actor: Person, *roles: str) -> None:
    """Raise NotAllowed unless the actor has one of the roles."""
    if actor.role not in roles:
        raise NotAllowed(f"{actor.person} is a {actor.role}; this needs {' or '.join(roles)}.")


def record(
    entries: Iterable[Entry],
    *,
    actor: Person,
    strict: bool = True,
    now: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> int:
    """Write entries into the book and return how many were new.

    An entry whose id is in the book already changes nothing if it says the same, and is refused if it says
    something else. With `strict`, entries that the book contradicts are refused and nothing is written; without, as
    when a phone sends what it gathered, they are kept as misfits for a person to settle.
    """
    allow(actor, "owner", "hand")
    fresh = _not_yet_there(list(entries))
    if not fresh:
        return 0
    received = int(time.time()) if now is None else now
    try:
        with transaction.atomic():
            before = set(ledger.live().misfits) if strict else set()
            _insert(fresh, received, progress)
            if strict:
                after = ledger.live().misfits
                new = [m for key, m in after.items() if key not in before]
                if new:
                    raise Refused(new)
    except BaseException:
        ledger.forget_draft()
        raise
    return len(fresh)


def _not_yet_there(entries: list[Entry]) -> list[Entry]:
    known: dict[str, Entry] = {}
    for start in range(0, len(entries), 500):
        ids = [e.id for e in entries[start : start + 500]]
        for text in EntryRow.objects.filter(id__in=ids).values_list("record", flat=True):
            there = ledger.from_record(text)
            known[there.id] = there
    fresh: dict[str, Entry] = {}
    for e in entries:
        old = known.get(e.id) or fresh.get(e.id)
        if old is None:
            fresh[e.id] = e
        elif old != e:
            raise Refused(
                [
                    Misfit(
                        e.id,
                        "id",
                        f"entry {e.id}, which the book already has with other words",
                        "the same words, or a new id and the old one in 'replaces'",
                    )
                ]
            )
    return list(fresh.values())


def _insert(entries: list[Entry], received: int, progress: Callable[[int], None] | None) -> None:
    columns = ", ".join(ledger.ROW_COLUMNS)
    marks = ", ".join(["%s"] * len(ledger.ROW_COLUMNS))
    with connection.cursor() as cursor:
        for start in range(0, len(entries), 5000):
            part = entries[start : start + 5000]
            cursor.executemany(
                f"INSERT INTO book_entryrow ({columns}) VALUES ({marks})",  # noqa: S608 - names of our own columns
                [ledger.to_row(e, received) for e in part],
            )
            if progress is not None:
                progress(len(part))


def add_readings(readings: Iterable[Reading], *, actor: Person, progress: Callable[[int], None] | None = None) -> None:
    """Add air readings; one already there for its place and time stays as it is."""
    allow(actor, "owner", "hand")
    rows = [
        (
            r.at,
            r.room,
            -1 if r.level is None else r.level,
            r.temperature_c,
            r.humidity_pct,
            msgspec.json.encode(r.extra).decode(),
        )
        for r in readings
    ]
    with transaction.atomic(), connection.cursor() as cursor:
        for start in range(0, len(rows), 10000):
            part = rows[start : start + 10000]
            cursor.executemany(
                "INSERT OR IGNORE INTO book_readingrow (at, room, level, temperature_c, humidity_pct, extra)"
                " VALUES (%s, %s, %s, %s, %s, %s)",
                part,
            )
            if progress is not None:
                progress(len(part))


def set_card(card: FarmCard, *, actor: Person) -> None:
    """Write the farm card."""
    allow(actor, "owner")
    FarmRow.objects.update_or_create(pk=1, defaults={"card": msgspec.to_builtins(card)})


def set_room(room: Room, *, actor: Person) -> None:
    """Add a room or change its set points."""
    allow(actor, "owner")
    RoomRow.objects.update_or_create(
        name=room.room,
        defaults={
            "set_temperature_c": room.set_temperature_c,
            "set_humidity_pct": room.set_humidity_pct,
            "extra": room.extra,
        },
        create_defaults={
            "order": RoomRow.objects.count(),
            "set_temperature_c": room.set_temperature_c,
            "set_humidity_pct": room.set_humidity_pct,
            "extra": room.extra,
        },
    )


def set_bin(bin_: Bin, *, actor: Person) -> None:
    """Add a bin or change its duty and surfaces; where it stands is changed by a 'move' once it has entries."""
    allow(actor, "owner")
    values = {
        "room_id": bin_.room,
        "stack": bin_.stack,
        "level": bin_.level,
        "duty": bin_.duty,
        "floor_cm2": bin_.floor_cm2,
        "hides_cm2": bin_.hides_cm2,
        "extra": bin_.extra,
    }
    ledger.forget_snapshots()
    BinRow.objects.update_or_create(
        name=bin_.bin, defaults=values, create_defaults={"order": BinRow.objects.count(), **values}
    )


def set_tray_type(tray: TrayType, *, actor: Person) -> None:
    """Add a tray type or change its size."""
    allow(actor, "owner")
    values = {
        "length_cm": tray.length_cm,
        "width_cm": tray.width_cm,
        "depth_cm": tray.depth_cm,
        "clear_side_cm": tray.clear_side_cm,
        "extra": tray.extra,
    }
    TrayTypeRow.objects.update_or_create(
        name=tray.tray_type, defaults=values, create_defaults={"order": TrayTypeRow.objects.count(), **values}
    )


def set_person(person: Person, *, actor: Person) -> None:
    """Add a person or change their role; a farm always keeps one owner."""
    allow(actor, "owner")
    old = PersonRow.objects.filter(name=person.person).first()
    others = PersonRow.objects.filter(role="owner").exclude(name=person.person)
    if old is not None and old.role == "owner" and person.role != "owner" and not others.exists():
        raise NotAllowed(f"{person.person} is the only owner; make somebody else an owner first.")
    PersonRow.objects.update_or_create(
        name=person.person,
        defaults={"role": person.role, "extra": person.extra},
        create_defaults={"order": PersonRow.objects.count(), "role": person.role, "extra": person.extra},
    )


def found(folder: FarmFolder, *, actor: Person, progress: Callable[[int], None] | None = None) -> int:
    """Bring a whole farm in: things, entries and readings, all or nothing. Returns the number of new entries."""
    allow(actor, "owner")
    with transaction.atomic():
        set_card(folder.farm, actor=actor)
        for room in folder.rooms:
            set_room(room, actor=actor)
        for bin_ in folder.bins:
            set_bin(bin_, actor=actor)
        for tray in folder.tray_types:
            set_tray_type(tray, actor=actor)
        for person in sorted(folder.people, key=lambda p: p.role != "owner"):
            set_person(person, actor=actor)
        _keep_order(folder)
        new = record(folder.entries, actor=actor, progress=progress)
        add_readings(folder.readings, actor=actor, progress=progress)
    return new


def _keep_order(folder: FarmFolder) -> None:
    """Things stand in the order of the folder, so that an export gives them back in it."""
    _put_in_order(RoomRow.objects.all(), [r.room for r in folder.rooms])
    _put_in_order(BinRow.objects.all(), [b.bin for b in folder.bins])
    _put_in_order(TrayTypeRow.objects.all(), [t.tray_type for t in folder.tray_types])
    _put_in_order(PersonRow.objects.all(), [p.person for p in folder.people])


def _put_in_order(things: QuerySet[Thing], names: list[str]) -> None:
    place = {name: i for i, name in enumerate(names)}
    rows = sorted(things, key=lambda row: (place.get(row.name, len(place)), row.order))
    for i, row in enumerate(rows):
        row.order = i
    things.bulk_update(rows, ["order"])
