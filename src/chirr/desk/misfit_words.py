"""What the book says does not fit, said in the language of the reader.

The book knows no languages and keeps its findings in English, in snapshots too; here they are read back by their
patterns. A finding that no pattern knows is shown as it stands.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from functools import cache

from chirr.desk import clock
from chirr.desk.spoken import is_english, moment_words, say, term
from chirr.says import word

PATTERNS = (
    word("bin {bin}"),
    word("a bin that the farm has"),
    word("lot {lot}"),
    word("a lot that was stocked, hatched or split before this time"),
    word("lot {lot}, which ended by {how} on {when}"),
    word("a lot that is still here"),
    word("clutch {clutch}"),
    word("a clutch that was laid before this time"),
    word("clutch {clutch}, emptied on {when}"),
    word("a clutch that is not emptied yet"),
    word("bin {bin}, where lot {lot} lives"),
    word("an empty bin, or the lot that lives there"),
    word("a place written room/stack/level, such as north/2/1"),
    word("lot {lot}, already in the book"),
    word("a new name for newly stocked crickets"),
    word("clutch {clutch}, already in the book"),
    word("a name that no other clutch has"),
    word("lot {lot}, which lives in bin {bin}"),
    word("the breeders of bin {bin}"),
    word("the lot of bin {bin}, or a new one"),
    word("the lot of bin {bin}, or a new name"),
    word("bin {bin} still holds lot {lot}: tip it over before clutch {clutch} hatches"),
    word("clutch {clutch}, pulled already on {when}"),
    word("a tray still in its breeding bin"),
    word("clutch {clutch}, whose first pinheads were seen on {when}"),
    word("a clutch not hatched yet"),
    word("clutch {clutch} hatched in the breeding bin: adults eat pinheads, pull it"),
    word("clutch {clutch} hatched on the rack: move it into a bin and name its lot"),
    word("eggs counted for lot {lot}"),
    word("pinheads or crickets for a lot, or the clutch whose eggs were counted"),
    word("clutch {clutch}, still in its breeding bin"),
    word("a pulled clutch; write 'pull' for a tray that comes out"),
    word("bin {bin} already stands at {place}"),
    word("another name for the part that is split off"),
    word("lot {lot} itself"),
    word("at least two lots to join"),
    word("an empty bin, or one of the lots that are joined"),
    word("entry {entry}"),
    word("an entry that the book has"),
)


@cache
def _readers(patterns: tuple[str, ...]) -> tuple[tuple[re.Pattern[str], str], ...]:
    """The patterns as expressions that read them, the most particular ones first."""

    def reader(pattern: str) -> re.Pattern[str]:
        return re.compile(re.sub(r"\\{(\w+)\\}", r"(?P<\1>.+?)", re.escape(pattern)))

    return tuple((reader(p), p) for p in sorted(patterns, key=lambda p: -len(re.sub(r"{\w+}", "", p))))


def by_pattern(text: str, patterns: tuple[str, ...]) -> str:
    """A text that one of the patterns made, in the present language; another as it stands."""
    if is_english():
        return text
    for reader, pattern in _readers(patterns):
        if match := reader.fullmatch(text):
            parts = match.groupdict()
            if "how" in parts:
                parts["how"] = term("deed", parts["how"])
            parts |= {name: read_back(parts[name]) for name in ("found", "expected") if name in parts}
            return say(pattern, **parts)
    return text


def read_back(text: str) -> str:
    """A finding of the book in the present language, its times as the farm's clocks show them."""
    return in_farm_time(by_pattern(text, PATTERNS))


def in_farm_time(text: str) -> str:
    """A text with the times that the book wrote into it as the farm's clocks show them."""
    return _TIME.sub(_farm_time, text)


_TIME = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d UTC")
"""A time as the book writes it into a finding."""


def _farm_time(found: re.Match[str]) -> str:
    at = datetime.strptime(found[0], "%Y-%m-%d %H:%M UTC").replace(tzinfo=UTC)
    return moment_words(at.astimezone(clock.zone()))


def does_not_fit(found: str, expected: str) -> str:
    """A finding about one's own entry, as a sentence."""
    found = read_back(found)
    return say(
        "{found} does not fit here; expected {expected}.",
        found=found[:1].upper() + found[1:],
        expected=read_back(expected),
    )


def sentence(standing: str) -> str:
    """The standing 'does not fit: found; expected expected' as a sentence; another standing as it is."""
    match = re.fullmatch(r"does not fit: (.*); expected (.*)", standing, re.DOTALL)
    if match is None:
        return standing
    return say(
        "It does not fit: {found}; expected {expected}.", found=read_back(match[1]), expected=read_back(match[2])
    )
