"""Looking a farm folder over before anything of it goes into the book: its cells, its times, its things, its history.

Pure but for reading the folder: what the book holds already comes in as `Before`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from chirr.desk import rawrows
from chirr.desk.lengths import mass_of_length
from chirr.desk.rehearsal import Finding, Where, local, rehearse
from chirr.files.columns import BINS, ENTRIES, PEOPLE, READINGS, ROOMS, TRAY_TYPES
from chirr.files.folder import read_folder
from chirr.files.reading import FarmReading
from chirr.files.workbook import read_workbook
from chirr.records import Bin, Entry, FarmFolder, Fault, Reading, Record

DAY_S = 86_400
AHEAD_S = DAY_S
"""How far an entry may lie after the wall clock: a phone's clock may be a few hours wrong."""
ALONE_S = 60 * DAY_S
"""How far the latest entries of a folder that lies in the future may lie after all the others."""

Progress = Callable[[str, int, int | None], None]
"""Told what is being done, how much of it is done, and of how much where that is known."""

THINGS = (ROOMS, BINS, TRAY_TYPES, PEOPLE)


class Before(msgspec.Struct, kw_only=True):
    """What the book holds before an import; `misfits` are ids of entries that did not fit already."""

    farm: FarmFolder | None = None
    misfits: frozenset[str] = frozenset()


class Looked(msgspec.Struct, kw_only=True):
    """What came of looking a folder over.

    `faults` must be put right; `follow_ons` are rows that only rest on those. `new` is what would go into the book,
    `bad_entries` the reasons of entries that may not (by id), `bad_readings` those of readings.
    """

    reading: FarmReading
    zone: ZoneInfo
    new: FarmFolder | None = None
    faults: list[Fault] = []
    follow_ons: list[Fault] = []
    doubts: list[Fault] = []
    remarks: list[str] = []
    known: int = 0
    bad_entries: dict[str, str] = {}
    can_skip: bool = True


def look_over(
    path: Path, before: Before, *, now: int, skip_bad: bool = False, progress: Progress | None = None
) -> Looked:
    """Read a folder or workbook and find everything that is wrong with it, by itself and beside the book."""
    in_book = {e.id: e for e in before.farm.entries} if before.farm else {}
    read = read_folder if path.is_dir() or path.suffix.lower() != ".xlsx" else read_workbook
    told = None if progress is None else (lambda file, rows: progress(f"Reading {file}", rows, None))
    reading = read(path, in_book=in_book.keys(), progress=told, mass_of_length=mass_of_length)
    zone = ZoneInfo(reading.folder.farm.timezone if reading.folder else "UTC")
    looked = Looked(reading=reading, zone=zone, faults=list(reading.faults), can_skip=reading.can_skip)
    folder = reading.folder
    if folder is None:
        return looked
    if progress is not None:
        progress("Checking the history", 0, None)
    own = set(reading.faults)
    looked.follow_ons = [f for lines in reading.bad_rows.values() for fs in lines.values() for f in fs if f not in own]
    things = _things(looked, before)
    if things:
        looked.faults += things
        looked.can_skip = False
    fresh = _fresh(looked, folder, in_book)
    on_time = _times(looked, folder, fresh, now)
    readings = _readings(looked, folder, before, now)
    base = before.farm.entries if before.farm else []
    looked.new = msgspec.structs.replace(folder, entries=on_time, readings=readings)
    _history(looked, before, base, on_time)
    if skip_bad and looked.can_skip:
        looked.new.entries = _without_misfits(looked, before, base, on_time)
    looked.faults.sort(key=lambda f: (f.file, f.line or 0))
    return looked


def _fresh(looked: Looked, folder: FarmFolder, in_book: dict[str, Entry]) -> list[Entry]:
    """Entries that the book does not have; one that it has with other words is a fault."""
    fresh = []
    for e in folder.entries:
        old = in_book.get(e.id)
        if old is None:
            fresh.append(e)
        elif old == e:
            looked.known += 1
        else:
            columns = [f for f in e.__struct_fields__ if getattr(e, f) != getattr(old, f)]
            _refuse(looked, e, columns[0], f"other words under an id that the book has ({', '.join(columns)})",
                    "the words of the book; to correct them, a new row with this id in 'replaces'")  # fmt: skip
    return fresh


def _refuse(looked: Looked, e: Entry, column: str | None, found: str, expected: str) -> None:
    """Note a fault of an entry that the cells by themselves do not show."""
    file, line = looked.reading.called[ENTRIES.name], looked.reading.entry_line.get(e.id)
    looked.faults.append(Fault(file=file, line=line, column=column, found=found, expected=expected))
    looked.bad_entries[e.id] = f"{column}: found {found}; expected {expected}."


