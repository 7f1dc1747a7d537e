"""Reading the book: entries in, the standing of the farm out, kept in memory and brought up to date as entries come.

The standing is never the truth: it can be dropped at any time and replayed. A snapshot from a day or two ago saves
replaying from the first entry when a late entry or a correction arrives.

Readers share the standing of what is committed; they only read the book, so none waits for a writer. Whoever writes has
a draft of their own within the transaction, which the readers get when it is committed and nobody when it is not.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import msgspec
from django.db import connection, transaction

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


class _Kept(msgspec.Struct):
    """The standing of all entries up to one by number and id, from bins that first stood so."""

    seq: int
    newest: str
    bins: list[tuple[str, str, int, int, str, float, float, str]]
    standing: Standing


@dataclass(slots=True, eq=False)
class _Draft:
    """What a transaction not yet committed has come to; `commit` is called when it is."""

    kept: _Kept
    commit: Callable[[], None]


_live: dict[str, _Kept] = {}
_draft: dict[str, _Draft] = {}
_owed: dict[str, tuple[int, int, bytes]] = {}
"""Snapshots (seq, at, standing) that the next transaction writes, by book."""


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


def newest() -> tuple[int, str]:
    """Number and id of the newest entry to arrive; (0, '') in an empty book."""
    return EntryRow.objects.order_by("-seq").values_list("seq", "id").first() or (0, "")


def still_has(seq: int, entry_id: str) -> bool:
    """Whether an entry once seen by number and id is still there. If not, the file is another: an older copy, say.

    Entries are only ever added, so a book that has it still has all that came before it.
    """
    return seq == 0 or EntryRow.objects.filter(seq=seq, id=entry_id).exists()


def last_at() -> int | None:
    """Time of the latest entry."""
    return EntryRow.objects.order_by("-at").values_list("at", flat=True).first()


def bins() -> list[Bin]:
    """The farm's bins where they stood at first."""
    return [
        Bin(bin=name, room=room, stack=stack, level=level, duty=duty, floor_cm2=floor_cm2, hides_cm2=hides_cm2,
            extra=msgspec.json.decode(extra))
        for name, room, stack, level, duty, floor_cm2, hides_cm2, extra in bin_rows()
    ]  # fmt: skip


def bin_rows() -> list[tuple[str, str, int, int, str, float, float, str]]:
    """The bins as plain rows, in order: every reading of the standing looks whether they are still the same."""
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
        if connection.in_atomic_block:
            return _within_transaction(key).standing
        _live[key] = _up_to_date(key, _live.get(key))
        return _live[key].standing


def forget() -> None:
    """Drop all that is kept in memory."""
    key = str(connection.settings_dict["NAME"])
    with _lock:
        for kept in (_live, _draft, _owed):
            kept.pop(key, None)


def forget_draft() -> None:
    """Drop what this transaction has come to, as after a part of it was rolled back."""
    with _lock:
        _draft.pop(str(connection.settings_dict["NAME"]), None)


def _within_transaction(key: str) -> _Kept:
    draft = _draft.get(key)
    if draft is None or not any(call[1] is draft.commit for call in connection.run_on_commit):
        draft = _new_draft(key, _up_to_date(key, _live.get(key)))  # any other draft was rolled back
    else:
        draft.kept = _up_to_date(key, draft.kept)
    owed = _owed.pop(key, None)
    if owed is not None:
        SnapshotRow.objects.all().delete()
        SnapshotRow.objects.create(seq=owed[0], at=owed[1], standing=owed[2])
    return draft.kept


def _new_draft(key: str, kept: _Kept) -> _Draft:
    def commit() -> None:
        with _lock:
            if _draft.get(key) is draft:
                del _draft[key]
            now = _live.get(key)
            if now is None or now.seq <= draft.kept.seq:
                _live[key] = draft.kept

    draft = _draft[key] = _Draft(kept, commit)
    transaction.on_commit(commit)
    return draft


def _up_to_date(key: str, now: _Kept | None) -> _Kept:
    (top, top_id), things = newest(), bin_rows()
    if now is not None and now.seq == top and now.newest == top_id and now.bins == things:
        return now
    if now is not None and not still_has(now.seq, now.newest):
        _owed.pop(key, None)  # a snapshot of entries that the book no longer has
        now = None
    if now is None or now.bins != things:
        return _Kept(top, top_id, things, _rebuild(key, top))
    new = list(entries("seq > %s AND seq <= %s", (now.seq, top)))
    if not _follow(now, new):
        return _Kept(top, top_id, things, _rebuild(key, top))
    standing = st.beside(now.standing)
    replay(standing, new, void=set())
    return _Kept(top, top_id, things, standing)


def _follow(now: _Kept, new: list[Entry]) -> bool:
    """Whether entries come after all that is kept, so that they can be replayed on top of it."""
    if any(e.replaces is not None or e.at < now.standing.at for e in new) or _awaited(new):
        return False
    same = [e.id for e in new if e.at == now.standing.at]
    if not same:
        return True
    newest = EntryRow.objects.filter(at=now.standing.at, seq__lte=now.seq).order_by("-id").values_list("id", flat=True)
    return min(same) > str(newest.first() or "")


def _awaited(new: list[Entry]) -> bool:
    """Whether an entry that has just come was voided before it came."""
    return EntryRow.objects.filter(replaces__in=[e.id for e in new[:500]]).exists() if len(new) <= 500 else True


def _rebuild(key: str, top: int) -> Standing:
    void = voided(entries("replaces IS NOT NULL AND seq <= %s", (top,)))
    snapshot = _newest_valid_snapshot(top)
    base = st.decode(bytes(snapshot.standing)) if snapshot else first_standing(bins())
    tail = list(entries("at > %s AND seq <= %s", (base.at, top)) if snapshot else entries("seq <= %s", (top,)))
    if len(tail) > SNAPSHOT_WORTH:
        cut = tail[-1].at - SNAPSHOT_LAG_S
        early = [e for e in tail if e.at <= cut]
        if len(early) > SNAPSHOT_WORTH // 2:
            replay(base, early, void=void)
            _owed[key] = (top, base.at, st.encode(base))
            tail = tail[len(early) :]
    return replay(base, tail, void=void)


def forget_snapshots() -> None:
    """Drop the snapshots in the book, as when the bins themselves are changed."""
    SnapshotRow.objects.all().delete()
    _owed.pop(str(connection.settings_dict["NAME"]), None)


def _newest_valid_snapshot(top: int) -> SnapshotRow | None:
    snapshot = SnapshotRow.objects.filter(seq__lte=top).order_by("-at").first()
    if snapshot is None:
        return None
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT EXISTS(SELECT 1 FROM book_entryrow e LEFT JOIN book_entryrow t ON t.id = e.replaces"
            " WHERE e.seq > %s AND (e.at <= %s OR t.at <= %s))",
            (snapshot.seq, snapshot.at, snapshot.at),
        )
        return None if cursor.fetchone()[0] else snapshot
