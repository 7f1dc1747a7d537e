"""Reading the book: entries in, the standing of the farm out, kept in memory and brought up to date as entries come.

The standing is never the truth: it can be dropped at any time and replayed. A snapshot from a day or two ago saves
replaying from the first entry when a late entry or a correction arrives.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator

import msgspec
from django.db import connection

from chirr.book import standing as st
from chirr.book.models import EntryRow, SnapshotRow
from chirr.book.replay import first_standing, replay, voided
from chirr.book.standing import Standing
from chirr.records import Bin, Entry

Values = tuple[str | int | float | None, ...]

SNAPSHOT_LAG_S = 36 * 3600
SNAPSHOT_WORTH = 3000

_decode_entry = msgspec.json.Decoder(Entry).decode
_encode_entry = msgspec.json.Encoder().encode
_lock = threading.RLock()


class _Live(msgspec.Struct):
    seq: int
    bins: list[tuple[str, str, int, int, str, float, float, str]]
    standing: Standing


_live: dict[str, _Live] = {}


def to_row(e: Entry, received: int) -> Values:
    """An entry as the values of its row, in the order of `ROW_COLUMNS`."""
    return (
        e.id, e.at, received, e.deed, e.person, e.bin, e.lot, e.clutch, e.to_bin, e.to_lot, e.minutes, e.replaces,
        e.note, _encode_entry(e).decode(),
    )  # fmt: skip


ROW_COLUMNS = (
    "id", "at", "received", "deed", "person", "bin", "lot", "clutch", "to_bin", "to_lot", "minutes", "replaces",
    "note", "record",
)  # fmt: skip


def from_record(text: str) -> Entry:
    """The entry that a row's `record` column holds."""
    return _decode_entry(text)


def entries(where: str = "1", values: Values = (), *, order: str = "at, id") -> Iterator[Entry]:
    """Entries that meet an SQL condition over the columns of the entry table, in order."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT record FROM book_entryrow WHERE {where} ORDER BY {order}", values)  # noqa: S608
        while rows := cursor.fetchmany(5000):
            for (text,) in rows:
                yield _decode_entry(text)


def how_many(where: str, values: Values = ()) -> int:
    """Number of entries that meet an SQL condition over the columns of the entry table."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM book_entryrow WHERE {where}", values)  # noqa: S608
        return int(cursor.fetchone()[0])


def top_seq() -> int:
    """The number of the newest entry to arrive; 0 in an empty book."""
    return EntryRow.objects.order_by("-seq").values_list("seq", flat=True).first() or 0


def last_at() -> int | None:
    """Time of the latest entry."""
    return EntryRow.objects.order_by("-at").values_list("at", flat=True).first()


def bins() -> list[Bin]:
    """The farm's bins where they stood at first."""
    return [
        Bin(bin=name, room=room, stack=stack, level=level, duty=duty, floor_cm2=floor_cm2, hides_cm2=hides_cm2,
            extra=msgspec.json.decode(extra))
        for name, room, stack, level, duty, floor_cm2, hides_cm2, extra in _bin_rows()
    ]  # fmt: skip


def _bin_rows() -> list[tuple[str, str, int, int, str, float, float, str]]:
    """The bins as plain rows: every reading of the standing looks whether they are still the same."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT name, room_id, stack, level, duty, floor_cm2, hides_cm2, extra FROM book_binrow"
            ' ORDER BY "order", name'
        )
        return list(cursor.fetchall())


def standing_at(at: int, progress: Callable[[int], None] | None = None) -> Standing:
    """The standing as it was believed at a time: only entries dated up to it, corrections included."""
    return replay(first_standing(bins()), list(entries("at <= %s", (at,))), progress=progress)


def replayed() -> Standing:
    """The standing replayed from the first entry, ignoring everything kept."""
    return replay(first_standing(bins()), list(entries()))


def live() -> Standing:
    """The standing of all entries. Shared by its readers: never change it."""
    key = str(connection.settings_dict["NAME"])
    with _lock:
        now = _live.get(key)
        top, things = top_seq(), _bin_rows()
        if now is None or now.bins != things or now.seq > top:
            if now is not None:
                SnapshotRow.objects.all().delete()
            now = _live[key] = _Live(top, things, _rebuild(top))
        elif now.seq < top:
            new = list(entries("seq > %s", (now.seq,)))
            if all(e.at > now.standing.at and e.replaces is None for e in new) and not _awaited(new):
                replay(now.standing, new, void=set())
                now.seq = top
            else:
                now = _live[key] = _Live(top, things, _rebuild(top))
        return now.standing


def forget() -> None:
    """Drop the standing kept in memory, as after a transaction that was rolled back."""
    with _lock:
        _live.pop(str(connection.settings_dict["NAME"]), None)


def _awaited(new: list[Entry]) -> bool:
    """Whether an entry that has just come was voided before it came."""
    return EntryRow.objects.filter(replaces__in=[e.id for e in new[:500]]).exists() if len(new) <= 500 else True


def _rebuild(top: int) -> Standing:
    void = voided(entries("replaces IS NOT NULL"))
    snapshot = _newest_valid_snapshot()
    base = st.decode(bytes(snapshot.standing)) if snapshot else first_standing(bins())
    tail = list(entries("at > %s", (base.at,)) if snapshot else entries())
    if len(tail) > SNAPSHOT_WORTH:
        cut = tail[-1].at - SNAPSHOT_LAG_S
        early = [e for e in tail if e.at <= cut]
        if len(early) > SNAPSHOT_WORTH // 2:
            replay(base, early, void=void)
            SnapshotRow.objects.all().delete()
            SnapshotRow.objects.create(seq=top, at=base.at, standing=st.encode(base))
            tail = tail[len(early) :]
    return replay(base, tail, void=void)


def _newest_valid_snapshot() -> SnapshotRow | None:
    snapshot = SnapshotRow.objects.order_by("-at").first()
    if snapshot is None:
        return None
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT EXISTS(SELECT 1 FROM book_entryrow e LEFT JOIN book_entryrow t ON t.id = e.replaces"
            " WHERE e.seq > %s AND (e.at <= %s OR t.at <= %s))",
            (snapshot.seq, snapshot.at, snapshot.at),
        )
        stale = cursor.fetchone()[0]
    if stale:
        snapshot.delete()
        return None
    return snapshot
