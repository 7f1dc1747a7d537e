"""What a cell may hold: each kind turns the text of a cell into a value, or into what was expected, and back.

A kind's `reader` gives a function of one text, already stripped and never empty; its `writer` gives the text of a
value, such that reading that text gives the value again.
"""

# ruff: noqa: ARG002 - every kind is asked the same way, though not each needs the setting

from __future__ import annotations

import functools
import re
import unicodedata
import uuid
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import msgspec

from chirr import records
from chirr.files.faults import Wrong, near

Convert = Callable[[str], Any]
Write = Callable[[Any], str]

NAME_AT_MOST = 60
"""Characters in a name: what fits on a label."""

TEXT_AT_MOST = 32_000
"""Characters in a note: a little under what a cell of a spreadsheet holds."""

FIRST_TIME = int(datetime(1990, 1, 1, tzinfo=UTC).timestamp())
LAST_TIME = int(datetime(2200, 1, 1, tzinfo=UTC).timestamp())

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}", re.ASCII)
_EXAMPLE_TIME = "a time such as 2031-02-03T07:10 or 2031-02-03T07:10-05:00"


class Setting(msgspec.Struct):
    """What a reader must know beside the cell.

    `names[sheet]` are the names that a sheet lists, None when it could not be read; `called` what that sheet is
    called here. `doubled` gathers the local times that came twice at a clock change: first reading -> second.
    """

    zone: ZoneInfo
    names: dict[str, Mapping[str, object] | None] = {}
    called: dict[str, str] = {}
    decimal_comma: bool = False
    doubled: dict[int, int] = {}
    hints_left: int = 200

    def near(self, word: str, known: Iterable[str]) -> str:
        """A did-you-mean in brackets; after many of them none, since each costs a search."""
        self.hints_left -= 1
        return near(word, known) if self.hints_left >= 0 else ""


class Kind(msgspec.Struct, frozen=True):
    """A kind of cell: what it holds in the words of a fault, how it is read, how it is written."""

    def says(self) -> str:
        raise NotImplementedError

    def reader(self, setting: Setting) -> Convert:
        raise NotImplementedError

    def writer(self, setting: Setting) -> Write:
        return str


class Text(Kind, frozen=True):
    """Free text, kept as it came."""

    def says(self) -> str:
        return "any text"

    def reader(self, setting: Setting) -> Convert:
        return lambda text: text if len(text) <= TEXT_AT_MOST else Wrong(f"at most {TEXT_AT_MOST:,} characters")

    def writer(self, setting: Setting) -> Write:
        return note_text


class Name(Kind, frozen=True):
    """A name on one line; `listed` is the sheet that must list it, `without` a sign that it may not hold."""

    listed: str | None = None
    without: str = ""
    thing: str = "name"
    at_most: int = NAME_AT_MOST

    def says(self) -> str:
        return f"the name of a {self.thing}" if self.listed else "a name"

    def reader(self, setting: Setting) -> Convert:
        known = setting.names.get(self.listed) if self.listed else None
        where = setting.called.get(self.listed or "", self.listed)

        def read(text: str) -> str | Wrong:
            name = plain_name(text)
            if len(name) > self.at_most:
                return Wrong(f"a name of at most {self.at_most} characters")
            if not name.isprintable() and _CONTROL.search(name):
                return Wrong("a name on one line, without tabs or other control signs")
            if self.without and self.without in name:
                return Wrong(f"a name without '{self.without}', which stands between names in from_lots")
            if known is not None and name not in known:
                return Wrong(f"a {self.thing} listed in {where}{setting.near(name, known)}")
            return name

        return read

    def writer(self, setting: Setting) -> Write:
        return plain_name


