"""The farm card: `farm.toml` to and from a FarmCard, and the checks that the workbook's farm sheet shares."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime, time
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from chirr.files.columns import CARD, SIZE_CLASSES, Column
from chirr.files.faults import Ledger, Wrong
from chirr.files.kinds import Days, Setting, number_text, plain_name
from chirr.files.plain import read_text
from chirr.records import FarmCard, SizeClass

FILE = "farm.toml"
KEYS = frozenset(column.name for column in CARD)

_AT_LINE = re.compile(r"\(at line (\d+)")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)
_SETTING = Setting(zone=ZoneInfo("UTC"))

Line = Callable[[str], int | None]
"""The line on which a key stands."""

MassOfLength = Callable[[float, str], float]
"""Mass [mg] of a cricket so many millimetres long, of a species by its key."""

MASS_AGREES = 0.05
"""Mass and length of a size class may both be given, if they agree to this share (judgement)."""


def read_card(folder: Path, ledger: Ledger, mass_of_length: MassOfLength | None = None) -> FarmCard | None:
    """Read farm.toml; None, with faults noted, when it is missing or wrong."""
    text = read_text(folder / FILE, ledger)
    if text is None:
        return None
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        lines = text.splitlines() or [""]
        at = _AT_LINE.search(str(error))
        line = min(int(at[1]), len(lines)) if at else len(lines)
        ledger.whole(
            FILE,
            'lines such as currency = "EUR", words in quotation marks',
            lines[line - 1].strip() or "the end of the file",
            line,
        )
        return None
    blocks = values.pop("size_class", [])
    before = len(ledger.wholes)
    if not isinstance(blocks, list) or not all(isinstance(block, dict) for block in blocks):
        ledger.whole(FILE, "each size class as [[size_class]] with name and from_mg or from_mm", "something else",
                     _line_of(text, "size_class"), "size_class")  # fmt: skip
        blocks = []
    classes = []
    for n, block in enumerate(blocks):
        of = _line_in_block(text, n)
        cells = _cells(SIZE_CLASSES.columns, block, FILE, of, ledger)
        if cells is not None:
            classes.append((of, SizeClass(**cells)))
    card = make_card(values, FILE, lambda key: _line_of(text, key, 0, _first_table(text)), ledger)
    card = with_classes(card, classes, FILE, ledger, mass_of_length)
    return card if len(ledger.wholes) == before else None


def make_card(values: Mapping[str, Any], file: str, line: Line, ledger: Ledger) -> FarmCard | None:
    """A FarmCard from its values by key, as TOML or a workbook gives them; None when there are faults."""
    cells = _cells(CARD, values, file, line, ledger)
    return None if cells is None else FarmCard(**cells)


def with_classes(
    card: FarmCard | None,
    classes: list[tuple[Line, SizeClass]],
    file: str,
    ledger: Ledger,
    mass_of_length: MassOfLength | None,
) -> FarmCard | None:
    """The card with its size classes, those by length with their mass; each comes with the lines of its keys."""
    weighed = [(line, typed, _weighed(typed, card, file, line, ledger, mass_of_length)) for line, typed in classes]
    sound = [(line, typed, each) for line, typed, each in weighed if each is not None]
    check_classes(sound, file, ledger)
    return None if card is None else msgspec.structs.replace(card, size_classes=tuple(each for *_, each in sound))


def _weighed(
    each: SizeClass,
    card: FarmCard | None,
    file: str,
    line: Line,
    ledger: Ledger,
    mass_of_length: MassOfLength | None,
) -> SizeClass | None:
    """A size class with the mass at which it begins; None, with faults noted, where it has none or two."""
    if each.price_per_kg is not None and each.price_per_thousand is not None:
        found = f"{number_text(each.price_per_kg)} and {number_text(each.price_per_thousand)}"
        ledger.whole(file, "one price: by the kilogram or by the thousand", found,
                     line("price_per_thousand"), "price_per_thousand")  # fmt: skip
    given: float | None = each.from_mg  # empty cells are let through by the readers
    if each.from_mm is None or mass_of_length is None:
        if given is None:
            kind = next(c.kind for c in SIZE_CLASSES.columns if c.name == "from_mg")
            ledger.whole(file, f"{kind.says()}, or a length in from_mm", "nothing", line("from_mg"), "from_mg")
            return None
        return each
    if card is None:
        return None  # the species is not known, which is a fault already
    mass = round(mass_of_length(each.from_mm, card.species), 1)
    if given is None:
        return msgspec.structs.replace(each, from_mg=mass)
    if abs(given - mass) > MASS_AGREES * max(mass, 1.0):
        expected = (
            f"only one of the two, or {number_text(mass)} mg, the mass of a cricket {number_text(each.from_mm)} mm long"
        )
        ledger.whole(file, expected, f"{number_text(given)} mg", line("from_mg"), "from_mg")
        return None
    return each


def check_classes(classes: list[tuple[Line, SizeClass, SizeClass]], file: str, ledger: Ledger) -> None:
    """Note size classes out of order and names that come twice.

    Each comes with the lines of its keys, as it was typed and with its mass; a fault names what was typed.
    """
    for (_, was, one), (line, typed, two) in pairwise(classes):
        if two.from_mg <= one.from_mg:
            key = _typed_in(typed)
            if _typed_in(was) == key:
                than, found = number_text(getattr(was, key)), number_text(getattr(typed, key))
            else:
                than = _in_both(was, one)
                found = _in_both(typed, two)
            expected = f"more than the {than} of {one.name}, since classes go from the smallest up"
            ledger.whole(file, expected, found, line(key), key)
    seen: set[str] = set()
    for line, _, each in classes:
        if each.name in seen:
            ledger.whole(file, "each size class once", each.name, line("name"), "name")
        seen.add(each.name)


def _typed_in(typed: SizeClass) -> str:
    """The key by which a class was said to begin."""
    given: float | None = typed.from_mg  # empty cells are let through by the readers
    return "from_mm" if given is None else "from_mg"


def _in_both(typed: SizeClass, weighed: SizeClass) -> str:
    """Where a class begins, for a comparison with one that was typed in the other unit."""
    mass = f"{number_text(weighed.from_mg)} mg"
    if _typed_in(typed) == "from_mg" or typed.from_mm is None:
        return mass
    return f"{number_text(typed.from_mm)} mm ({mass})"


def _cells(
    columns: Iterable[Column], values: Mapping[str, Any], file: str, line: Line, ledger: Ledger
) -> dict[str, Any] | None:
    """Values by column, unknown ones under `extra`; None when there are faults."""
    cells: dict[str, Any] = {}
    sound = True
    for column in columns:
        given = values.get(column.name, "")
        text = _plain(given).strip()
        value = column.kind.reader(_SETTING)(text) if text else column.empty
        if not text and (column.required or given == []):
            value = Wrong(column.kind.says())
        elif isinstance(given, (list, dict)) and not isinstance(column.kind, Days):
            text, value = _toml(given), Wrong(column.kind.says())
        if isinstance(value, Wrong):
            found = text or ("an empty value" if column.name in values else "nothing")
            ledger.whole(file, value.expected, found, line(column.name), column.name)
            sound = False
        cells[column.name] = value
    known = set(cells)
    cells["extra"] = {key: value for key, value in values.items() if key not in known}
    return cells if sound else None


def _plain(value: Any) -> str:
    """A value of TOML as the text that a cell would hold."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return " ".join(_plain(each) for each in value)
    return str(value)


