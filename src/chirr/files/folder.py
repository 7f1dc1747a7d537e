"""The farm folder: read whole with every fault, written whole or not at all."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterable, Set
from operator import attrgetter
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from chirr.files import card, delimited
from chirr.files.columns import ENTRIES, READINGS, SHEETS, Column, Sheet
from chirr.files.faults import Ledger
from chirr.files.kinds import Setting, number_text
from chirr.files.reading import FarmReading, read_sheets
from chirr.files.rows import CHUNK_ROWS, Progress
from chirr.records import FarmFolder

OURS = frozenset({card.FILE, *(sheet.file for sheet in SHEETS)})
README = "README.txt"

_TO_QUOTE = re.compile(r'[,"\r\n]')


class NotWritten(Exception):  # noqa: N818
    """A folder or workbook that was not written, with the reason in one sentence; what was there is untouched."""


def read_folder(
    path: Path,
    *,
    in_book: Set[str] = frozenset(),
    progress: Progress | None = None,
    mass_of_length: card.MassOfLength | None = None,
) -> FarmReading:
    """Read and check a farm folder.

    `in_book` are ids of entries that its rows may replace; `mass_of_length` weighs size classes that go by length.
    """
    ledger = Ledger()
    called = {sheet.name: sheet.file for sheet in SHEETS}
    if not path.is_dir():
        ledger.whole(path.name, "a folder with farm.toml, rooms.csv, bins.csv and entries.csv", "no such folder")
        return read_sheets(path, None, lambda *_: None, called, ledger)
    farm = card.read_card(path, ledger, mass_of_length)
    return read_sheets(
        path, farm, lambda sheet, to: delimited.open_table(path, sheet, to), called, ledger,
        in_book=in_book, progress=progress,
    )  # fmt: skip


def write_folder(folder: FarmFolder, path: Path, *, replace: bool = False, progress: Progress | None = None) -> None:
    """Write the farm as a folder, always the same text for the same farm; NotWritten if it must not be.

    Everything is written beside it first and moved into place at the end. A folder that holds files other than a
    farm folder's is refused unless `replace`; such files are kept.
    """
    path = path.resolve()
    _refuse(path, replace)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{path.name}-", dir=path.parent))
    except OSError as error:
        raise NotWritten(f"{path.parent} cannot be written to: {(error.strerror or str(error)).lower()}.") from error
    try:
        fresh.chmod(0o777 & ~_umask())
        _put(fresh / card.FILE, [card.card_text(folder.farm)])
        setting = Setting(zone=ZoneInfo(folder.farm.timezone))
        for sheet in SHEETS:
            _put(fresh / sheet.file, sheet_text(sheet, in_order(sheet, folder), setting, progress))
        _move_in(fresh, path)
    except OSError as error:
        raise NotWritten(f"{path} could not be written: {(error.strerror or str(error)).lower()}.") from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _refuse(path: Path, replace: bool) -> None:
    if not path.exists():
        return
    if not path.is_dir():
        raise NotWritten(f"{path} is a file; give the name of a folder.")
    others = sorted(file.name for file in path.iterdir() if file.name not in OURS | {README})
    if others and not replace:
        raise NotWritten(
            f"{path} holds other files ({', '.join(others[:3])}{', ...' if len(others) > 3 else ''}); "
            "give an empty folder or a new name."
        )


def _put(file: Path, parts: Iterable[str]) -> None:
    with file.open("w", encoding="utf-8", newline="") as out:
        out.writelines(parts)


def _move_in(fresh: Path, path: Path) -> None:
    """Put the fresh folder in the place of the old one; files of others move along."""
    if not path.exists():
        fresh.rename(path)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{path.name}-old-", dir=path.parent))
    old.rmdir()
    path.rename(old)
    try:
        fresh.rename(path)
    except OSError:
        old.rename(path)
        raise
    for file in old.iterdir():
        if file.name not in OURS:
            file.rename(path / file.name)
    shutil.rmtree(old)


def in_order(sheet: Sheet, folder: FarmFolder) -> list[Any]:
    """The records of a sheet in the order they are written: by time where they have one, else as given."""
    records: list[Any] = getattr(folder, sheet.name)
    if sheet is ENTRIES:
        return sorted(records, key=attrgetter("at", "id"))
    if sheet is READINGS:
        return sorted(records, key=lambda r: (r.at, r.room, -1 if r.level is None else r.level))
    return records


def extra_columns(records: Iterable[Any]) -> list[str]:
    """Names of the columns of the farm's own that hold anything, sorted."""
    return sorted(
        {name for record in records if record.extra for name, cell in record.extra.items() if extra_text(cell)}
    )


def extra_text(cell: Any) -> str:
    """A cell of the farm's own as text."""
    if isinstance(cell, str):
        return cell
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    return number_text(cell) if isinstance(cell, (int, float)) else str(cell)


def sheet_text(sheet: Sheet, records: list[Any], setting: Setting, progress: Progress | None = None) -> Iterable[str]:
    """The text of a sheet's file, in parts: known columns in their order, then the farm's own in alphabetical order."""
    extra = extra_columns(records)
    yield ",".join([column.name for column in sheet.columns] + [_cell(name) for name in extra]) + "\n"
    cells = [(attrgetter(column.name), _Written(column, setting)) for column in sheet.columns]
    for start in range(0, len(records), CHUNK_ROWS):
        part = records[start : start + CHUNK_ROWS]
        columns = [[written[value] for value in map(get, part)] for get, written in cells]
        columns += [[_cell(extra_text(record.extra.get(name))) for record in part] for name in extra]
        yield "\n".join(map(",".join, zip(*columns, strict=True))) + "\n"
        if progress is not None:
            progress(sheet.file, start + len(part))


class _Written(dict[Any, str]):
    """The cells of a column by value, each written once."""

    def __init__(self, column: Column, setting: Setting) -> None:
        super().__init__({None: "", (): ""})
        self.write: Callable[[Any], str] = column.kind.writer(setting)

    def __missing__(self, value: Any) -> str:
        text = self[value] = _cell(self.write(value))
        return text


def _cell(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if _TO_QUOTE.search(text) else text