class Names(Kind, frozen=True):
    """Several names joined by ';'."""

    def says(self) -> str:
        return "names joined by a semicolon"

    def reader(self, setting: Setting) -> Convert:
        one = Name().reader(setting)

        def read(text: str) -> tuple[str, ...] | Wrong:
            names = [one(part.strip()) for part in text.split(";") if part.strip()]
            wrong = next((name for name in names if isinstance(name, Wrong)), None)
            if wrong is not None:
                return wrong
            return tuple(names) if len(set(names)) == len(names) else Wrong("each lot once, joined by ;")

        return read

    def writer(self, setting: Setting) -> Write:
        return lambda names: ";".join(plain_name(name) for name in names)


class Number(Kind, frozen=True):
    """A number from `low` to `high`; `above` when `low` itself is not allowed, `whole` when it has no fraction."""

    low: float
    high: float
    above: bool = False
    whole: bool = False

    def says(self) -> str:
        kind = "a whole number" if self.whole else "a number"
        low, high = number_text(self.low), f"{int(self.high):,}"
        return f"{kind} above {low} and at most {high}" if self.above else f"{kind} from {low} to {high}"

    def reader(self, setting: Setting) -> Convert:
        comma = setting.decimal_comma

        def read(text: str) -> float | int | Wrong:
            plain = text
            if "," in text and _DECIMAL_COMMA.fullmatch(text):
                if not comma:
                    return Wrong(f"{self.says()}, with a decimal point")
                plain = text.replace(",", ".")
            if not _NUMBER.fullmatch(plain):
                return Wrong(self.says())
            value = float(plain) + 0.0  # no negative nought
            if not self.low <= value <= self.high or (self.above and value == self.low):
                return Wrong(self.says())
            if not self.whole:
                return value
            return int(value) if value == int(value) else Wrong(self.says())

        return read

    def writer(self, setting: Setting) -> Write:
        return number_text


class Choice(Kind, frozen=True):
    """One of a few known words, in any case."""

    of: tuple[str, ...]
    thing: str = ""

    def says(self) -> str:
        return f"one of {', '.join(self.of)}"

    def reader(self, setting: Setting) -> Convert:
        def read(text: str) -> str | Wrong:
            word = text.casefold()
            if word in self.of:
                return word
            hint = setting.near(word, self.of)
            return Wrong(f"a {self.thing} of the book{hint}" if self.thing and hint else f"{self.says()}{hint}")

        return read


class Id(Kind, frozen=True):
    """A UUID of any version, in small letters."""

    def says(self) -> str:
        return "a UUID such as 01c0df05-11c0-7025-9e37-79b97f4a7c15"

    def reader(self, setting: Setting) -> Convert:
        def read(text: str) -> str | Wrong:
            small = text.lower()
            if _UUID.fullmatch(small):
                return small
            try:
                return str(uuid.UUID(small))
            except ValueError:
                return Wrong(self.says())

        return read


class Place(Kind, frozen=True):
    """`room/stack/level`, the room being one of the farm's."""

    def says(self) -> str:
        return "a place written room/stack/level, such as north/2/1"

    def reader(self, setting: Setting) -> Convert:
        room_of = Name("rooms", thing="room").reader(setting)
        stack_of, level_of = STACK.reader(setting), LEVEL.reader(setting)

        def read(text: str) -> str | Wrong:
            parts = [part.strip() for part in text.rsplit("/", 2)]
            if len(parts) != 3 or not all(parts):
                return Wrong(self.says())
            room, stack, level = room_of(parts[0]), stack_of(parts[1]), level_of(parts[2])
            for part, name in ((room, "room"), (stack, "stack"), (level, "level")):
                if isinstance(part, Wrong):
                    return Wrong(f"a place written room/stack/level, with {part.expected} as its {name}")
            return f"{room}/{stack}/{level}"

        return read


