"""From rows of text cells to records, a column at a time: a text that repeats is read once.

The same core serves the farm folder and the workbook; they only bring the cells.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator
from typing import Any

import msgspec

from chirr.files.columns import Column, Sheet
from chirr.files.faults import EMPTY, Ledger, Wrong, near
from chirr.files.kinds import Convert, Setting, Text

MAX_ROWS = 5_000_000
CHUNK_ROWS = 5_000
CACHE_AT_MOST = 200_000

Progress = Callable[[str, int], None]
"""Told the file and the number of its rows read or written so far."""

Chunk = tuple[list[int], list[list[str]]]
"""Line numbers, and the cells of each of those lines, as many as the header has."""

RowFault = tuple[int, str, str]
"""Index of a row in a chunk, the column, what was expected."""

RowCheck = Callable[[dict[str, list[Any]]], Iterator[RowFault]]
"""Looks at the values of a chunk by column; a value may be a `Wrong` that is noted already."""


class Table(msgspec.Struct, kw_only=True):
    """A sheet as it came: the header and an iterator over the rows."""

    file: str
    header: list[str]
    header_line: int
    chunks: Iterable[Chunk]
    decimal_comma: bool = False


class Rows(msgspec.Struct):
    """The good rows of a sheet as records, with their lines, and the keys of the rows left out (key -> line)."""

    file: str
    records: list[Any] = []
    lines: list[int] = []
    bad_keys: dict[str, int] = {}
    nameless: int | None = None
    """Line of a row left out whose key could not be read: any name that is missing elsewhere may be this one."""

    def drop(self, lines: Container[int], key: str | None) -> None:
        """Leave out the rows on these lines, remembering their keys."""
        pairs = list(zip(self.records, self.lines, strict=True))
        kept = [(record, line) for record, line in pairs if line not in lines]
        if key is not None and len(kept) < len(pairs):
            for record, line in pairs:
                if line in lines:
                    self.bad_keys.setdefault(getattr(record, key), line)
        self.records, self.lines = [record for record, _ in kept], [line for _, line in kept]

    def once(self, key: Callable[[Any], Any], column: str, ledger: Ledger) -> None:
        """Leave out rows that repeat an earlier one word for word; note those that share its key but differ."""
        first: dict[Any, int] = {}
        records: list[Any] = []
        lines: list[int] = []
        for record, line in zip(self.records, self.lines, strict=True):
            name = key(record)
            at = first.setdefault(name, len(records))
            if at == len(records):
                records.append(record)
                lines.append(line)
            elif records[at] != record:
                expected = f"each only once; line {lines[at]} has it already and says something else"
                ledger.row(self.file, line, column, name if isinstance(name, str) else "a second reading", expected)
        self.records, self.lines = records, lines


class _Reader(msgspec.Struct):
    """A known column of a file: where it stands, how it is read, and what was read so far."""

    column: Column
    at: int
    convert: Convert
    cache: dict[str, Any] = {}

    def read(self, texts: tuple[str, ...]) -> tuple[list[Any], list[int]]:
        """The values of the cells, and the indices of those that are wrong."""
        cache = self.cache
        if len(cache) > CACHE_AT_MOST:
            cache.clear()
        wrong = False
        for cell in set(texts):
            value = cache.get(cell, cache)
            if value is cache:
                value = cache[cell] = self._one(cell)
            wrong = wrong or type(value) is Wrong
        values = list(map(cache.__getitem__, texts))
        return values, [i for i, value in enumerate(values) if type(value) is Wrong] if wrong else []

    def _one(self, cell: str) -> Any:
        text = cell.strip()
        if text:
            return self.convert(cell if isinstance(self.column.kind, Text) else text)
        return Wrong(self.column.kind.says()) if self.column.required else self.column.empty


class SheetReader:
    """Reads one sheet: good rows become records, every fault of the others is noted in the ledger."""

    def __init__(self, sheet: Sheet, table: Table, ledger: Ledger, check: RowCheck | None = None) -> None:
        self.sheet, self.table, self.ledger, self.check = sheet, table, ledger, check
        self.rows = Rows(file=table.file)
        self.readers: list[_Reader] = []
        self.place: dict[str, int] = {}
        self.extra: list[tuple[str, int]] = []
        self.nameless: list[int] = []

    def read(self, setting: Setting, progress: Progress | None = None) -> Rows:
        """Read every row. When the header will not do, or there are too many rows, there are none."""
        if not self._header():
            return self.rows
        file = self.table.file
        setting.decimal_comma = self.table.decimal_comma
        self.readers = [
            _Reader(column, self.place[column.name], column.kind.reader(setting))
            for column in self.sheet.columns
            if column.name in self.place
        ]
        total = 0
        for lines, cells in self.table.chunks:
            total += len(lines)
            if total > MAX_ROWS:
                self.ledger.whole(file, f"at most {MAX_ROWS:,} rows; keep only the later years here", "more rows")
                return Rows(file=file)
            if lines:
                self._chunk(lines, cells)
            if progress is not None:
                progress(file, total)
        return self.rows

    def _header(self) -> bool:
        """Match the header with the sheet's columns; False, with faults noted, when it will not do."""
        file, line = self.table.file, self.table.header_line
        known = {column.name for column in self.sheet.columns}
        sound = True
        for i, cell in enumerate(self.table.header):
            name = " ".join(cell.split())
            label = name.casefold() if name.casefold() in known else name
            if not name:
                self.nameless.append(i)
            elif label in self.place:
                self.ledger.whole(file, "each column once", "the column twice", line, label)
                sound = False
            else:
                self.place[label] = i
        self.extra = [(name, at) for name, at in self.place.items() if name not in known]
        for column in self.sheet.columns:
            if column.required and column.name not in self.place:
                hint = near(column.name, [name for name, _ in self.extra])
                self.ledger.whole(file, f"a column {column.name}{hint}", "no such column", line, column.name)
                sound = False
        return sound

    def _chunk(self, lines: list[int], cells: list[list[str]]) -> None:
        texts = list(zip(*cells, strict=True))
        values: dict[str, list[Any]] = {}
        bad: set[int] = set()

        def fault(i: int, column: str | None, found: str, expected: str) -> None:
            self.ledger.row(self.table.file, lines[i], column, found.strip() or EMPTY, expected)
            bad.add(i)

        for reader in self.readers:
            name, column = reader.column.name, texts[reader.at]
            values[name], wrongs = reader.read(column)
            for i in wrongs:
                fault(i, name, column[i], values[name][i].expected)
        for at in self.nameless:
            for i in [i for i, cell in enumerate(texts[at]) if cell.strip()]:
                fault(i, None, texts[at][i], "cells only under a column that has a name")
        for i, name, expected in self.check(values) if self.check else ():
            fault(i, name, cells[i][self.place[name]] if name in self.place else "", expected)
        self._keep(values, texts, lines, bad)

    def _keep(
        self, values: dict[str, list[Any]], texts: list[tuple[str, ...]], lines: list[int], bad: set[int]
    ) -> None:
        """Make records of the good rows and remember the keys of the bad ones."""
        if self.extra:
            columns = [(name, texts[at]) for name, at in self.extra]
            values["extra"] = [{name: column[i] for name, column in columns if column[i]} for i in range(len(lines))]
        for column in self.sheet.columns:
            if column.empty is not None:
                values.setdefault(column.name, [column.empty] * len(lines))
        names, record, rows = tuple(values), self.sheet.record, self.rows
        cells = zip(*values.values(), strict=True)
        if not bad:
            rows.records += [record(**dict(zip(names, row, strict=True))) for row in cells]
            rows.lines += lines
            return
        keys = values.get(self.sheet.key or "", [])
        for i, row in enumerate(cells):
            if i not in bad:
                rows.records.append(record(**dict(zip(names, row, strict=True))))
                rows.lines.append(lines[i])
            elif keys and isinstance(keys[i], str) and keys[i]:
                rows.bad_keys.setdefault(keys[i], lines[i])
