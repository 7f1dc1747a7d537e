"""An empty farm folder to start from: every file with its header, every column explained, and a README."""

from __future__ import annotations

from pathlib import Path
from textwrap import fill

from chirr.deeds import DEEDS, Deed
from chirr.files.card import FILE
from chirr.files.columns import CARD, SHEETS, SIZE_CLASSES, Sheet
from chirr.files.folder import README, NotWritten

_CARD_LINES = {
    "name": '""',
    "species": '"acheta-domesticus"',
    "timezone": '""',
    "currency": '"EUR"',
    "wage_per_hour": "0",
    "swap_days": "3",
    "feed_days": "3",
    "substrate_cycles": "3",
}
"""What stands in an empty farm.toml: the defaults, and nothing where only the farm can know."""


_TITLE = "{}\n{}"
_START = (
    """Fill in farm.toml, rooms.csv and bins.csv first; with these alone the folder can be imported. The other files
    may stay as they are until there is something to write in them.""",
    """A spreadsheet may be used for the .csv files: save them as 'CSV UTF-8'. Commas, semicolons or tabs between the
    cells are all understood. Columns of your own are kept as they are. A column that may stay empty may also be left
    out.""",
    """Times are written 2031-05-06T08:20, in the farm's time zone, or with an offset: 2031-05-06T08:20-05:00.""",
)
_DEEDS = """Every row of entries.csv has a time (at), a deed and, if known, a person; any may have minutes and a note.
    These are the deeds, and the further columns that each needs."""
_MISTAKES = """To put right an earlier row, leave it as it is and add a new one of any deed, with the id of the wrong
    row in replaces and the reason in note. To say that it never happened, use the deed correct."""


def write_template(path: Path) -> None:
    """Write an empty, commented farm folder at `path`; NotWritten if something is there already."""
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise NotWritten(f"{path} is there already and not empty; give a new name.")
    try:
        path.mkdir(parents=True, exist_ok=True)
        texts = {README: readme_text(), FILE: _card_text()} | {sheet.file: _sheet_text(sheet) for sheet in SHEETS}
        for name, text in texts.items():
            (path / name).write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise NotWritten(f"{path} could not be written: {(error.strerror or str(error)).lower()}.") from error


def _card_text() -> str:
    lines = ["# The farm as a whole. Words stand in quotation marks; lines that begin with # are not read."]
    for column in CARD:
        lines += ["", f"# {column.says} ({column.kind.says()})", f"{column.name} = {_CARD_LINES[column.name]}"]
    lines += ["", f"# {SIZE_CLASSES.says} Take away the # to use these, and add as many as you sell by."]
    for name, mass in (("pinhead", 0), ("half grown", 60)):
        lines += ["# [[size_class]]", f'# name = "{name}"', f"# from_mg = {mass}", "#"]
    return "\n".join(lines[:-1]) + "\n"


def _sheet_text(sheet: Sheet) -> str:
    """Comments, then the header row; rows go below it."""
    lines = [
        sheet.says,
        "Rows go below the header, which is the last line here. Lines like this one, above it, are not read.",
        "",
    ]
    width = max(len(column.name) for column in sheet.columns)
    for column in sheet.columns:
        may = "" if column.required else "; may stay empty"
        lines.append(f"{column.name.ljust(width)}  {column.says} ({column.kind.says()}{may})")
    lines += ["", "A row looks like this:", sheet.example]
    header = ",".join(column.name for column in sheet.columns)
    return "".join(f"# {line}".rstrip() + "\n" for line in lines) + header + "\n"


def readme_text() -> str:
    """What the folder is, its files, and what each deed needs."""
    parts = [
        _TITLE.format("A farm in plain files", "=" * 21),
        *map(_filled, _START),
        _TITLE.format("The files", "-" * 9),
        *(f"{sheet.file}\n    {sheet.says}" for sheet in SHEETS),
        _TITLE.format("The deeds", "-" * 9),
        _filled(_DEEDS),
        *(_deed_text(deed) for deed in DEEDS.values()),
        _filled(_MISTAKES),
    ]
    return "\n\n".join(parts) + "\n"


def _filled(text: str) -> str:
    return fill(" ".join(text.split()), 100)


def _deed_text(deed: Deed) -> str:
    ways = [", ".join(way) for way in deed.needs]
    lines = [deed.name, f"    {deed.says}", f"    needs: {ways[0]}", *(f"    or:    {way}" for way in ways[1:])]
    if deed.may:
        lines.append(f"    may have: {', '.join(deed.may)}")
    if deed.units:
        units = [unit or "none" for unit in deed.units]
        lines.append(f"    unit: {', '.join(units)}")
    return "\n".join(lines)
