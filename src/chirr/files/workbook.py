"""The farm as one workbook: the same sheets, the same checks, cells of a spreadsheet in place of text."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Set
from datetime import date, datetime, time, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from chirr.files.card import KEYS, Line, MassOfLength, card_cells, make_card, with_classes
from chirr.files.columns import SHEETS, SIZE_CLASSES, Column, Sheet
from chirr.files.faults import Ledger
from chirr.files.folder import NotWritten, extra_columns, extra_text, in_order
from chirr.files.kinds import Number, Setting, Time, number_text
from chirr.files.plain import MAX_BYTES
from chirr.files.reading import FarmReading, read_sheets
from chirr.files.rows import CHUNK_ROWS, Chunk, Progress, SheetReader, Table
from chirr.records import FarmCard, FarmFolder, SizeClass

if TYPE_CHECKING:
    from python_calamine import CalamineSheet, CalamineWorkbook

Page = Any
"""A worksheet of xlsxwriter, which has no types of its own; likewise a format."""
Format = Any

FARM = "farm"
OURS = (FARM, SIZE_CLASSES.name, *(sheet.name for sheet in SHEETS))
MOST_ROWS = 1_048_575
"""Rows below the header that a sheet of a workbook can hold."""
LONGEST_TEXT = 32_767
"""Characters that a cell of a workbook can hold."""

_DATE_FORMAT = "yyyy-mm-dd hh:mm"

Cell = Any
"""What a cell comes as: str, float, int, bool, date, datetime, time or timedelta."""


def read_workbook(
    path: Path,
    *,
    in_book: Set[str] = frozenset(),
    progress: Progress | None = None,
    mass_of_length: MassOfLength | None = None,
) -> FarmReading:
    """Read and check a workbook. `in_book` are ids of entries that its rows may replace."""
    ledger = Ledger()
    called = {name: f"{path.name}, sheet {name}" for name in OURS}
    book = _open(path, ledger)
    if book is None:
        return read_sheets(path, None, lambda *_: None, called, ledger)
    names = {name.strip().casefold(): name for name in book.sheet_names}

    def open_sheet(sheet: Sheet, to: Ledger) -> Table | None:
        if sheet.name in names:
            return _table(book.get_sheet_by_name(names[sheet.name]), sheet, called[sheet.name], to)
        if sheet.required:
            to.whole(called[sheet.name], "this sheet in the workbook", "no such sheet")
        return None

    farm = _read_card(book, names, called, open_sheet, ledger, mass_of_length)
    return read_sheets(path, farm, open_sheet, called, ledger, in_book=in_book, progress=progress)


def _open(path: Path, ledger: Ledger) -> CalamineWorkbook | None:
    from python_calamine import CalamineError, CalamineWorkbook, PasswordError

    try:
        if path.stat().st_size > MAX_BYTES:
            ledger.whole(path.name, f"at most {MAX_BYTES:,} bytes", f"{path.stat().st_size:,} bytes")
            return None
        return CalamineWorkbook.from_path(path)
    except PasswordError:
        ledger.whole(path.name, "a workbook saved without a password", "a password")
    except CalamineError:
        ledger.whole(path.name, "an .xlsx workbook", "a file that is no workbook, or only part of one")
    except OSError as error:
        ledger.whole(path.name, "a workbook that can be opened", (error.strerror or str(error)).lower())
    return None


def _read_card(
    book: CalamineWorkbook, names: Mapping[str, str], called: Mapping[str, str],
    open_sheet: Callable[[Sheet, Ledger], Table | None], ledger: Ledger, mass_of_length: MassOfLength | None,
) -> FarmCard | None:  # fmt: skip
    """The farm card from the sheets `farm` and `size_classes`."""
    file = called[FARM]
    if FARM not in names:
        ledger.whole(file, "this sheet in the workbook, with the columns name and value", "no such sheet")
        return None
    before = len(ledger.wholes)
    values: dict[str, Any] = {}
    lines: dict[str, int] = {}
    for line, row in enumerate(book.get_sheet_by_name(names[FARM]).iter_rows(), 1):
        name, value = _text(row[0]).strip() if row else "", row[1] if len(row) > 1 else ""
        known = name.casefold() if name.casefold() in KEYS else name
        if not name or name.startswith("#") or (not lines and known == "name" and _text(value) == "value"):
            continue
        if known in values:
            ledger.whole(file, "each name once", known, line, "name")
        values[known], lines[known] = _toml_value(value), line
    table = open_sheet(SIZE_CLASSES, ledger)
    classes: list[tuple[Line, SizeClass]] = []
    if table is not None:
        rows = SheetReader(SIZE_CLASSES, table, ledger).read(Setting(zone=ZoneInfo("UTC")))
        classes = [(partial(_same_line, line), each) for line, each in zip(rows.lines, rows.records, strict=True)]
    card = make_card(values, file, lines.get, ledger)
    card = with_classes(card, classes, called[SIZE_CLASSES.name], ledger, mass_of_length)
    sound = len(ledger.wholes) == before and called[SIZE_CLASSES.name] not in ledger.rows
    return card if sound else None


def _same_line(line: int, _key: str) -> int:
    return line


def _toml_value(cell: Cell) -> Any:
    if isinstance(cell, (bool, str)):
        return cell
    if isinstance(cell, (int, float)):
        return int(cell) if cell == int(cell) else cell
    return _text(cell)


def _table(sheet: CalamineSheet, kind: Sheet, file: str, ledger: Ledger) -> Table | None:
    rows = enumerate(sheet.iter_rows(), 1)
    for line, row in rows:
        header = [_text(cell) for cell in row]
        first = "".join(header).strip()
        if first and not first.startswith("#"):
            times = {c.name for c in kind.columns if isinstance(c.kind, Time)}
            known = {c.name for c in kind.columns} - times
            dateless = [(i, name) for i, cell in enumerate(header) if (name := cell.strip().casefold()) in known]
            return Table(file=file, header=header, header_line=line, chunks=_chunks(rows, dateless, file, ledger))
    ledger.whole(file, f"a header row: {', '.join(c.name for c in kind.columns)}", "none", 1)
    return None


def _chunks(
    rows: Iterator[tuple[int, list[Cell]]], dateless: list[tuple[int, str]], file: str, ledger: Ledger
) -> Iterator[Chunk]:
    """Rows as text; one with a date where none belongs is left out, since a spreadsheet makes 3-2 a day in February."""
    lines: list[int] = []
    texts: list[list[str]] = []
    for line, row in rows:
        cells = [_text(cell) for cell in row]
        if not "".join(cells).strip():
            continue
        stray = [(i, name) for i, name in dateless if isinstance(row[i], (date, time, timedelta))]
        for i, name in stray:
            expected = (
                "a name or number; the spreadsheet made a date of it, so format the column as text and type it again"
            )
            ledger.row(file, line, name, cells[i], expected)
        if not stray:
            lines.append(line)
            texts.append(cells)
        if len(lines) >= CHUNK_ROWS:
            yield lines, texts
            lines, texts = [], []
    yield lines, texts


def _text(cell: Cell) -> str:
    """A cell as the text that a file would hold in its place."""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, (int, float)):
        return number_text(cell)
    if isinstance(cell, datetime):  # spreadsheets keep times as fractions of a day, so seconds come rounded
        whole = (cell + timedelta(microseconds=500_000)).replace(microsecond=0)
        return whole.isoformat(timespec="seconds" if whole.second else "minutes")
    return f"{cell.isoformat()}T00:00" if isinstance(cell, date) else str(cell)


def raw_rows(path: Path, sheet: Sheet, wanted: Container[int]) -> tuple[list[str], dict[int, list[str]]]:
    """The header, and the cells of the wanted rows as text."""
    book = _open(path, Ledger())
    name = next((n for n in book.sheet_names if n.strip().casefold() == sheet.name), None) if book else None
    if book is None or name is None:
        return [], {}
    table = _table(book.get_sheet_by_name(name), sheet, name, Ledger())
    rows = enumerate(book.get_sheet_by_name(name).iter_rows(), 1)
    return table.header if table else [], {line: [_text(c) for c in row] for line, row in rows if line in wanted}


def write_workbook(folder: FarmFolder, path: Path, *, replace: bool = False, progress: Progress | None = None) -> None:
    """Write the farm as a workbook; NotWritten if it must not be, or cannot hold the farm.

    Times are dates of the spreadsheet in the farm's zone, or text with an offset where the clock shows them twice.
    Tables and lists among the farm card's own keys become text.
    """
    path = path.resolve()
    _refuse(folder, path, replace)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, fresh = tempfile.mkstemp(prefix=f".{path.name}-", suffix=".xlsx", dir=path.parent)
        os.close(handle)
    except OSError as error:
        raise NotWritten(f"{path.parent} cannot be written to: {(error.strerror or str(error)).lower()}.") from error
    try:
        _fill(Path(fresh), folder, progress)
        Path(fresh).chmod(0o644)
        Path(fresh).replace(path)
    except OSError as error:
        raise NotWritten(f"{path} could not be written: {(error.strerror or str(error)).lower()}.") from error
    finally:
        Path(fresh).unlink(missing_ok=True)


def _refuse(folder: FarmFolder, path: Path, replace: bool) -> None:
    for sheet in SHEETS:
        if len(getattr(folder, sheet.name)) > MOST_ROWS:
            raise NotWritten(f"A workbook holds at most {MOST_ROWS:,} {sheet.name}; write a folder instead.")
    if any(len(entry.note or "") > LONGEST_TEXT for entry in folder.entries):
        raise NotWritten(f"A note is longer than the {LONGEST_TEXT:,} characters of a cell; write a folder instead.")
    if path.is_dir():
        raise NotWritten(f"{path} is a folder; give the name of a file.")
    if path.exists() and not replace:
        book = _open(path, Ledger())
        if book is None or not {name.casefold() for name in book.sheet_names} <= set(OURS):
            raise NotWritten(f"{path} is another file; give a new name.")


def _fill(path: Path, folder: FarmFolder, progress: Progress | None) -> None:
    from xlsxwriter import Workbook  # type: ignore[import-untyped]

    book = Workbook(path, {"constant_memory": True, "default_date_format": _DATE_FORMAT})
    bold, dated = book.add_format({"bold": True}), book.add_format({"num_format": _DATE_FORMAT})
    setting = Setting(zone=ZoneInfo(folder.farm.timezone))
    farm = book.add_worksheet(FARM)
    farm.set_column(0, 1, 22)
    for row, (name, value) in enumerate([("name", "value"), *card_cells(folder.farm).items()]):
        farm.write_string(row, 0, name, None if row else bold)
        _put(farm, row, 1, value)
    for sheet, records in [(SIZE_CLASSES, folder.farm.size_classes), *((s, in_order(s, folder)) for s in SHEETS)]:
        page = book.add_worksheet(sheet.name)
        page.freeze_panes(1, 0)
        _sheet(page, sheet, records, (setting, bold, dated), progress)
    book.close()


def _sheet(
    page: Page,
    sheet: Sheet,
    records: Iterable[Any],
    how: tuple[Setting, Format, Format],
    progress: Progress | None,
) -> None:
    setting, bold, dated = how
    extra = extra_columns(records)
    for at, name in enumerate([column.name for column in sheet.columns] + extra):
        page.set_column(at, at, 17 if name == "at" else 11)
        page.write_string(0, at, name, bold)
    cells = [(at, column, _cell_of(column, setting)) for at, column in enumerate(sheet.columns)]
    row = 0
    for row, record in enumerate(records, 1):
        for at, column, cell_of in cells:
            value = getattr(record, column.name)
            if value is not None and value != ():
                cell = cell_of(value)
                _put(page, row, at, cell, dated if isinstance(cell, datetime) else None)
        for at, name in enumerate(extra, len(sheet.columns)):
            _put(page, row, at, extra_text(record.extra.get(name)))
        if progress is not None and row % CHUNK_ROWS == 0:
            progress(sheet.name, row)
    if progress is not None:
        progress(sheet.name, row)


def _cell_of(column: Column, setting: Setting) -> Callable[[Any], Cell]:
    """How a value of the column goes into a cell: numbers as numbers, times as dates, all else as text."""
    if isinstance(column.kind, Number):
        return lambda value: value
    write = column.kind.writer(setting)
    if not isinstance(column.kind, Time):
        return write
    zone = setting.zone

    def moment(at: int) -> Cell:
        aware = datetime.fromtimestamp(at, zone)
        plain = aware.replace(tzinfo=None, fold=0)
        return plain if int(plain.replace(tzinfo=zone).timestamp()) == at else write(at)

    return moment


def _put(page: Page, row: int, at: int, cell: Cell, form: Format | None = None) -> None:
    if isinstance(cell, bool):
        page.write_boolean(row, at, cell)
    elif isinstance(cell, (int, float)):
        if float(f"{cell:.16G}") == cell:
            page.write_number(row, at, cell)
        else:  # as text, since the workbook's writer keeps 16 digits
            page.write_string(row, at, number_text(cell))
    elif isinstance(cell, datetime):
        page.write_datetime(row, at, cell, form)
    elif cell:
        page.write_string(row, at, cell)
