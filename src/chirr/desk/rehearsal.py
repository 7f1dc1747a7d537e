"""Rehearsing entries before they go into the book: what contradicts what, told as a farmer would tell it.

Pure: entries in, findings out. Nothing here reads the book or writes to it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

import msgspec

from chirr.book.replay import first_standing, replay, voided
from chirr.book.standing import Misfit, Standing
from chirr.files.faults import near
from chirr.records import Bin, Entry

PLACING = frozenset({"stock", "pull", "move", "split", "join", "harvest", "retire", "hatch"})
"""Deeds that settle where a lot lives; when one of them does not fit, what follows may not fit either."""

DONE = {"harvest": "harvested", "retire": "retired", "join": "joined into another lot"}
HINTS = 200
"""Most findings of one rehearsal that look for a near name."""

BEGINS = {"clutch": ("lays", "laid"), "lot": ("begins", "begun")}

_UTC = re.compile(r"(\d{4}-\d\d-\d\d \d\d:\d\d) UTC")
_DWELLER = re.compile(r"where lot (.+) lives")


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """An entry that contradicts the rest; `rests_on` is the row to put right first when it only follows from that."""

    entry: Entry
    column: str
    found: str
    expected: str
    rests_on: str = ""


class Rehearsal(msgspec.Struct, frozen=True):
    """The farm as it would stand, and what would not fit; doubts by entry id."""

    standing: Standing
    findings: list[Finding]
    doubts: dict[str, str]


Where = Callable[[str], str]
"""How to point at an entry by its id: 'line 12', or words for one that is in the book already."""


def rehearse(
    bins: Iterable[Bin],
    entries: Collection[Entry],
    *,
    zone: ZoneInfo,
    where: Where,
    suspects: Mapping[str, str] | None = None,
) -> Rehearsal:
    """Replay `entries` on empty bins and tell what does not fit.

    `suspects` are names of lots and clutches that stand in rows left out of `entries` because they are faulty in
    themselves, each with words that point at that row.
    """
    entries = list(entries)
    void = voided(entries)
    standing = replay(first_standing(bins), entries, void=void)
    if not standing.misfits:
        return Rehearsal(standing, [], _in_zone(standing.doubts, zone))
    teller = _Teller(standing, [e for e in entries if e.id not in void], zone, where, suspects or {})
    return Rehearsal(standing, teller.findings(), _in_zone(standing.doubts, zone))


def local(at: int, zone: ZoneInfo) -> str:
    """A time as it stands in a sentence, in the farm's zone."""
    return datetime.fromtimestamp(at, zone).strftime("%Y-%m-%d %H:%M")


def in_zone(text: str, zone: ZoneInfo) -> str:
    """A sentence of the book with its times in the farm's zone."""

    def turn(found: re.Match[str]) -> str:
        return local(int(datetime.fromisoformat(found[1] + "+00:00").timestamp()), zone)

    return _UTC.sub(turn, text)


def _in_zone(sentences: Mapping[str, str], zone: ZoneInfo) -> dict[str, str]:
    return {key: in_zone(text, zone) for key, text in sentences.items()}


