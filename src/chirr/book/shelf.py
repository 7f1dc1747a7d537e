"""Reading the things of the farm from the book as plain records."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec
from django.db import connection

from chirr.book import ledger
from chirr.book.models import FarmRow, PersonRow, RoomRow, TrayTypeRow
from chirr.records import FarmCard, FarmFolder, Person, Reading, Room, TrayType


def card() -> FarmCard | None:
    """The farm card; None when no farm is set up yet."""
    row = FarmRow.objects.first()
    return None if row is None else msgspec.convert(row.card, FarmCard)


def rooms() -> list[Room]:
    """The farm's rooms."""
    return [
        Room(room=r.name, set_temperature_c=r.set_temperature_c, set_humidity_pct=r.set_humidity_pct, extra=r.extra)
        for r in RoomRow.objects.all()
    ]


def tray_types() -> list[TrayType]:
    """The farm's sizes of laying tray."""
    return [
        TrayType(tray_type=t.name, length_cm=t.length_cm, width_cm=t.width_cm, depth_cm=t.depth_cm,
                 clear_side_cm=t.clear_side_cm, extra=t.extra)
        for t in TrayTypeRow.objects.all()
    ]  # fmt: skip


def people() -> list[Person]:
    """Everybody who works with the book."""
    return [Person(person=p.name, role=p.role, extra=p.extra) for p in PersonRow.objects.all()]


def readings() -> Iterator[Reading]:
    """All air readings by time, room and level."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT at, room, level, temperature_c, humidity_pct, extra FROM book_readingrow ORDER BY at, room, level"
        )
        rows = cursor.fetchall()
    for at, room, level, temperature_c, humidity_pct, extra in rows:
        yield Reading(
            at=at, room=room, level=None if level < 0 else level, temperature_c=temperature_c,
            humidity_pct=humidity_pct, extra=msgspec.json.decode(extra),
        )  # fmt: skip


Temperature = tuple[int, str, int, float]
"""A reading's time [epoch s], room, level (-1 for the room as a whole) and temperature [degC]."""


def temperatures(since: int, until: int) -> list[Temperature]:
    """What thermometers said from one time to another, both included, in order of time."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT at, room, level, temperature_c FROM book_readingrow WHERE at >= %s AND at <= %s ORDER BY at",
            (since, until),
        )
        return list(cursor.fetchall())


def whole() -> FarmFolder:
    """The whole farm as plain records."""
    farm = card()
    if farm is None:
        raise LookupError("This book holds no farm yet.")
    return FarmFolder(
        farm=farm, rooms=rooms(), bins=ledger.bins(), tray_types=tray_types(), people=people(),
        entries=list(ledger.entries()), readings=list(readings()),
    )  # fmt: skip
