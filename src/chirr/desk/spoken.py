"""Saying things in the language of the person who reads: sentences, figures, days, and the farm's own words.

Sentences are whole patterns with named parts in braces. Figures inside them take the decimal sign and the grouping of
the language. What is kept in the book, in files and in JSON for machines is never passed through here.
"""

from __future__ import annotations

from datetime import date, datetime
from functools import cache, lru_cache
from typing import Any

from django.utils import formats
from django.utils.translation import get_language, gettext, ngettext, pgettext

from chirr.says import Day, Said

_GROUP, _POINT = "\u0001", "\u0002"


def say(pattern: str, /, **parts: Any) -> str:
    """A sentence with named parts in braces, in the present language."""
    return gettext(pattern).format(**{name: _part(value) for name, value in parts.items()})


def say_n(one: str, many: str, n: int, /, **parts: Any) -> str:
    """A sentence about `n` things, which it may call {n}."""
    return ngettext(one, many, n).format(n=_part(n), **{name: _part(value) for name, value in parts.items()})


def term(kind: str, word: str) -> str:
    """One of the farm's own words (see `desk.terms`), as it is shown: the word that the book keeps stays as it is."""
    return _term(get_language() or "en", kind, word) if word else word


@lru_cache(maxsize=4096)
def _term(_language: str, kind: str, word: str) -> str:
    return pgettext(kind, word)


def again(text: str) -> str:
    """A text of a room that knows no languages, said in the present one; a plain text is looked up as a whole."""
    language = get_language() or "en"
    return str.__str__(text) if not text or language.startswith("en") else _again(language, text)


@lru_cache(maxsize=16384)
def _again(_language: str, text: str) -> str:
    """Kept, because the reasons on a round of hundreds of bins are the same few over and over."""
    if not isinstance(text, Said):
        return gettext(text)
    parts = {name: _part(value) for name, value in text.parts.items()}
    return (ngettext(text.pattern, text.many, text.n) if text.many else gettext(text.pattern)).format(**parts)


def again_in(value: Any) -> Any:
    """Plain data with every text in it said again, whole where the catalogue has it."""
    if isinstance(value, str):
        return again(value)
    if isinstance(value, dict):
        return {key: again_in(x) for key, x in value.items()}
    return [again_in(x) for x in value] if isinstance(value, list | tuple) else value


def language() -> str:
    """The present language as documents name it (BCP 47): 'en-gb', 'es'."""
    return get_language() or "en"


def is_english() -> bool:
    """Whether the present language is that in which the sentences are written."""
    return (get_language() or "en").startswith("en")


class _Figure(float):
    """A number whose formatted form has the signs of the present language."""

    def __format__(self, spec: str) -> str:
        if not spec:
            return local_signs(repr(int(self)) if self.is_integer() else repr(float(self)))
        return local_signs(float.__format__(self, spec))


class _Whole(int):
    def __format__(self, spec: str) -> str:
        return local_signs(int.__format__(self, spec))


def _part(value: Any) -> Any:
    if isinstance(value, Said):
        return again(value)
    if isinstance(value, bool | str):
        return value
    if isinstance(value, int):
        return _Whole(value)
    if isinstance(value, float):
        return _Figure(value)
    return day_words(value) if isinstance(value, Day) else value


@cache
def signs(language: str) -> tuple[str, str]:
    if language.startswith("en"):
        return ",", "."
    return formats.get_format("THOUSAND_SEPARATOR", language), formats.get_format("DECIMAL_SEPARATOR", language)


def decimal_sign() -> str:
    """The decimal sign of the present language."""
    return signs(get_language() or "en")[1]


def local_signs(text: str) -> str:
    """A figure written with ',' between thousands and '.' before decimals, with the signs of the present language."""
    group, point = signs(get_language() or "en")
    if group == ",":
        return text
    return text.replace(",", _GROUP).replace(".", point).replace(_GROUP, group)


def figure(value: float, spec: str = ",.0f") -> str:
    """A number by a format of `format`, with the signs of the present language."""
    return local_signs(format(float(value), spec))


def weekday(n: int) -> str:
    """A weekday in short, 0 being Monday: 'Mon'."""
    return pgettext("weekday", WEEKDAY_WORDS[n])


def day_words(day: date, *, weekday_too: bool = True, year: bool = False) -> str:
    """A day in short: 'Tue 3 Feb', '3 Feb', 'Tue 3 Feb 2031'."""
    month = pgettext("month", MONTH_WORDS[day.month - 1])
    parts = {"weekday": weekday(day.weekday()), "day": str(day.day), "month": month, "year": str(day.year)}
    if weekday_too:
        pattern = (
            pgettext("date", "{weekday} {day} {month} {year}") if year else pgettext("date", "{weekday} {day} {month}")
        )
    else:
        pattern = pgettext("date", "{day} {month} {year}") if year else pgettext("date", "{day} {month}")
    return pattern.format(**parts)


def full_weekdays() -> list[str]:
    """The weekdays in full, from Sunday on."""
    return [gettext(name) for name in FULL_WEEKDAY_WORDS]


def full_months() -> list[str]:
    """The months in full."""
    return [pgettext("full month", name) for name in FULL_MONTH_WORDS]


def short_months() -> list[str]:
    """The months in short."""
    return [pgettext("month", name) for name in MONTH_WORDS]


def moment_words(then: datetime) -> str:
    """A moment: 'Tue 3 Feb 2031, 07:10'."""
    return f"{day_words(then, year=True)}, {then:%H:%M}"


def listed(names: list[str] | tuple[str, ...], last: str = "and") -> str:
    """Names as a list in a sentence: 'a, b and c'; `last` is 'and' or 'or'."""
    if len(names) < 2:
        return "".join(names)
    pattern = pgettext("list", "{names} and {last}") if last == "and" else pgettext("list", "{names} or {last}")
    return pattern.format(names=", ".join(names[:-1]), last=names[-1])


def chance_in_words(chance: float) -> str:
    """A chance in hundredths; draws are finite, so it never says never or always."""
    if chance > 0.99:
        return gettext("more than 99 chances in 100")
    if chance < 0.01:
        return gettext("less than 1 chance in 100")
    return say_n("{n} chance in 100", "{n} chances in 100", round(100 * chance))


WEEKDAY_WORDS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
FULL_WEEKDAY_WORDS = ("Sunday", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday")
MONTH_WORDS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
FULL_MONTH_WORDS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
