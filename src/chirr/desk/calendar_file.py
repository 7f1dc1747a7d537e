"""Turns of the farm as a calendar file (iCalendar, RFC 5545). Facts in, bytes out: no book, no clock.

A turn is a matter of a day, never of an hour, so each is an all-day event: its day as a date, its end the day after
(RFC 5545, 3.6.1: the end is not part of it). Only DTSTAMP is a time, in UTC; so no time zone need be described.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from uuid import UUID, uuid5

import msgspec
from icalendar import Calendar, Event

ASK_AGAIN = timedelta(hours=6)
"""How often a calendar program is asked to look (RFC 7986, 5.7). Beliefs move by the day, not by the minute."""


class Turn(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that falls due. `key` is the same as long as it is the same thing, whatever its day."""

    key: str
    day: date
    says: str
    more: tuple[str, ...] = ()
    kind: str = ""
    path: str = ""
    """Path of the page that tells more."""


def as_icalendar(
    turns: Iterable[Turn], *, name: str, feed: UUID, stamp: datetime, base: str = "", language: str = "en"
) -> bytes:
    """The calendar `name` with these turns, whose words are in `language` (a tag of BCP 47).

    feed: the calendar's own id; with a turn's key it makes the event's UID, the same at every reading.
    stamp: when this was worked out, in UTC. base: address before each turn's path, '' for no links.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//Chirr//Turns of the farm//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)  # what programs knew before RFC 7986
    calendar.add("refresh-interval", ASK_AGAIN, parameters={"VALUE": "DURATION"})
    for turn in turns:
        calendar.add_component(_event(turn, feed, stamp, base, {"LANGUAGE": language}))
    return bytes(calendar.to_ical())


def _event(turn: Turn, feed: UUID, stamp: datetime, base: str, spoken: dict[str, str]) -> Event:
    """`spoken`: the parameter that says in which language a text is (RFC 5545, 3.2.10)."""
    event = Event()
    event.add("uid", str(uuid5(feed, turn.key)))
    event.add("dtstamp", stamp)
    event.add("dtstart", turn.day)
    event.add("dtend", turn.day + timedelta(days=1))
    event.add("summary", turn.says, parameters=spoken)
    if turn.more:
        event.add("description", "\n".join(turn.more), parameters=spoken)
    if turn.kind:
        event.add("categories", [turn.kind], parameters=spoken)
    event.add("transp", "TRANSPARENT")  # work of the farm does not make a person busy in other people's calendars
    if base and turn.path:
        event.add("url", f"{base.rstrip('/')}{turn.path}")
    return event