class _Teller:
    """Tells each misfit with what it knows of the other entries."""

    def __init__(
        self, standing: Standing, entries: list[Entry], zone: ZoneInfo, where: Where, suspects: Mapping[str, str]
    ) -> None:
        self.s, self.zone, self.where, self.suspects = standing, zone, where, suspects
        self.entries = sorted(entries, key=lambda e: (e.at, e.id))
        self.laid: dict[str, Entry] = {}
        self.begun: dict[str, Entry] = {}
        for e in self.entries:
            if e.deed == "lay" and e.clutch:
                self.laid.setdefault(e.clutch, e)
            if name := e.lot if e.deed == "stock" else e.to_lot:
                self.begun.setdefault(name, e)
        self.hints_left = HINTS
        self.loose: dict[str, Entry] = {}
        """By lot or clutch, the first misfit that would have settled where it is."""

    def findings(self) -> list[Finding]:
        out = []
        for e in self.entries:
            misfit = self.s.misfits.get(e.id)
            if misfit is None:
                continue
            out.append(self._tell(e, misfit))
            if e.deed in PLACING:
                for name in _names(e):
                    self.loose.setdefault(name, e)
        return out

    def _tell(self, e: Entry, m: Misfit) -> Finding:
        told = None
        if m.column == "clutch" and e.clutch:
            told = self._start(e, m, "clutch", e.clutch) or self._laid_twice(e)
        elif m.column in ("lot", "to_lot", "from_lots"):
            name = max((n for n in _names(e) if m.found.startswith(f"lot {n}")), key=len, default="")
            told = (self._ended(e, m, name) or self._start(e, m, "lot", name)) if name else None
        return told or self._of_place(e, m) or self._finding(e, m.column, m.found, m.expected)

    def _finding(self, e: Entry, column: str, found: str, expected: str) -> Finding:
        return Finding(entry=e, column=column, found=in_zone(found, self.zone), expected=in_zone(expected, self.zone))

    def _follows(self, e: Entry, m: Misfit, row: str) -> Finding:
        expected = f"{row} to be put right first, since this row rests on it"
        return Finding(entry=e, column=m.column, found=in_zone(m.found, self.zone), expected=expected, rests_on=row)

    def _start(self, e: Entry, m: Misfit, kind: str, name: str) -> Finding | None:
        """A lot or clutch that is not there yet at the time of the entry: never, later, or by a row that is wrong."""
        thing, (does, done) = f"{kind} {name}", BEGINS[kind]
        starts = self.laid if kind == "clutch" else self.begun
        start = starts.get(name)
        if start is None:
            if name in self.suspects:
                return self._follows(e, m, self.suspects[name])
            self.hints_left -= 1  # each costs a search
            hint = near(name, starts) if self.hints_left >= 0 else ""
            return self._finding(
                e, m.column, f"{thing}, which no row {does}", f"one that was {done} before this time{hint}"
            )
        if start.at > e.at:
            found = f"{e.deed} of {thing} on {local(e.at, self.zone)}"
            expected = f"a time after {local(start.at, self.zone)}, when it is {done} ({self.where(start.id)})"
            return self._finding(e, m.column, found, expected)
        if start.id in self.s.misfits and start is not e:
            return self._follows(e, m, self.where(start.id))
        return None

    def _laid_twice(self, e: Entry) -> Finding | None:
        lay = self.laid.get(e.clutch or "")
        if e.deed != "lay" or lay is None or lay is e:
            return None
        found = f"clutch {e.clutch}, laid already on {local(lay.at, self.zone)} ({self.where(lay.id)})"
        return self._finding(e, "clutch", found, "a name that no other clutch has")

    def _ended(self, e: Entry, m: Misfit, name: str) -> Finding | None:
        lot = self.s.lots.get(name)
        if lot is None or lot.ended_at is None or "ended" not in m.found:
            return None
        ends = (x for x in self.entries if x.at == lot.ended_at and x.deed == lot.ended_by and x is not e)
        end = next((x for x in ends if name in (x.lot, *x.from_lots)), None)
        line = f" ({self.where(end.id)})" if end is not None else ""
        found = f"lot {name}, {DONE.get(lot.ended_by or '', 'ended')} on {local(lot.ended_at, self.zone)}{line}"
        return self._finding(e, m.column, found, "a lot that is still here at this time")

    def _of_place(self, e: Entry, m: Misfit) -> Finding | None:
        """A bin that is taken, or a lot that lives elsewhere: perhaps because an earlier row does not fit."""
        if " lives" not in m.found:
            return None
        dweller = _DWELLER.search(m.found)
        for name in _names(e) + ([dweller[1]] if dweller else []):
            if (before := self.loose.get(name)) is not None and before is not e:
                return self._follows(e, m, self.where(before.id))
            if name in self.suspects:
                return self._follows(e, m, self.suspects[name])
        since = self._since(dweller[1], e) if dweller else ""
        return self._finding(e, m.column, m.found + since, m.expected)

    def _since(self, lot: str, e: Entry) -> str:
        stays = self.s.lots[lot].stays if lot in self.s.lots else []
        at = next((s.at for s in reversed(stays) if s.at <= e.at and s.bin in (e.bin, e.to_bin)), None)
        return "" if at is None else f" since {local(at, self.zone)}"


def _names(e: Entry) -> list[str]:
    """Lots and clutches that an entry speaks of."""
    return [name for name in (e.lot, e.to_lot, e.clutch, *e.from_lots) if name]
