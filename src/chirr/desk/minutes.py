"""The minutes that each deed takes on this farm, learnt from its timed entries."""

from __future__ import annotations

from django.db import connection

from chirr.book.standing import Standing
from chirr.engine.rounds.minutes import Minutes, learn

NEWEST = 6000
"""Only so many of the latest timed entries count: the farm of today, not of its beginnings."""


def learnt(standing: Standing, until: int) -> Minutes:
    """Expected minutes by deed and tray type, from entries up to `until`; the defaults where nothing is timed."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT e.deed, e.minutes, e.clutch FROM book_entryrow e WHERE e.minutes IS NOT NULL AND e.at <= %s"
            " AND NOT EXISTS (SELECT 1 FROM book_entryrow r WHERE r.replaces = e.id AND r.at <= %s)"
            " ORDER BY e.at DESC, e.id DESC LIMIT %s",
            (until, until, NEWEST),
        )
        rows = cursor.fetchall()
    clutches = standing.clutches
    return learn((deed, minutes, clutches[c].tray_type if c in clutches else None) for deed, minutes, c in rows)