# --- times -------------------------------------------------------------------------------------------------------


def _latest(times: Iterable[int], now: int, zone: ZoneInfo) -> tuple[int, str, bool]:
    """The latest time that can be right, words for it, and whether the times as a whole lie in the future.

    A folder that lies in the future as a whole (an exercise, or a machine whose clock is wrong) is measured by itself:
    a few entries far after all the others are a slip of the pen. With hardly any entries only a gap of years counts.
    """
    ordered = sorted(times)
    n = len(ordered)
    if not n or ordered[n // 2] <= now:
        return now + AHEAD_S, "a time that is not in the future", False
    few = max(n // 100, 2 if n >= 20 else 1)
    others = ordered[: max(1, n - few)]
    span = others[-1] - others[0]
    gap = ALONE_S if n >= 200 else max(ALONE_S, span) if n >= 10 else max(730 * DAY_S, span)
    words = f"a time near those of the other entries, nearly all of which end on {local(others[-1], zone)[:10]}"
    return others[-1] + gap, words, True


def _times(looked: Looked, folder: FarmFolder, fresh: list[Entry], now: int) -> list[Entry]:
    """The entries whose time can be right."""
    latest, expected, ahead = _latest((e.at for e in folder.entries), now, looked.zone)
    if ahead:
        looked.remarks.append(
            f"The entries lie in the future of this machine's clock, which says {local(now, looked.zone)}; "
            "they are taken as they are."
        )
    on_time = []
    for e in fresh:
        if e.at <= latest:
            on_time.append(e)
        else:
            _refuse(looked, e, "at", local(e.at, looked.zone), f"{expected}; check the year and the month")
    return on_time


def _readings(looked: Looked, folder: FarmFolder, before: Before, now: int) -> list[Reading]:
    """The readings whose time can be right and that the book does not contradict."""
    times = [e.at for e in folder.entries] or [r.at for r in folder.readings]
    latest, words, _ = _latest(times, now, looked.zone)
    late_words = f"{words}; check the year and the month"
    old = {(r.at, r.room, r.level): r for r in before.farm.readings} if before.farm else {}
    good, bad = [], list[tuple[Reading, str, str, str]]()
    for r in folder.readings:
        was = old.get((r.at, r.room, r.level))
        if r.at > latest:
            bad.append((r, "at", local(r.at, looked.zone), late_words))
        elif was is None:
            good.append(r)
        elif was != r:
            found = f"{r.temperature_c:g} degrees at {local(r.at, looked.zone)}"
            bad.append(
                (
                    r,
                    "temperature_c",
                    found,
                    f"the {was.temperature_c:g} degrees that the book has for this place and time",
                )
            )
    if bad:
        _note_readings(looked, bad)
    return good


def _note_readings(looked: Looked, bad: list[tuple[Reading, str, str, str]]) -> None:
    file = looked.reading.called[READINGS.name]
    lines = rawrows.reading_lines(looked.reading, {r.at for r, *_ in bad}, looked.zone)
    for r, column, found, expected in bad:
        line = lines.get((r.at, r.room, "" if r.level is None else str(r.level)))
        fault = Fault(file=file, line=line, column=column, found=found, expected=expected)
        looked.faults.append(fault)
        if line is not None:
            looked.reading.bad_rows.setdefault(file, {}).setdefault(line, []).append(fault)


# --- things ------------------------------------------------------------------------------------------------------


def _things(looked: Looked, before: Before) -> list[Fault]:
    """Rooms, bins, tray types, people and the card itself where the folder says otherwise than the book."""
    folder, old = looked.reading.folder, before.farm
    if folder is None or old is None:
        return []
    card_file = looked.reading.called.get("farm", "farm.toml")
    if folder.farm.name != old.farm.name:
        expected = f"{old.farm.name}, whose book this is; name another book with --farm for another farm"
        return [Fault(file=card_file, column="name", found=f"the farm {folder.farm.name}", expected=expected)]
    faults = _changes(card_file, None, "the farm", folder.farm, old.farm)
    for sheet in THINGS:
        key = str(sheet.key)
        was = {getattr(record, key): record for record in getattr(old, sheet.name)}
        for record in getattr(folder, sheet.name):
            name = getattr(record, key)
            if name in was and record != was[name]:
                line = rawrows.line_of(looked.reading, sheet, name)
                faults += _changes(looked.reading.called[sheet.name], line, name, record, was[name])
    return faults


def _changes(file: str, line: int | None, name: str, new: Record, old: Record) -> list[Fault]:
    return [
        Fault(
            file=file, line=line, column=column, found=f"{_shown(getattr(new, column))} for {name}",
            expected=f"{_shown(getattr(old, column))}, as in the book; to change it, use the Farm page",
        )
        for column in _differing(new, old)
    ]  # fmt: skip


def _differing(a: Record, b: Record) -> list[str]:
    return [f for f in a.__struct_fields__ if getattr(a, f) != getattr(b, f)]


def _shown(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple) and value and isinstance(value[0], Record):
        return ", ".join(f"{each.name} from {each.from_mg:g} mg" for each in value)
    return "nothing" if value in (None, (), {}) else str(value)


# --- history -----------------------------------------------------------------------------------------------------


def _bins(looked: Looked, before: Before) -> list[Bin]:
    """The bins of the book, and those that the folder adds."""
    bins = {b.bin: b for b in (looked.new.bins if looked.new else [])}
    bins.update({b.bin: b for b in (before.farm.bins if before.farm else [])})
    return list(bins.values())


def _history(looked: Looked, before: Before, base: list[Entry], new: list[Entry]) -> None:
    """Rehearse book and folder together and note what does not fit.

    Entries with a fault in a harmless cell take part, so that they do not drag down those that rest on them.
    """
    if looked.new is None or _unreadable(looked):
        return
    left = rawrows.left_out(looked.reading, looked.zone)
    there = {e.id for e in base} | {e.id for e in new}
    stand_ins = {e.id: line for line, e in left.entries.items() if e.id not in there}
    late = {n: _where(looked, stand_ins)(e) for e, n in _named_by(looked)}
    rehearsal = rehearse(
        _bins(looked, before), [*base, *new, *(e for e in left.entries.values() if e.id in stand_ins)],
        zone=looked.zone, where=_where(looked, stand_ins), suspects={**late, **left.suspects},
    )  # fmt: skip
    in_book = {e.id for e in base}
    for finding in rehearsal.findings:
        if finding.entry.id not in before.misfits:
            _note(looked, finding, stand_ins, in_book=in_book)
    lines, file = looked.reading.entry_line, looked.reading.called[ENTRIES.name]
    looked.doubts = [
        Fault(file=file, line=lines[entry], found=text) for entry, text in rehearsal.doubts.items() if entry in lines
    ]


def _unreadable(looked: Looked) -> bool:
    """Whether a file on which the history rests could not be read as a whole."""
    needed = {looked.reading.called[sheet.name] for sheet in (ROOMS, BINS, ENTRIES)}
    bad = looked.reading.bad_rows
    return any(f.file in needed and f.line not in bad.get(f.file, {}) for f in looked.reading.faults)


def _named_by(looked: Looked) -> list[tuple[str, str]]:
    """(entry id, name) of lots and clutches in entries already refused, so that what rests on them is told as such."""
    if not looked.bad_entries or looked.reading.folder is None:
        return []
    refused = [e for e in looked.reading.folder.entries if e.id in looked.bad_entries]
    return [(e.id, name) for e in refused for name in (e.lot, e.to_lot, e.clutch, *e.from_lots) if name]


def _where(looked: Looked, stand_ins: dict[str, int]) -> Where:
    lines = looked.reading.entry_line

    def where(entry: str) -> str:
        line = lines.get(entry) or stand_ins.get(entry)
        return f"line {line}" if line else "an entry of the book"

    return where


def _note(looked: Looked, finding: Finding, stand_ins: dict[str, int], *, in_book: set[str]) -> None:
    e, file = finding.entry, looked.reading.called[ENTRIES.name]
    line = looked.reading.entry_line.get(e.id) or stand_ins.get(e.id)
    found = finding.found
    if e.id in in_book:  # true until now, and made untrue by the folder
        found = f"rows after which the book's own {e.deed} of {local(e.at, looked.zone)} would not fit: {found}"
        looked.can_skip = False
    fault = Fault(file=file, line=line, column=finding.column, found=found, expected=finding.expected)
    (looked.follow_ons if finding.rests_on else looked.faults).append(fault)


def _without_misfits(looked: Looked, before: Before, base: list[Entry], new: list[Entry]) -> list[Entry]:
    """The new entries without those that do not fit, nor those that in turn rest on them."""
    kept = new
    while True:
        rehearsal = rehearse(_bins(looked, before), [*base, *kept], zone=looked.zone, where=_where(looked, {}))
        findings = [f for f in rehearsal.findings if f.entry.id not in before.misfits]
        wrong = {f.entry.id: f"{f.column}: found {f.found}; expected {f.expected}." for f in findings}
        if wrong.keys() - {e.id for e in kept}:
            looked.can_skip = False
        for e in kept:
            if e.replaces in looked.bad_entries:
                wrong.setdefault(
                    e.id, "replaces: found a row that was left out; expected that row to be put right first."
                )
        if not wrong or not looked.can_skip:
            return kept
        looked.bad_entries.update(wrong)
        kept = [e for e in kept if e.id not in wrong]
