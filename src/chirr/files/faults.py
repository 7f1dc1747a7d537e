"""Faults gathered with their place, and the small words that they are written in."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

import msgspec

from chirr.records import Fault

FOUND_AT_MOST = 60
"""Characters of a cell that are repeated in a fault."""

SUGGEST_AMONG = 3000
"""Longest list of names in which a near one is looked for."""

EMPTY = "an empty cell"


class Wrong(msgspec.Struct, frozen=True):
    """What a converter gives back in place of a value: what the cell should have held."""

    expected: str


class Ledger:
    """The faults of one folder or workbook: those of whole files, and those of single rows.

    `rows[file][line]` are the faults for which a row is left out; `wholes` those that no leaving out can heal.
    """

    def __init__(self) -> None:
        self.wholes: list[Fault] = []
        self.rows: dict[str, dict[int, list[Fault]]] = {}

    def whole(
        self, file: str, expected: str, found: str = "", line: int | None = None, column: str | None = None
    ) -> None:
        """Note something wrong with a file as a whole."""
        self.wholes.append(Fault(file=file, line=line, column=column, found=clip(found), expected=expected))

    def row(self, file: str, line: int, column: str | None, found: str, expected: str) -> None:
        """Note something wrong with one row."""
        fault = Fault(file=file, line=line, column=column, found=clip(found), expected=expected)
        self.rows.setdefault(file, {}).setdefault(line, []).append(fault)

    def sorted(self) -> list[Fault]:
        """Every fault, by file and line."""
        rows = (fault for lines in self.rows.values() for faults in lines.values() for fault in faults)
        return sorted([*self.wholes, *rows], key=lambda f: (f.file, f.line or 0))


def clip(text: str) -> str:
    """A cell as a fault repeats it: on one line, and not too long."""
    line = " ".join(text.split())
    return line if len(line) <= FOUND_AT_MOST else line[: FOUND_AT_MOST - 3] + "..."


def near(word: str, known: Iterable[str]) -> str:
    """A did-you-mean in brackets, or nothing when no known word is near."""
    names = list(known)
    if not word or len(names) > SUGGEST_AMONG:
        return ""
    folded = {name.casefold(): name for name in names}
    best = difflib.get_close_matches(word.casefold(), folded, n=1)
    return f" (did you mean {folded[best[0]]}?)" if best else ""