def _line_of(text: str, key: str, start: int = 0, end: int | None = None) -> int | None:
    pattern = re.compile(rf"^[ \t]*(\[\[?[ \t]*)?[\"']?{re.escape(key)}[\"']?[ \t]*(=|\])", re.MULTILINE)
    found = pattern.search(text, start, len(text) if end is None else end)
    return text.count("\n", 0, found.start()) + 1 if found else None


def _first_table(text: str) -> int:
    head = re.search(r"^[ \t]*\[", text, re.MULTILINE)
    return head.start() if head else len(text)


def _line_in_block(text: str, n: int) -> Line:
    """Lines of the keys of the n-th [[size_class]]; of its head for a key that it lacks."""
    heads = [m.start() for m in re.finditer(r"^[ \t]*\[\[[ \t]*size_class[ \t]*\]\]", text, re.MULTILINE)]
    if n >= len(heads):
        return lambda _: _line_of(text, "size_class")
    start = heads[n]
    end = heads[n + 1] if n + 1 < len(heads) else len(text)
    return lambda key: _line_of(text, key, start, end) or text.count("\n", 0, start) + 1


def card_text(card: FarmCard) -> str:
    """farm.toml: the known keys in the order of the table, then the farm's own, then the size classes."""
    lines = [f"{column.name} = {_toml(_tidy(getattr(card, column.name)))}" for column in CARD]
    lines += _extra_lines(card.extra)
    for each in card.size_classes:
        given = {c.name: getattr(each, c.name) for c in SIZE_CLASSES.columns}
        lines += ["", "[[size_class]]"]
        lines += [f"{key} = {_toml(_tidy(value))}" for key, value in given.items() if value is not None]
        lines += _extra_lines(each.extra)
    return "\n".join(lines) + "\n"


def card_cells(card: FarmCard) -> dict[str, Any]:
    """The card by key as cells of a sheet: numbers and true or false as they are, all else as text."""
    cells = {column.name: _tidy(getattr(card, column.name)) for column in CARD}
    cells |= {key: card.extra[key] for key in sorted(card.extra) if card.extra[key] is not None}
    return {key: _as_cell(value) for key, value in cells.items()}


def _as_cell(value: Any) -> Any:
    if isinstance(value, tuple):
        return " ".join(value)
    return value if isinstance(value, (str, bool, int, float)) else _toml(value)


def _tidy(value: Any) -> Any:
    """A value of a known key, as a person would write it: 14 for 14.0."""
    if isinstance(value, float) and value == int(value):
        return int(value)
    return plain_name(value) if isinstance(value, str) else value


def _extra_lines(extra: Mapping[str, Any]) -> list[str]:
    return [f"{_key(key)} = {_toml(extra[key])}" for key in sorted(extra) if extra[key] is not None]


def _key(key: str) -> str:
    return key if _BARE_KEY.fullmatch(key) else _string(key)


def _string(text: str) -> str:
    short = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}
    return '"' + "".join(short.get(c, c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}") for c in text) + '"'


def _toml(value: Any) -> str:
    """A value as TOML; tables are written in one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, (datetime, date, time)):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml(each) for each in value) + "]"
    if isinstance(value, Mapping):
        pairs = ", ".join(f"{_key(key)} = {_toml(value[key])}" for key in sorted(value) if value[key] is not None)
        return "{ " + pairs + " }" if pairs else "{}"
    return _string(str(value))
