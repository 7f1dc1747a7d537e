"""A sentence that is English as it stands, and still knows its pattern and parts, so that it can be said otherwise.

Plain data for the rooms that know no framework: they say their words in English, and whoever shows them
(`chirr.desk.spoken`) says them again in the language of the person who reads.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any


class Said(str):
    """A text with the pattern it was made from: `many` and `n` where there is a form for one and one for many."""

    __slots__ = ("many", "n", "parts", "pattern")

    pattern: str
    many: str
    n: int
    parts: dict[str, Any]

    def __new__(cls, pattern: str, many: str = "", n: int = 1, parts: dict[str, Any] | None = None) -> Said:
        text = super().__new__(cls, (pattern if n == 1 or not many else many).format(**(parts or {})))
        text.pattern, text.many, text.n, text.parts = pattern, many, n, parts or {}
        return text

    def __reduce__(self) -> tuple[Any, ...]:
        return Said, (self.pattern, self.many, self.n, self.parts)


def said(pattern: str, /, **parts: Any) -> Said:
    """A sentence with named parts in braces, formatted as `str.format` does.

    >>> said("{dead:,.0f} dead in lot {lot}", dead=1200.0, lot="A7")
    '1,200 dead in lot A7'
    """
    return Said(pattern, parts=parts)


def said_n(one: str, many: str, n: int, /, **parts: Any) -> Said:
    """A sentence about `n` things, which it may call {n}.

    >>> said_n("{n} day late", "{n} days late", 2)
    '2 days late'
    """
    return Said(one, many, n, {"n": n, **parts})


def joined(texts: Sequence[str], between: str = ", ") -> Said:
    """Texts one after the other, each said again by itself.

    >>> joined(["fed", "watered"])
    'fed, watered'
    """
    parts = {f"p{i}": text for i, text in enumerate(texts)}
    return Said(between.join(f"{{{name}}}" for name in parts), parts=parts)


def word(text: str) -> str:
    """A text as it is, marked for translation where it is shown."""
    return text


class Day(date):
    """A day that is said shortly: 'Wed 5 Mar'."""

    @classmethod
    def of(cls, day: date) -> Day:
        return cls(day.year, day.month, day.day)

    def __format__(self, spec: str) -> str:
        return (
            f"{WEEKDAYS[self.weekday()]} {self.day} {MONTHS[self.month - 1]}" if not spec else super().__format__(spec)
        )


WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
