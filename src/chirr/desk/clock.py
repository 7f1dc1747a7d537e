"""The farm's clock: what time it is there, and where its days begin and end."""

from __future__ import annotations

import time
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from chirr.book import ledger, shelf


def zone() -> ZoneInfo:
    """The farm's time zone; UTC before a farm is set up."""
    card = shelf.card()
    return ZoneInfo(card.timezone if card is not None else "UTC")


def now() -> int:
    """Seconds since 1970 UTC: the wall clock, or the latest entry where the book is ahead of it."""
    return max(int(time.time()), ledger.last_at() or 0)


def local(at: float, tz: ZoneInfo | None = None) -> datetime:
    """A time as the farm's own clock shows it."""
    return datetime.fromtimestamp(at, tz or zone())


def today() -> date:
    """The farm's date now."""
    return local(now()).date()


def day_bounds(day: date, tz: ZoneInfo | None = None) -> tuple[int, int]:
    """First second of a day at the farm, and of the day after (days are not all of 24 hours)."""
    tz = tz or zone()
    start, end = (datetime(d.year, d.month, d.day, tzinfo=tz) for d in (day, day + timedelta(days=1)))
    return int(start.timestamp()), int(end.timestamp())
