"""The grade kept beside the book, and what it warns of.

Pages and the command line only read it here; what makes it is `grade.py`, which asks the belief.
"""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import msgspec
from django.db import connection

from chirr.book import ledger
from chirr.desk import clock
from chirr.desk.grade_cases import DAY
from chirr.desk.grade_report import Grade, drift_sentence
from chirr.desk.spoken import say

DATES = 26
"""The past is forecast from at most so many days."""

STALE_WEEKS = 4
"""A grade is called old from so many weeks on (judgement)."""

WARM_UP_DAYS = 56
"""No forecast is scored before the book is so old."""


class TooShort(LookupError):  # noqa: N818 - it is what is said, not a failure of the program
    """The book does not reach back far enough to grade anything."""


def is_whole(report: Grade) -> bool:
    """Whether it asks at least as many days as a usual grade of this book.

    Only such a report is kept: drift is found in recent answers, and one of few days has too few to find any.
    """
    return len(report.asked) >= len(asked_days())


def long_enough_since() -> int | None:
    """When the book became long enough to be graded [epoch s]; None while it is not."""
    first, last = next(ledger.entries("1", order="at, id LIMIT 1"), None), ledger.last_at()
    if first is None or last is None:
        return None
    since = first.at + (WARM_UP_DAYS + 8) * DAY
    return since if since <= last else None


def asked_days(*, dates: int = DATES, every_days: int = 7) -> tuple[int, ...]:
    """Midnights from which the past is forecast: evenly spread over the book, its first `WARM_UP_DAYS` left out."""
    first = next(ledger.entries("1", order="at, id LIMIT 1"), None)
    last = ledger.last_at()
    if first is None or last is None:
        raise TooShort("The book holds no entries yet, so there is no past to forecast again.")
    days = int((last - first.at) / DAY) - WARM_UP_DAYS - 1
    if days < every_days:
        weeks = (WARM_UP_DAYS + every_days) // 7 + 1
        raise TooShort(
            f"The book is {int((last - first.at) / DAY)} days long; grading needs at least {weeks} weeks, "
            f"because the first {WARM_UP_DAYS // 7} only teach."
        )
    step = max(every_days, days / max(dates, 1))
    start, tz = clock.local(first.at).date() + timedelta(days=WARM_UP_DAYS), clock.zone()
    count = min(dates, int(days / step))
    return tuple(clock.day_bounds(start + timedelta(days=round(step * i)), tz)[0] for i in range(count))


def kept_path() -> Path | None:
    """The file beside the book; None for a book that is only in memory."""
    name = str(connection.settings_dict["NAME"])
    return (
        None if name == ":memory:" or "mode=memory" in name else Path(name).with_name(Path(name).name + ".grade.json")
    )


def kept() -> Grade | None:
    """The last report of this book, or None: never graded, or the file is of another book or cannot be read.

    A book that was put back to an older copy is another book: it no longer has all that was graded.
    """
    path = kept_path()
    try:
        report = msgspec.json.decode(path.read_bytes(), type=Grade) if path is not None else None
    except (OSError, msgspec.DecodeError):
        return None
    if report is None or report.first_entry != first_entry_id():
        return None
    there = not report.newest_entry or ledger.how_many("id = %s", (report.newest_entry,)) == 1
    return report if there else None


def drift_remark(as_of: int | None = None) -> str | None:
    """A warning where bands promise too much, or where nobody has looked for long; None while all is well.

    None too for a look back (`as_of` more than a day ago): the warning is about the forecasts of today.
    """
    if as_of is not None and clock.now() - as_of > DAY:
        return None
    report = kept()
    return stale_sentence(report) if report is None else drift_sentence(report.drift) or stale_sentence(report)


def stale_sentence(report: Grade | None) -> str | None:
    """That the forecasts were never graded, though the book is long enough, or not for weeks; None if they were."""
    last = ledger.last_at()
    if last is None:
        return None
    if report is None:
        try:
            asked_days()
        except TooShort:
            return None
        return say(
            "The forecasts of this book have never been held against what came: “chirr grade” does it, and from then on"
            " a warning stands here when they promise too much."
        )
    weeks = (last - report.made_at) // (7 * DAY)
    if weeks < STALE_WEEKS:
        return None
    return say(
        "The forecasts were last held against what came {weeks} weeks ago, so nobody would know if they had begun to"
        " promise too much: run “chirr grade”.",
        weeks=int(weeks),
    )


def keep(report: Grade) -> None:
    """Whole or not at all."""
    path = kept_path()
    if path is None:
        return
    part = path.with_name(path.name + ".part")
    part.write_bytes(msgspec.json.format(msgspec.json.encode(report), indent=1))
    part.replace(path)


def first_entry_id() -> str:
    first = next(ledger.entries("1", order="at, id LIMIT 1"), None)
    return "" if first is None else first.id
