"""A farm read from its sheets: every sheet through the same core, then what the sheets say of each other."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator, Set
from contextlib import contextmanager
from operator import attrgetter
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec

from chirr.files.columns import BINS, ENTRIES, PEOPLE, READINGS, ROOMS, SHEETS, TRAY_TYPES, Sheet
from chirr.files.entries import check_entries, check_replaced, give_ids
from chirr.files.faults import Ledger
from chirr.files.kinds import Setting
from chirr.files.rows import Progress, Rows, SheetReader, Table
from chirr.records import FarmCard, FarmFolder, Fault, Reading


class FarmReading(msgspec.Struct, kw_only=True):
    """What came of reading a farm folder or a workbook.

    `folder` holds the rows without fault; None when not even the farm card could be read. `faults` are sorted by file
    and line. `entry_line` is the line of each good entry, by its id; `called` what the file or sheet of each kind of
    row is called in faults. `bad_rows` are the lines that were left out, by file and with the reasons: those with a
    fault of their own, and those that refer to such a row. `can_skip` is False when something is wrong with a file
    as a whole, so that leaving rows out would not heal it.
    """

    source: Path
    folder: FarmFolder | None
    faults: list[Fault]
    entry_line: dict[str, int]
    called: dict[str, str]
    bad_rows: dict[str, dict[int, list[Fault]]]
    can_skip: bool


OpenSheet = Callable[[Sheet, Ledger], Table | None]
"""Gives the raw table of a sheet; None when there is none, having noted a fault if there ought to be."""


def read_sheets(
    source: Path,
    card: FarmCard | None,
    open_sheet: OpenSheet,
    called: dict[str, str],
    ledger: Ledger,
    *,
    in_book: Set[str] = frozenset(),
    progress: Progress | None = None,
) -> FarmReading:
    """Read and check every sheet. `called` is what each sheet is called in faults (a file name, or a sheet)."""
    setting = Setting(zone=ZoneInfo("UTC" if card is None else card.timezone), called=called)
    read: dict[str, Rows] = {}
    with _no_collecting():
        for sheet in SHEETS:
            table = open_sheet(sheet, ledger)
            if table is None:
                rows = Rows(file=called[sheet.name])
            else:
                check = check_entries if sheet is ENTRIES else None
                rows = SheetReader(sheet, table, ledger, check).read(setting, progress)
            _settle(sheet, rows, setting, ledger)
            read[sheet.name] = rows
    check_replaced(read[ENTRIES.name], in_book, ledger)
    faults = ledger.sorted()
    _leave_out(read, in_book, ledger)
    entries = read[ENTRIES.name]
    folder = (
        None if card is None else FarmFolder(farm=card, **{sheet.name: read[sheet.name].records for sheet in SHEETS})
    )
    return FarmReading(
        source=source,
        folder=folder,
        faults=faults,
        entry_line={e.id: line for e, line in zip(entries.records, entries.lines, strict=True)},
        called=called,
        bad_rows=ledger.rows,
        can_skip=not ledger.wholes and card is not None,
    )


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Hold the search for reference cycles: records have none, and looking again and again takes half the time."""
    running = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if running:
            gc.enable()


def _settle(sheet: Sheet, rows: Rows, setting: Setting, ledger: Ledger) -> None:
    """Give ids, take out repeated rows, and make the sheet's names known to the sheets after it."""
    if sheet is ENTRIES:
        give_ids(rows)
    if sheet is READINGS:
        _second_hour(rows, setting.doubled)
        rows.once(lambda r: (r.at, r.room, r.level), "at", ledger)
    else:
        key = str(sheet.key)
        broken = ledger.rows.get(rows.file, {}).items()
        rows.nameless = next((line for line, faults in broken if any(f.column in (None, key) for f in faults)), None)
        rows.once(attrgetter(key), key, ledger)
        names = {getattr(record, key): None for record in rows.records} | dict.fromkeys(rows.bad_keys)
        unreadable = any(fault.file == rows.file for fault in ledger.wholes)
        nobody_listed = sheet is PEOPLE and not names
        unknown = unreadable or nobody_listed or rows.nameless is not None
        setting.names[sheet.name] = None if unknown else names


def _second_hour(rows: Rows, doubled: dict[int, int]) -> None:
    """When the clock is put back and times bear no offset, a place's second reading for a time is an hour later."""
    seen: set[tuple[int, str, int | None]] = set()
    for i, reading in enumerate(rows.records):
        if reading.at not in doubled:
            continue
        place = (reading.at, reading.room, reading.level)
        if place in seen:
            later: Reading = msgspec.structs.replace(reading, at=doubled[reading.at])
            rows.records[i] = later
        seen.add(place)


_REFERS: dict[Sheet, dict[str, Sheet]] = {
    BINS: {"room": ROOMS},
    READINGS: {"room": ROOMS},
    ENTRIES: {"person": PEOPLE, "tray_type": TRAY_TYPES, "bin": BINS, "to_bin": BINS, "to_place": ROOMS},
}
"""Columns that name a row of another sheet."""


def _leave_out(read: dict[str, Rows], in_book: Set[str], ledger: Ledger) -> None:
    """Leave out the rows with faults, and in turn those that refer to a row left out.

    The latter are no faults of their own, so they are noted in the ledger only after its faults were listed.
    """
    if not ledger.rows:
        return
    for sheet in SHEETS:
        rows = read[sheet.name]
        for column, other in _REFERS.get(sheet, {}).items():
            _follow(rows, column, read[other.name], str(other.key), ledger)
        rows.drop(ledger.rows.get(rows.file, {}), sheet.key)
    entries = read[ENTRIES.name]
    size = -1
    while size != len(entries.records):  # a chain of corrections falls from its first broken link
        size = len(entries.records)
        _follow(entries, "replaces", entries, "id", ledger, but=in_book)
        entries.drop(ledger.rows.get(entries.file, {}), "id")


def _follow(rows: Rows, column: str, other: Rows, key: str, ledger: Ledger, *, but: Set[str] = frozenset()) -> None:
    """Note the rows whose `column` names a row of `other` that was left out."""
    good = {getattr(record, key) for record in other.records} | but
    gone = {name: line for name, line in other.bad_keys.items() if name not in good}
    if not gone and other.nameless is None:
        return
    for record, line in zip(rows.records, rows.lines, strict=True):
        name = getattr(record, column)
        name = name.rsplit("/", 2)[0] if name and column == "to_place" else name
        at = gone.get(name, None if name in good else other.nameless)
        if name is not None and at is not None:
            ledger.row(rows.file, line, column, name, f"a row without fault in {other.file}; see its line {at}")
