"""Calendar feeds: an address with a secret in it, which a calendar program reads without signing in."""

from __future__ import annotations

import secrets
from datetime import UTC, datetime
from hashlib import sha256
from uuid import UUID

import msgspec
from django.conf import settings
from django.utils import translation
from uuid_utils.compat import uuid4

from chirr.book import actions, shelf
from chirr.book.models import FeedRow
from chirr.desk import clock
from chirr.desk.calendar_file import as_icalendar
from chirr.desk.forms import FormFaults
from chirr.desk.spoken import say
from chirr.desk.turns import turns
from chirr.records import Person

MOST = 10
"""Feeds of one person."""
WHO = ("owner", "hand")


class FeedShown(msgspec.Struct, frozen=True, kw_only=True):
    """A feed as a person sees it; its address was shown once, when it was made."""

    id: str
    name: str
    person: str
    made_at: int
    last_at: int | None


def make(name: str, language: str, *, actor: Person, now: int) -> str:
    """A new feed of one's own; gives the secret of its address, which is kept nowhere. Raises FormFaults.

    `language`: in which its events are told, since a calendar program does not say which it would have.
    """
    actions.allow(actor, *WHO)
    name = " ".join(name.split())
    if not name or len(name) > 60:
        raise FormFaults({"name": say("Give a name of up to 60 letters, such as the phone or program that reads it.")})
    if language not in dict(settings.LANGUAGES):
        raise FormFaults({"language": say("Choose a language.")})
    if FeedRow.objects.filter(person_id=actor.person).count() >= MOST:
        raise FormFaults({"name": say("You have {n} calendars already. End one first.", n=MOST)})
    token = secrets.token_urlsafe(32)
    FeedRow.objects.create(
        id=str(uuid4()), token=_hashed(token), person_id=actor.person, name=name, language=language, made_at=now
    )  # fmt: skip
    return token


def shown_to(actor: Person) -> list[FeedShown]:
    """One's own feeds; an owner sees everybody's."""
    actions.allow(actor, *WHO)
    rows = FeedRow.objects.order_by("person__order", "made_at")
    if actor.role != "owner":
        rows = rows.filter(person_id=actor.person)
    return [
        FeedShown(id=r.id, name=r.name, person=r.person_id, made_at=r.made_at, last_at=r.last_at) for r in rows
    ]  # fmt: skip


def end(feed_id: str, *, actor: Person) -> str:
    """End a feed: its address answers nobody any more. Gives its name; LookupError where it is not theirs to end."""
    for feed in shown_to(actor):
        if feed.id == feed_id:
            FeedRow.objects.filter(id=feed_id).delete()
            return feed.name
    raise LookupError(say("There is no such calendar, or it has been ended already."))


def read(token: str, *, now: int, base: str) -> bytes | None:
    """The feed with this secret as a calendar file; None when there is none, or its person may not read it any more."""
    row = FeedRow.objects.select_related("person").filter(token=_hashed(token)).first()
    if row is None or row.person.role not in WHO or row.person.user_id is None:
        return None
    FeedRow.objects.filter(id=row.id).update(last_at=now)
    card = shelf.card()
    with translation.override(row.language):
        told = turns()
    return as_icalendar(
        told, name=f"{card.name if card else 'Chirr'}: {row.name}", feed=UUID(row.id),
        stamp=datetime.fromtimestamp(clock.now(), UTC), base=base, language=row.language,
    )  # fmt: skip


def _hashed(token: str) -> str:
    return sha256(token.encode()).hexdigest()
