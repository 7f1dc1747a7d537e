"""Searching the book: entries that meet a question, newest first, each as a sentence with how it stands."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from functools import reduce
from operator import or_

import msgspec
from django.db.models import Q, QuerySet

from chirr.book import ledger
from chirr.book.models import EntryRow
from chirr.book.replay import voided
from chirr.desk import spoken
from chirr.desk.belief import foresight
from chirr.desk.forms import farm_zone
from chirr.desk.remarks import odd_entries
from chirr.desk.sentences import say
from chirr.desk.shapes import BookPage, StoryLine
from chirr.records import DEEDS, Entry

PAGE = 40


def search(
    *, text: str = "", deed: str = "", person: str = "", bin_: str = "", lot: str = "", clutch: str = "",
    since: date | None = None, until: date | None = None, odd: bool = False, page: int = 1, size: int = PAGE,
) -> BookPage:  # fmt: skip
    """One page of the entries that meet every given condition; `since` and `until` are days of the farm, included.

    `odd`: only those that count for little or nothing, each with why.
    """
    rows = _matching(text.strip(), deed, person, bin_, lot, clutch)
    strange = odd_entries(foresight()) if odd else {}
    if odd:
        rows = rows.filter(id__in=list(strange))
    zone = farm_zone()
    if since is not None:
        rows = rows.filter(at__gte=int(datetime.combine(since, time(), zone).timestamp()))
    if until is not None:
        rows = rows.filter(at__lt=int(datetime.combine(until + timedelta(days=1), time(), zone).timestamp()))
    total = rows.count()
    pages = max(1, -(-total // size))
    page = min(max(page, 1), pages)
    records = rows.order_by("-at", "-id").values_list("record", flat=True)[(page - 1) * size : page * size]
    lines = story_lines([ledger.from_record(r) for r in records])
    lines = tuple(msgspec.structs.replace(x, doubt=strange.get(x.id, "")) for x in lines) if odd else lines
    return BookPage(lines=lines, total=total, page=page, pages=pages)


def _matching(text: str, deed: str, person: str, bin_: str, lot: str, clutch: str) -> QuerySet[EntryRow]:
    rows = EntryRow.objects.all()
    if deed in DEEDS:
        rows = rows.filter(deed=deed)
    if person:
        rows = rows.filter(person=person)
    if bin_:
        rows = rows.filter(Q(bin=bin_) | Q(to_bin=bin_))
    if lot:
        rows = rows.filter(Q(lot=lot) | Q(to_lot=lot) | Q(record__contains=f'"{lot}"', deed="join"))
    if clutch:
        rows = rows.filter(clutch=clutch)
    for word in text.split():
        columns = ("note", "bin", "lot", "clutch", "to_bin", "to_lot", "person", "deed", "id")
        either = [Q(**{f"{c}__icontains": word}) for c in columns] + [Q(record__icontains=f'"substrate":"{word}')]
        rows = rows.filter(reduce(or_, either))
    return rows


def story_lines(entries: Iterable[Entry]) -> tuple[StoryLine, ...]:
    """Entries as sentences, in the order given, each with whether it still stands and what took its place."""
    listed = list(entries)
    standing = _fate([e.id for e in listed])
    misfits = ledger.live().misfits
    lines = []
    for e in listed:
        fate, by = standing.get(e.id, ("", None))
        if not fate and e.id in misfits:
            fate = f"does not fit: {misfits[e.id].found}; expected {misfits[e.id].expected}"
        lines.append(
            StoryLine(
                id=e.id,
                at=e.at,
                person=e.person,
                deed=e.deed,
                says=say(e),
                standing=fate,
                bin=e.bin or e.to_bin,
                lot=e.lot or e.to_lot,
                clutch=e.clutch,
                by=by,
            )
        )
    return tuple(lines)


def _fate(ids: Sequence[str]) -> dict[str, tuple[str, str | None]]:
    """For each id that no longer stands: 'replaced' or 'withdrawn', and the entry that says so."""
    void = voided(ledger.entries("replaces IS NOT NULL"))
    gone = [i for i in ids if i in void]
    fates: dict[str, tuple[str, str | None]] = {}
    for start in range(0, len(gone), 500):
        rows = EntryRow.objects.filter(replaces__in=gone[start : start + 500]).values_list("replaces", "id", "deed")
        for old, new, deed in rows.order_by("at", "id"):
            if new not in void:
                fates[old or ""] = ("withdrawn" if deed == "correct" else "replaced", new)
    return fates | {i: ("withdrawn", None) for i in gone if i not in fates}


def entry(entry_id: str) -> Entry:
    """One entry; LookupError when the book has none of that id."""
    row = EntryRow.objects.filter(id=entry_id).values_list("record", flat=True).first()
    if row is None:
        raise LookupError(spoken.say("The book has no entry {entry}.", entry=entry_id))
    return ledger.from_record(row)


def received(entry_id: str) -> int:
    """When an entry came into the book [epoch s]; LookupError when there is none of that id."""
    at = EntryRow.objects.filter(id=entry_id).values_list("received", flat=True).first()
    if at is None:
        raise LookupError(spoken.say("The book has no entry {entry}.", entry=entry_id))
    return at


def line(entry_id: str) -> StoryLine:
    """One entry as a sentence; LookupError when the book has none of that id."""
    return story_lines([entry(entry_id)])[0]


def line_now(given: Entry) -> StoryLine:
    """An entry in hand as a sentence, as it stands now."""
    return story_lines([given])[0]


def persons() -> list[str]:
    """Everybody who wrote in the book or may write in it."""
    from chirr.book import shelf

    return sorted({p.person for p in shelf.people()})
