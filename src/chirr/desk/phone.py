"""Entries that phones made without a network: each one checked and answered on its own, none written twice.

The phone gives an entry its id and its time when the thing is done. What the book contradicts is kept all the same, as
a misfit for a person to settle (`desk.settle`); only what cannot be an entry at all is refused, and stays on the phone.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Literal

import msgspec
from django.db import transaction

from chirr.book import actions, ledger, shelf
from chirr.book.models import EntryRow
from chirr.desk.forms import FormFaults, entry_from_form, write
from chirr.desk.spoken import say
from chirr.records import Entry, Person

MOST = 500
"""Entries in one sending."""
CLOCK_S = 120
"""A phone's clock that is out by no more than this is taken at its word (judgement)."""
WRITERS = ("owner", "hand")
_UUID7 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")


class Sent(msgspec.Struct, frozen=True, kw_only=True):
    """One entry as a phone sends it: its own id, the phone's time [epoch s], who did it, and the columns as text.

    `since` is the farm's time when phone and farm last spoke before it was made: it cannot be older than that.
    """

    id: str
    at: int
    person: str
    values: dict[str, str]
    since: int = 0


class Sending(msgspec.Struct, frozen=True, kw_only=True):
    """What a phone sends at once; `now` is its own clock as it sends [epoch s].

    `mend`: somebody has just filled a form and stands by to mend it, so what the book contradicts is refused.
    """

    now: int
    entries: list[Sent]
    mend: bool = False


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """What became of one entry: 'taken' now, 'there' already, or 'refused' with a plain sentence.

    `faults`: the same by the field that is wrong; '' is the entry as a whole.
    """

    id: str
    got: Literal["taken", "there", "refused"]
    why: str = ""
    faults: dict[str, str] = {}


def first_entry() -> str:
    """The id of the first entry to arrive, which tells one book from another; '' while it is empty."""
    return EntryRow.objects.order_by("seq").values_list("id", flat=True).first() or ""


def has(entry_id: str) -> bool:
    """Whether the book has an entry."""
    return EntryRow.objects.filter(id=entry_id).exists()


def take(sending: Sending, *, actor: Person, now: int) -> list[Answer]:
    """Write what a phone gathered, and answer each entry in the order given. `now` is the farm's wall clock.

    Raises `NotAllowed` when the person who sends may not write.
    """
    actions.allow(actor, *WRITERS)
    people = {p.person for p in shelf.people() if p.role in WRITERS}
    skew_s = now - sending.now
    read: dict[str, Entry | FormFaults] = {}
    for sent in sending.entries[:MOST]:
        read.setdefault(sent.id, _read(sent, actor, people, now=now, skew_s=skew_s))
    with transaction.atomic():
        there = _there([key for key, entry in read.items() if isinstance(entry, Entry)])
        fresh = [entry for key, entry in read.items() if isinstance(entry, Entry) and key not in there]
        if sending.mend:
            read |= {e.id: wrong for e in fresh if (wrong := _strictly(e, actor)) is not None}
        else:
            actions.record(fresh, actor=actor, strict=False, now=now)
    return [_answer(sent.id, read.get(sent.id), there.get(sent.id)) for sent in sending.entries]


def _strictly(entry: Entry, actor: Person) -> FormFaults | None:
    """Write one entry unless the book contradicts it; then what is wrong with it."""
    try:
        write(entry, actor=actor)
    except FormFaults as wrong:
        return wrong
    return None


def _read(sent: Sent, actor: Person, people: set[str], *, now: int, skew_s: int) -> Entry | FormFaults:
    """The entry that was sent, or why it cannot be one."""
    if not _UUID7.fullmatch(sent.id):
        return FormFaults({"": say("This entry came without a proper number of its own. Write it again.")})
    if sent.person not in people:
        words = say(
            "{person} is not among those who write in this book. Ask the owner.", person=sent.person or say("Nobody")
        )
        return FormFaults({"person": words})
    try:
        entry = entry_from_form({**sent.values, "id": sent.id}, actor=actor, now=now)
    except FormFaults as wrong:
        return wrong
    at, extra = entry.at, {}
    if not sent.values.get("at"):
        at = put_right(sent.at, since=sent.since, now=now, skew_s=skew_s)
        if at != sent.at:
            extra["phone_at"] = _iso(sent.at)
    if sent.person != actor.person:
        extra["sent_by"] = actor.person
    return msgspec.structs.replace(entry, at=at, person=sent.person, extra=extra)


def put_right(at: int, *, since: int, now: int, skew_s: int) -> int:
    """When an entry was made by the farm's clock [epoch s], from the phone's time `at` and how far its clock is out.

    A clock that was set anew in between may still give a time that cannot be: before the phone and the farm last spoke
    (`since`), or still to come. Such a time becomes the nearest that can be.

    >>> put_right(5_000, since=4_000, now=9_000, skew_s=30)
    5000
    >>> put_right(95_000, since=4_000, now=9_000, skew_s=-86_400)
    8600
    >>> put_right(100, since=4_000, now=9_000, skew_s=0)
    4000
    """
    right = at + skew_s if abs(skew_s) > CLOCK_S else at
    if right > now + CLOCK_S:
        return now
    return since if since <= now and right < since - CLOCK_S else right


def _iso(at: int) -> str:
    try:
        return datetime.fromtimestamp(at, UTC).isoformat(timespec="seconds")
    except (OverflowError, ValueError, OSError):
        return str(at)


def _there(ids: Sequence[str]) -> dict[str, Entry]:
    """Those of the entries that the book has."""
    found: dict[str, Entry] = {}
    for start in range(0, len(ids), 500):
        rows = EntryRow.objects.filter(id__in=ids[start : start + 500]).values_list("id", "record")
        found |= {key: ledger.from_record(record) for key, record in rows}
    return found


def _answer(key: str, read: Entry | FormFaults | None, there: Entry | None) -> Answer:
    if read is None:
        read = FormFaults({"": say("Too many entries came at once. Send it again.")})
    elif there is not None and isinstance(read, Entry):
        if _fact(there) == _fact(read):
            return Answer(id=key, got="there")
        read = FormFaults({"": say("The book has another entry of this number. Write it again, as a new one.")})
    if isinstance(read, FormFaults):
        return Answer(id=key, got="refused", why=str(read), faults=read.faults)
    return Answer(id=key, got="taken")


def _fact(entry: Entry) -> Entry:
    """An entry without its time and who sent it, which may be read otherwise at a second sending."""
    return msgspec.structs.replace(entry, at=0, extra={})
