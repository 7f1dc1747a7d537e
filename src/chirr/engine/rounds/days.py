"""The farm's turns: when a job that comes round again is due, late, or due next.

A turn is either a number of days (every third day) or a list of weekdays (mon, wed, fri), which leaves the other
days of the week free for ever, where a number of days drifts through the weekends.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from chirr.engine.errors import EngineError
from chirr.says import Day, Said, joined, said, said_n, word

WEEKDAYS: tuple[str, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_LONG = (
    word("Monday"), word("Tuesday"), word("Wednesday"), word("Thursday"), word("Friday"), word("Saturday"),
    word("Sunday"),
)  # fmt: skip

Days = int | tuple[str, ...]
"""Every so many days, or on the named weekdays."""


class BadDays(EngineError, ValueError):  # noqa: N818  named for what happened
    """The turn of a job is neither a number of days nor a list of weekdays."""

    def __init__(self, days: object) -> None:
        super().__init__(
            f"'{days}' does not say how often. Use a whole number of days, 1 or more, or weekdays such as mon, fri."
        )


@dataclass(frozen=True)
class Due:
    """A job that is due: since when, and how many days late that makes it.

    `again` is True where an earlier turn, between today and the day asked about, is taken as done.
    """

    on: date
    late_days: int
    again: bool = False


def next_due(days: Days, last: date) -> date:
    """Day on which a job done on `last` is due again. Raises `BadDays`.

    >>> next_due(3, date(2031, 3, 5))
    datetime.date(2031, 3, 8)
    >>> next_due(("mon", "wed", "fri"), date(2031, 3, 7))  # a Friday: the weekend stays free
    datetime.date(2031, 3, 10)
    """
    if isinstance(days, int):
        if days < 1:
            raise BadDays(days)
        return last + timedelta(days=days)
    wanted = _weekday_numbers(days)
    return next(day for day in (last + timedelta(days=n) for n in range(1, 8)) if day.weekday() in wanted)


def due(days: Days, last: date | None, day: date, *, kept_from: date | None = None) -> Due | None:
    """Whether a job last done on `last` is due on `day`; None when it is not. Raises `BadDays`.

    A job never done (`last` None) is due at once. A day missed is not lost: the job stays due, and late, until it
    is done. With `kept_from` (today) before `day`, the turns from that day up to `day` are taken as kept, which
    tells what will fall due on a day to come.

    >>> due(("mon", "wed", "fri"), date(2031, 3, 3), date(2031, 3, 6))  # a missed Wednesday is late on Thursday
    Due(on=datetime.date(2031, 3, 5), late_days=1, again=False)
    """
    again = False
    if kept_from is not None and kept_from < day:
        last, again = _as_kept(days, last, day, kept_from)
    if last is None:
        _ = next_due(days, day)  # says so if the days themselves are wrong
        return Due(day, 0)
    on = next_due(days, last)
    return Due(on, (day - on).days, again) if on <= day else None


def _as_kept(days: Days, last: date | None, day: date, kept_from: date) -> tuple[date, bool]:
    turn = kept_from if last is None else max(next_due(days, last), kept_from)
    again = False
    while turn < day:
        last, again = turn, True
        turn = next_due(days, turn)
    return (last if last is not None else kept_from), again


def longest_gap_days(days: Days) -> int:
    """Most days from one turn to the next when every turn is kept.

    >>> longest_gap_days(("mon", "wed", "fri"))
    3
    """
    if isinstance(days, int):
        if days < 1:
            raise BadDays(days)
        return days
    wanted = sorted(_weekday_numbers(days))
    return max(b - a for a, b in pairwise([*wanted, wanted[0] + 7]))


def in_words(days: Days) -> Said:
    """A turn as it stands in a sentence.

    >>> in_words(3), in_words(1), in_words(("mon", "wed", "fri"))
    ('every 3 days', 'every day', 'on Monday, Wednesday and Friday')
    """
    if isinstance(days, int):
        return said("every day") if days == 1 else said_n("every {n} day", "every {n} days", days)
    names = [said(_LONG[n]) for n in sorted(_weekday_numbers(days))]
    return (
        said("on {names} and {last}", names=joined(names[:-1]), last=names[-1])
        if len(names) > 1
        else said("on {day}", day=names[0])
    )


def day_in_words(day: date) -> Said:
    """A day as it stands in a sentence.

    >>> day_in_words(date(2031, 3, 5))
    'Wed 5 Mar'
    """
    return Said("{day}", parts={"day": Day.of(day)})


def ago(then: date, day: date) -> Said:
    """How long before `day` something was.

    >>> ago(date(2031, 3, 2), date(2031, 3, 5))
    '3 days ago'
    """
    n = (day - then).days
    return said("today") if n <= 0 else said("yesterday") if n == 1 else said_n("{n} day ago", "{n} days ago", n)


def first_falls(on: date, day: date, today: date) -> bool:
    """Whether a job for one occasion, due from `on`, is on the list of `day`.

    On today's list it stays until it is done; on the list of a day to come it stands only where it first falls due,
    since what is due by then is taken as done.
    """
    return on <= day if day <= today else max(on, today) == day


def _weekday_numbers(days: tuple[str, ...]) -> set[int]:
    if not days or any(name not in WEEKDAYS for name in days):
        raise BadDays(", ".join(days) or "an empty list")
    return {WEEKDAYS.index(name) for name in days}
