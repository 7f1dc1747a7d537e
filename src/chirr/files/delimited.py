"""Comma-separated files, and their cousins with semicolons or tabs: rows of text cells with their line numbers."""

from __future__ import annotations

import csv
import sys
from collections.abc import Container, Iterator
from itertools import islice
from pathlib import Path

import msgspec

from chirr.files.columns import Sheet
from chirr.files.faults import Ledger, clip
from chirr.files.plain import sound
from chirr.files.rows import CHUNK_ROWS, Chunk, Table

DELIMITERS = (",", ";", "\t")
HEADER_LINES = 20
"""Lines that a header may take up, when names of columns have line breaks in them."""
_CUT_OFF = "the line may be cut off"


class _Head(msgspec.Struct):
    delimiter: str
    cells: list[str]
    line: int
    last_line: int


def open_table(folder: Path, sheet: Sheet, ledger: Ledger) -> Table | None:
    """Open the file of a sheet; None when it is missing or unreadable, a fault being noted if that matters."""
    path = folder / sheet.file
    if not sheet.required and not path.exists():
        return None
    if not sound(path, ledger):
        return None
    head = _header(path, sheet)
    if head is None:
        ledger.whole(sheet.file, f"a header row: {','.join(c.name for c in sheet.columns)}", "none", 1)
        return None
    chunks = _chunks(path, sheet.file, head, ledger)
    return Table(
        file=sheet.file, header=head.cells, header_line=head.line, chunks=chunks, decimal_comma=head.delimiter != ","
    )


def raw_lines(path: Path, sheet: Sheet, wanted: Container[int]) -> tuple[list[str], dict[int, list[str]]]:
    """The header, and the cells of the wanted lines as they came."""
    head = _header(path, sheet)
    if head is None:
        return [], {}
    found: dict[int, list[str]] = {}
    broken: dict[int, int] = {}
    last = 0
    for line, cells, trouble in _rows(path, head.delimiter, head.last_line):
        if last:
            broken[last] = line
        last = line if trouble and line in wanted else 0
        if line in wanted and not trouble:
            found[line] = cells
    if last:
        broken[last] = sys.maxsize
    return head.cells, found | _as_text(path, broken)


def _as_text(path: Path, spans: dict[int, int]) -> dict[int, list[str]]:
    """For rows whose cells cannot be told apart, the text from each first line to before the next, as one cell."""
    texts: dict[int, list[str]] = {}
    if spans:
        with path.open(encoding="utf-8-sig", newline="") as file:
            lines = file.readlines()
        for start, end in spans.items():
            texts[start] = ["".join(lines[start - 1 : end - 1]).rstrip("\r\n")]
    return texts


def _header(path: Path, sheet: Sheet) -> _Head | None:
    """The first row that is neither blank nor a comment, if it is a header of this sheet."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        for line, text in enumerate(file, 1):
            bare = text.strip().lstrip('"')
            if bare.strip(",;\t ") and not bare.startswith(("#", "sep=")):
                return _best_head(line, [text, *islice(file, HEADER_LINES - 1)], sheet)
    return None


def _best_head(line: int, texts: list[str], sheet: Sheet) -> _Head | None:
    """The header as the separator splits it that gives most of the names looked for."""
    known = {column.name for column in sheet.columns}
    best, most = None, 0
    for sign in DELIMITERS:
        reader = csv.reader(texts, delimiter=sign)
        cells = next(reader)
        fits = sum(cell.strip().casefold() in known for cell in cells)
        if fits > most:
            best, most = _Head(sign, cells, line, line + reader.line_num - 1), fits
    return best


def _rows(path: Path, delimiter: str, header_line: int) -> Iterator[tuple[int, list[str], str]]:
    """Each row after the header: its first line, its cells, and what is wrong with its quotation marks, if anything."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        for _ in range(header_line):
            file.readline()
        reader = csv.reader(file, delimiter=delimiter, strict=True)
        line = header_line + 1
        while True:
            try:
                for row in reader:
                    yield line, row, ""
                    line = header_line + reader.line_num + 1
                return
            except csv.Error as error:
                yield line, [], str(error)
                line = header_line + reader.line_num + 1


def _chunks(path: Path, name: str, head: _Head, ledger: Ledger) -> Iterator[Chunk]:
    width = len(head.cells)
    lines: list[int] = []
    rows: list[list[str]] = []
    for line, row, trouble in _rows(path, head.delimiter, head.last_line):
        if trouble:
            _quotes(name, line, trouble, ledger)
        elif not "".join(row).strip():
            continue
        elif len(row) == width or (len(row) > width and not "".join(row[width:]).strip()):
            lines.append(line)
            rows.append(row[:width])
            if len(lines) >= CHUNK_ROWS:
                yield lines, rows
                lines, rows = [], []
        else:
            _wrong_width(name, line, row, width, ledger)
    yield lines, rows


def _quotes(name: str, line: int, trouble: str, ledger: Ledger) -> None:
    if "expected after" in trouble:
        ledger.row(name, line, None, "text after a closing quotation mark",
                   'a cell with quotation marks written as "so ""called"" hides"')  # fmt: skip
    else:
        ledger.row(name, line, None, "a quotation mark that is never closed",
                   f"a closing quotation mark; {_CUT_OFF}")  # fmt: skip


def _wrong_width(name: str, line: int, row: list[str], width: int, ledger: Ledger) -> None:
    if len(row) < width:
        ledger.row(name, line, None, f"{len(row)} cells", f"{width} cells, as in the header; {_CUT_OFF}")
    else:
        found = f"{len(row)} cells, the last being {clip(row[-1])}" if row[-1].strip() else f"{len(row)} cells"
        expected = f"{width} cells, as in the header; put a cell that holds the separator in quotation marks"
        ledger.row(name, line, None, found, expected)
