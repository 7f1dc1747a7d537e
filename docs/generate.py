"""Write the parts of the manual that the program itself knows: the commands, the tables of the files, the values.

`make docs` runs it; a test sees that what it writes is what stands in the pages.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from chirr.deeds import DEEDS, Deed
from chirr.engine.biology import species
from chirr.files.columns import CARD, SHEETS, SIZE_CLASSES, Column, Sheet

HERE = Path(__file__).resolve().parent


# --- commands.md -------------------------------------------------------------------------------------------------


def help_of(*command: str) -> str:
    """What `chirr COMMAND --help` prints, eighty columns wide."""
    run = subprocess.run(
        [sys.executable, "-c", "from chirr.cli import main; main()", *command, "--help"],
        capture_output=True, text=True, check=True, env={**os.environ, "COLUMNS": "80", "NO_COLOR": "1"},
    )  # fmt: skip
    return run.stdout.rstrip() + "\n"


def commands() -> str:
    """Every command with its own help, a command's own commands after it."""
    return "\n".join(_sections(()))


def _sections(command: tuple[str, ...]) -> list[str]:
    text = help_of(*command)
    parts = [f"## {' '.join(('chirr', *command))}\n\n```text\n{text}```\n"]
    if "\nCommands:\n" in text:
        listed = text.split("\nCommands:\n", 1)[1].split("\n\n", 1)[0]
        for name in re.findall(r"^  (\S+)", listed, re.MULTILINE):
            parts += _sections((*command, name))
    return parts


# --- file-formats.md ---------------------------------------------------------------------------------------------


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = ["| " + " | ".join(cells) + " |" for cells in (head, ("---",) * len(head), *rows)]
    return "\n".join(lines) + "\n"


def _column(column: Column) -> tuple[str, ...]:
    kind = column.kind.says() if callable(column.kind.says) else column.kind.says
    return f"`{column.name}`", column.says, kind, "yes" if column.required else ""


def _sheet(sheet: Sheet) -> str:
    return f"### {sheet.file}\n\n{sheet.says}\n\n" + _table(
        ("column", "what it holds", "written as", "must"), [_column(c) for c in sheet.columns]
    )


def card() -> str:
    """The keys of farm.toml."""
    rows = [_column(c) for c in CARD]
    rows += [(f"`[[size_class]]` `{c.name}`", c.says, *_column(c)[2:]) for c in SIZE_CLASSES.columns]
    return _table(("key", "what it holds", "written as", "must"), rows)


def sheets() -> str:
    """The columns of every file."""
    return "\n".join(_sheet(sheet) for sheet in SHEETS)


def _deed(deed: Deed) -> tuple[str, ...]:
    ways = "; or ".join(", ".join(f"`{c}`" for c in way) for way in deed.needs)
    units = ", ".join(f"`{u}`" if u else "none" for u in deed.units)
    return f"`{deed.name}`", deed.says, ways, ", ".join(f"`{c}`" for c in deed.may), units


def deeds() -> str:
    """What each deed needs."""
    return _table(("deed", "what it says", "needs", "may have", "units"), [_deed(deed) for deed in DEEDS.values()])


# --- values.md ---------------------------------------------------------------------------------------------------


def values() -> str:
    """The table of biology, as it is."""
    path = Path(species.__file__).with_name("species.toml")
    tables: dict[str, dict[str, Any]] = tomllib.loads(path.read_text(encoding="utf-8"))
    parts = []
    for name, constants in tables.items():
        rows = [_value(key, c) for key, c in constants.items() if isinstance(c, dict) and "value" in c]
        parts.append(
            f"## {name.replace('-', ' ').capitalize()}\n\n"
            + _table(("name", "value", "90 % range", "unit", "mark", "source"), rows)
        )
    return "\n".join(parts)


def _value(key: str, c: dict[str, Any]) -> tuple[str, ...]:
    at = f"at {_numbers(c['at'])} {c.get('at_unit', '')}: " if "at" in c else ""
    cells = (
        f"`{key}`",
        at + _numbers(c["value"]),
        f"{_numbers(c['low'])} to {_numbers(c['high'])}",
        c["unit"],
        c["mark"],
        c["source"],
    )
    return tuple(str(cell).replace("|", "\\|") for cell in cells)


def _numbers(value: Any) -> str:
    return ", ".join(f"{v:g}" for v in value) if isinstance(value, list) else f"{value:g}"


# --- filling in --------------------------------------------------------------------------------------------------

REGIONS: dict[str, Callable[[], str]] = {
    "commands": commands, "card": card, "sheets": sheets, "deeds": deeds, "values": values,
}  # fmt: skip
PAGES = ("commands.md", "file-formats.md", "values.md")


def filled(text: str) -> str:
    """A page with every region between its marks written anew."""

    def fill(found: re.Match[str]) -> str:
        return f"<!-- begin {found[1]} -->\n\n{REGIONS[found[1]]().rstrip()}\n\n<!-- end {found[1]} -->"

    return re.sub(r"<!-- begin (\w+) -->.*?<!-- end \1 -->", fill, text, flags=re.DOTALL)


if __name__ == "__main__":
    for page in PAGES:
        file = HERE / page
        file.write_text(filled(file.read_text(encoding="utf-8")), encoding="utf-8")
