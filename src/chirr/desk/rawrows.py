"""Rows of a farm folder or workbook as they came, for what the records no longer tell: lines, and rows left out."""

from __future__ import annotations

from collections.abc import Container, Iterator
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from chirr.files import delimited, workbook
from chirr.files.columns import ENTRIES, READINGS, Sheet
from chirr.files.faults import Wrong
from chirr.files.kinds import Setting, Time, plain_name
from chirr.files.reading import FarmReading
from chirr.records import Entry

HARMLESS = frozenset(
    {"person", "tray_type", "substrate", "cycle", "age_days", "quantity", "unit", "cv", "sample", "minutes", "note"}
)
"""Columns of an entry that may be wrong without changing what the entry does to the others."""

NAMING = ("lot", "clutch", "to_lot")


class LeftOut(msgspec.Struct):
    """Entries that were left out for a fault of their own, as far as they can still be understood.

    `entries` are those whose effect is clear all the same, by line; `suspects` the lots and clutches that the others
    speak of, each with the line.
    """

    entries: dict[int, Entry]
    suspects: dict[str, str]


class _All(Container[int]):
    def __contains__(self, line: object) -> bool:
        return True


def rows(
    reading: FarmReading, sheet: Sheet, wanted: Container[int] | None = None
) -> Iterator[tuple[int, dict[str, str]]]:
    """Line and cells by column of the wanted rows of a sheet, or of all."""
    source = reading.source
    wanted = _All() if wanted is None else wanted
    if source.is_dir():
        if not (source / sheet.file).exists():
            return
        header, found = delimited.raw_lines(source / sheet.file, sheet, wanted)
    else:
        header, found = workbook.raw_rows(source, sheet, wanted)
    names = [cell.strip().casefold() for cell in header]
    for line, cells in found.items():
        yield line, dict(zip(names, (cell.strip() for cell in cells), strict=False))


def line_of(reading: FarmReading, sheet: Sheet, key: str) -> int | None:
    """The line on which a sheet lists a thing."""
    return next((line for line, row in rows(reading, sheet) if plain_name(row.get(str(sheet.key), "")) == key), None)


def reading_lines(reading: FarmReading, times: Container[int], zone: ZoneInfo) -> dict[tuple[int, str, str], int]:
    """Lines of the air readings taken at these times, by time, room and level as written."""
    read = Time().reader(Setting(zone=zone))
    out: dict[tuple[int, str, str], int] = {}
    for line, row in rows(reading, READINGS):
        at = read(row.get("at", "") or "-")
        if not isinstance(at, Wrong) and at in times:
            out.setdefault((at, plain_name(row.get("room", "")), row.get("level", "")), line)
    return out


def left_out(reading: FarmReading, zone: ZoneInfo) -> LeftOut:
    """What can still be understood of the entries that were left out."""
    bad = reading.bad_rows.get(reading.called[ENTRIES.name], {})
    out = LeftOut({}, {})
    if not bad or not reading.can_skip:
        return out
    for line, row in rows(reading, ENTRIES, bad):
        wrong = {fault.column for fault in bad[line]}
        entry = _entry(row, zone, f"left out, line {line}") if wrong <= HARMLESS else None
        if entry is not None:
            out.entries[line] = entry
        else:
            names = [row.get(column, "") for column in NAMING] + row.get("from_lots", "").split(";")
            out.suspects.update({plain_name(name): f"line {line}" for name in names if name.strip()})
    return out


def _entry(row: dict[str, str], zone: ZoneInfo, stand_in: str) -> Entry | None:
    """The entry without its wrong cells; None when what matters cannot be read."""
    setting, values = Setting(zone=zone), dict[str, Any]()
    for column in ENTRIES.columns:
        text = row.get(column.name, "")
        value = column.kind.reader(setting)(text) if text else column.empty
        values[column.name] = column.empty if isinstance(value, Wrong) else value
    if values["at"] is None or values["deed"] is None:
        return None
    return Entry(**{**values, "id": values["id"] or stand_in})
