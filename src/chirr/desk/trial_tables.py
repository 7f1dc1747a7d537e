"""A table of outcomes from any CSV file, for judging without a farm: columns found, numbers read, faults located."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from chirr.engine.errors import EngineError

MOST_ROWS = 200_000
MOST_BYTES = 50_000_000
SMALLEST, BIGGEST = 1e-50, 1e50
"""Sizes of values that squares can be taken of."""


class TableFault(Exception):  # noqa: N818 - it is told to the user as it stands
    """What is wrong with a table or an option, in one plain sentence."""


REFUSALS = (TableFault, EngineError)
"""What desk and engine say of input that cannot be used, each a plain sentence for the user."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Outcomes with their way and block, in the order of the file; `remarks` say what was left out or looks odd."""

    values: tuple[float, ...]
    ways: tuple[str, ...]
    blocks: tuple[str, ...] | None
    remarks: tuple[str, ...]


def read_table(path: Path, outcome: str, way: str, block: str | None = None) -> Table:
    """Read the named columns of a CSV file (comma, semicolon or tab; decimal comma with the last two)."""
    name, (header, rows, comma) = path.name, _rows(path)
    if len({outcome, way, block} - {None}) < (3 if block else 2):
        raise TableFault("Outcome, way and block must be three different columns.")
    where = {column: _column(header, column, name) for column in (outcome, way, *([block] if block else []))}
    values: list[float] = []
    ways: list[str] = []
    blocks: list[str] = []
    kept: list[Sequence[str]] = []
    without = 0
    for line, row in rows:
        cells = [row[i].strip() if i < len(row) else "" for i in where.values()]
        if not any(c.strip() for c in row):
            continue
        if cells[0].lower() in ("", "na", "nan", "-"):
            without += 1
            continue
        values.append(_number(cells[0], name, line, outcome, comma))
        if not cells[1] or (block and not cells[2]):
            missing = way if not cells[1] else block
            raise TableFault(f"{name}, line {line}: {missing} is empty; every outcome needs one.")
        ways.append(cells[1])
        kept.append(row)
        if block:
            blocks.append(cells[2])
    if not values:
        raise TableFault(f"{name} holds no outcome in column {outcome}.")
    remarks = [f"{without} row{'' if without == 1 else 's'} without an outcome left out."] if without else []
    remarks += _hand_in_hand(header, kept, ways, set(where))
    return Table(
        values=tuple(values), ways=tuple(ways), blocks=tuple(blocks) if block else None, remarks=tuple(remarks)
    )


def _rows(path: Path) -> tuple[list[str], list[tuple[int, list[str]]], bool]:
    if not path.exists():
        raise TableFault(f"There is no file {path}.")
    if path.is_dir():
        raise TableFault(f"{path} is a folder; name a CSV file in it.")
    if path.stat().st_size > MOST_BYTES:
        raise TableFault(f"{path.name} is bigger than {MOST_BYTES // 1_000_000} MB; cut out the trial's own rows.")
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise TableFault(f"{path.name} is not a text file in UTF-8; save it as CSV (UTF-8).") from fault
    except OSError as fault:
        raise TableFault(f"{path} cannot be read: {fault.strerror}.") from fault
    first = text.split("\n", 1)[0]
    mark = max(",;\t", key=first.count)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
        rows = [(reader.line_num, row) for row in reader]
    except csv.Error as fault:
        raise TableFault(f"{path.name} is not a sound CSV file: {fault}.") from fault
    if not rows or "\0" in text:
        raise TableFault(f"{path.name} is empty or not a CSV file.")
    if len(rows) > MOST_ROWS:
        raise TableFault(f"{path.name} has more than {MOST_ROWS:,} rows; cut out the trial's own.")
    return [c.strip() for c in rows[0][1]], rows[1:], mark != ","


def _column(header: list[str], column: str, name: str) -> int:
    if header.count(column) > 1:
        raise TableFault(f"{name} has {header.count(column)} columns called {column}; give each its own name.")
    if column not in header:
        raise TableFault(f"{name} has no column {column}; it has {', '.join(c or '(unnamed)' for c in header[:20])}.")
    return header.index(column)


def _number(cell: str, name: str, line: int, column: str, comma: bool) -> float:
    text = cell.replace("\u2212", "-")
    if comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    try:
        value = float(text) if "_" not in text else math.nan
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise TableFault(f"{name}, line {line}: {column} is '{cell[:40]}', which is not a number.")
    if value != 0 and not SMALLEST < abs(value) < BIGGEST:
        raise TableFault(f"{name}, line {line}: {column} is '{cell[:40]}', which nobody can have counted or measured.")
    return value


def _hand_in_hand(header: list[str], rows: list[Sequence[str]], ways: list[str], used: set[str]) -> list[str]:
    """Other columns, such as a room, whose every value saw one way only: their effect cannot be told from the way's."""
    out = []
    for i, column in enumerate(header):
        if column in used or not column:
            continue
        seen: dict[str, set[str]] = {}
        times: dict[str, int] = {}
        for row, way in zip(rows, ways, strict=True):
            cell = row[i].strip() if i < len(row) else ""
            if cell:
                seen.setdefault(cell, set()).add(way)
                times[cell] = times.get(cell, 0) + 1
        few = 2 <= len(seen) <= max(len(set(ways)), 4) and min(times.values(), default=0) >= 2
        if few and len(set(ways)) > 1 and all(len(w) == 1 for w in seen.values()):
            out.append(
                f"Every {column} had one way only, so a difference between ways may just as well be one between "
                f"values of {column}."
            )
    return out