class Time(Kind, frozen=True):
    """A moment, in whole seconds since 1970-01-01 UTC; without an offset it is in the farm's zone."""

    def says(self) -> str:
        return _EXAMPLE_TIME

    def reader(self, setting: Setting) -> Convert:
        zone, doubled = setting.zone, setting.doubled

        def read(text: str) -> int | Wrong:
            moment = _moment(text)
            if moment is None:
                return Wrong(_EXAMPLE_TIME)
            if len(text) <= 10:
                return Wrong(f"{_EXAMPLE_TIME}, with the hour")
            if moment.tzinfo is not None:
                at = int(moment.timestamp() // 1)
            else:
                local = _local(moment, zone, doubled)
                if local is None:
                    return Wrong(f"a time that exists: the clocks in {zone.key} skipped this one")
                at = local
            return at if FIRST_TIME <= at < LAST_TIME else Wrong("a time between 1990 and 2200")

        return read

    def writer(self, setting: Setting) -> Write:
        return functools.partial(time_text, zone=setting.zone)


class Days(Kind, frozen=True):
    """How often: a number of days, or weekdays."""

    def says(self) -> str:
        return "a number of days from 1 to 30, or weekdays such as mon wed fri"

    def reader(self, setting: Setting) -> Convert:
        number = Number(1, 30, whole=True).reader(setting)

        def read(text: str) -> records.Days | Wrong:
            words = re.split(r"[\s,;]+", text.casefold())
            if len(words) == 1 and not words[0].isalpha():
                days: int | Wrong = number(text)
                return Wrong(self.says()) if isinstance(days, Wrong) else days
            names = tuple(_WEEKDAYS.get(word, "") for word in words)
            return names if all(names) and len(set(names)) == len(names) else Wrong(self.says())

        return read

    def writer(self, setting: Setting) -> Write:
        return lambda days: str(days) if isinstance(days, int) else " ".join(days)


class Zone(Kind, frozen=True):
    """A time zone of the IANA database."""

    def says(self) -> str:
        return "a time zone such as America/Lima"

    def reader(self, setting: Setting) -> Convert:
        def read(text: str) -> str | Wrong:
            try:
                ZoneInfo(text)
            except (KeyError, ValueError, OSError):
                return Wrong(f"{self.says()}{setting.near(text, available_timezones())}")
            return text

        return read


_LONG_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_WEEKDAYS = {day: day for day in records.WEEKDAYS} | dict(zip(_LONG_DAYS, records.WEEKDAYS, strict=True))

STACK = Number(1, 999, whole=True)
LEVEL = Number(1, 20, whole=True)


def _moment(text: str) -> datetime | None:
    for attempt in (text, text[:11] + text[11:].replace(" ", "")):
        try:
            return datetime.fromisoformat(attempt)
        except ValueError:
            continue
    return None


def _local(moment: datetime, zone: ZoneInfo, doubled: dict[int, int]) -> int | None:
    """Epoch seconds of a wall-clock time, the first where the clock shows it twice, None where it never does."""
    try:
        first = moment.replace(tzinfo=zone)
        at = int(first.timestamp() // 1)
        offset, later = first.utcoffset(), first.replace(fold=1).utcoffset()
    except OverflowError:
        return FIRST_TIME - 1
    if offset == later or offset is None or later is None:
        return at
    if offset < later:  # the clock sprang forward over it
        return None
    doubled[at] = at + int((offset - later) / timedelta(seconds=1))
    return at


def plain_name(text: str) -> str:
    """A name without blanks around it, its accents composed, so that names that look alike are alike."""
    name = text.strip()
    return name if name.isascii() else unicodedata.normalize("NFC", name)


def note_text(text: str) -> str:
    """A note as it came; one of blanks alone is none."""
    return text if text.strip() else ""


def number_text(value: float) -> str:
    """The shortest text that reads back as the same number, without a trailing '.0'."""
    if value == int(value) and abs(value) < 1e15:
        return str(int(value))
    return repr(float(value))


def time_text(at: int, zone: ZoneInfo) -> str:
    """An ISO 8601 time in `zone` with its offset, the seconds only when they are not nought."""
    moment = datetime.fromtimestamp(at, zone)
    return moment.isoformat(timespec="seconds" if moment.second else "minutes")
