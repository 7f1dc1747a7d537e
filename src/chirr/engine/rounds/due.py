"""The job: one thing that is due, why, and how pressing it is."""

from __future__ import annotations

from dataclasses import dataclass

from chirr.engine.rounds.days import Due
from chirr.says import Said, said_n

URGENCIES: tuple[str, ...] = ("overdue", "open", "due", "soon", "optional")
"""overdue: should have been done before; open: a window has begun; due: today; soon: to be ready for, nothing to do
yet; optional: good to do, nothing is lost without."""


@dataclass(frozen=True, kw_only=True)
class Job:
    """One thing to do on a day.

    `key` is the same through the day for the same thing. `place` is `room/stack/level` where there is no bin. `fill`
    are columns that the job itself knows; `asks` columns that only a person can fill.
    """

    key: str
    deed: str
    what: str
    why: str
    urgency: str
    bin: str | None = None
    place: str | None = None
    lot: str | None = None
    clutch: str | None = None
    fill: tuple[tuple[str, str], ...] = ()
    asks: tuple[str, ...] = ()


def urgency_of(turn: Due) -> str:
    """A turn that is late is overdue."""
    return "overdue" if turn.late_days > 0 else "due"


def lateness(turn: Due) -> Said:
    """How late a turn is, as the end of a sentence; empty when it is on time.

    >>> from datetime import date
    >>> lateness(Due(date(2031, 3, 5), 1)), lateness(Due(date(2031, 3, 5), 0))
    (', 1 day late', '')
    """
    return said_n(", {n} day late", ", {n} days late", turn.late_days) if turn.late_days > 0 else Said("")
