"""The dairy's book: entries written one after another as the people go round, some late, some wrong and put right."""

from __future__ import annotations

from random import Random
from typing import Any

import msgspec

from chirr.records import Entry


def uuid7(at_ms: int, rng: Random) -> str:
    """A UUID of version 7 (RFC 9562) for a moment, its random part drawn from `rng`."""
    rest = rng.getrandbits(74)
    number = at_ms << 80 | 7 << 76 | (rest >> 62) << 64 | 2 << 62 | rest & (1 << 62) - 1
    text = f"{number:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


class Diary:
    """Writes entries at a running time of day; `written` says when each came into the book."""

    def __init__(self, seed: int) -> None:
        self.rng = Random(seed)  # noqa: S311 - a made-up farm, no secret
        self.entries: list[Entry] = []
        self.written: dict[str, int] = {}
        self.at = 0
        self.who = ""

    def begin(self, at: int, who: str) -> None:
        """Somebody starts a part of the round, not before what was written last."""
        self.at, self.who = max(at, self.at + 60), who

    def write(self, deed: str, spends_s: float, *, timed: float = 0.0, late: float = 0.0, **columns: Any) -> Entry:
        """One entry now. It takes `spends_s`; `timed` and `late` are chances that it is timed, or written up late."""
        self.at += max(1, round(spends_s * self.rng.uniform(0.75, 1.3)))
        if self.rng.random() < timed:
            columns["minutes"] = round(spends_s / 60 * self.rng.uniform(0.7, 1.5), 1)
        written = self.at + (self.rng.randint(2, 26) * 3600 if self.rng.random() < late else 0)
        return self._add(Entry(id=self._id(written), at=self.at, deed=deed, person=self.who, **columns), written)

    def put_right(self, wrong: Entry, note: str, *, after_s: int, **columns: Any) -> Entry:
        """An entry that stands in the place of a wrong one."""
        written = self.written[wrong.id] + after_s
        right = msgspec.structs.replace(wrong, id=self._id(written), replaces=wrong.id, note=note, **columns)
        return self._add(right, written)

    def strike(self, wrong: Entry, note: str, *, after_s: int) -> Entry:
        """An entry that says that a wrong one never happened."""
        written = self.written[wrong.id] + after_s
        what = Entry(
            id=self._id(written), at=written, deed="correct", person=wrong.person, replaces=wrong.id, note=note
        )
        return self._add(what, written)

    def misquote(self, right: Entry, quantity: float, note: str, *, after_s: int) -> None:
        """As if `right` had first been written with another quantity; the true one then stands in its place."""
        wrong = msgspec.structs.replace(right, quantity=quantity)
        self.entries[self.entries.index(right)] = wrong
        self.put_right(wrong, note, after_s=after_s, quantity=right.quantity)

    def repeat(self, entry: Entry) -> Entry:
        """The same thing written a second time, some minutes later."""
        written = self.written[entry.id] + 180
        return self._add(msgspec.structs.replace(entry, id=self._id(written)), written)

    def _id(self, written: int) -> str:
        return uuid7(written * 1000 + self.rng.randrange(1000), self.rng)

    def _add(self, entry: Entry, written: int) -> Entry:
        self.entries.append(entry)
        self.written[entry.id] = written
        return entry

    def up_to(self, now: int) -> list[Entry]:
        """What stands in the book at `now`, in order of time."""
        there = [e for e in self.entries if self.written[e.id] <= now and e.at <= now]
        return sorted(there, key=lambda e: (e.at, e.id))
