"""Clutches that should have hatched by now: which they are, and how every page and command says so."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date
from zoneinfo import ZoneInfo

from chirr.book.standing import Clutch, Standing
from chirr.desk import clock
from chirr.desk.shapes import ClutchBelief
from chirr.desk.spoken import day_words, say

_NEVER = 4e9
"""No band ends so late [epoch s]; what does has no day."""


def expected_by(belief: ClutchBelief, tz: ZoneInfo) -> date | None:
    """The last day of the band of first pinheads, nine chances in ten, as it was before anybody looked in vain.

    That of the days after looks in vain moves with every look, so that by it no clutch would ever be late.
    """
    end = belief.expected_first.q[6]
    return clock.local(end, tz).date() if math.isfinite(end) and 0 <= end < _NEVER else None


def missed(clutch: Clutch, belief: ClutchBelief | None, now: float, tz: ZoneInfo) -> date | None:
    """The day by which a clutch should have hatched and has not, from the day after it on, as the round has it; else
    None."""
    if belief is None or clutch.hatched_at is not None or clutch.emptied_at is not None:
        return None
    by = expected_by(belief, tz)
    return by if by is not None and clock.local(now, tz).date() > by else None


def overdue_words(by: date) -> str:
    """What takes the place of a day of first pinheads."""
    return say("overdue: expected by {day}, may have failed", day=day_words(by))


def overdue(s: Standing, beliefs: Iterable[ClutchBelief], now: float, tz: ZoneInfo | None = None) -> dict[str, str]:
    """Those of the clutches that are overdue, each with the words for it."""
    zone = tz or clock.zone()
    late = ((b.clutch, missed(s.clutches[b.clutch], b, now, zone)) for b in beliefs if b.clutch in s.clutches)
    return {name: overdue_words(by) for name, by in late if by is not None}
