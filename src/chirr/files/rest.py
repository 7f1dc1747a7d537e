"""The rows that were left out, written as they came with the reason beside each."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path

from chirr.files import delimited, workbook
from chirr.files.columns import ENTRIES, SHEETS, Sheet
from chirr.files.reading import FarmReading

FAULT_COLUMN = "fault"


def write_rest(reading: FarmReading, more_bad_entries: Mapping[str, str], path: Path) -> list[Path]:
    """Write every row left out, as it came, with a `fault` column; return the files written.

    `more_bad_entries` are entries found wrong after the reading (id -> what is wrong). The entries go to `path`; rows
    of another sheet go beside it, into a file with the sheet's name added. A row whose cells cannot be told apart for
    want of a quotation mark stands as one cell.
    """
    written = []
    for sheet in SHEETS:
        reasons = _reasons(reading, sheet)
        if sheet is ENTRIES:
            for entry, reason in more_bad_entries.items():
                if entry in reading.entry_line:
                    reasons.setdefault(reading.entry_line[entry], reason)
        if reasons:
            file = path if sheet is ENTRIES else path.with_name(f"{path.stem}-{sheet.name}{path.suffix}")
            _write(reading, sheet, reasons, file)
            written.append(file)
    return written


def _reasons(reading: FarmReading, sheet: Sheet) -> dict[int, str]:
    lines = reading.bad_rows.get(reading.called[sheet.name], {})
    return {
        line: " ".join(
            f"{fault.column + ': ' if fault.column else ''}found {fault.found}; expected {fault.expected}."
            for fault in faults
        )
        for line, faults in lines.items()
    }


def _write(reading: FarmReading, sheet: Sheet, reasons: Mapping[int, str], file: Path) -> None:
    source = reading.source
    if source.is_dir():
        header, rows = delimited.raw_lines(source / sheet.file, sheet, reasons)
    else:
        header, rows = workbook.raw_rows(source, sheet, reasons)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*header, FAULT_COLUMN])
    for line in sorted(reasons):
        cells = rows.get(line, [])
        cells = cells + [""] * (len(header) - len(cells))
        writer.writerow([*cells, reasons[line]])
    file.parent.mkdir(parents=True, exist_ok=True)
    fresh = file.with_name(f".{file.name}-new")
    fresh.write_text(out.getvalue(), encoding="utf-8", newline="")
    fresh.replace(file)
