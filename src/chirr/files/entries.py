"""What an entry must have beside cells that are right one by one: the columns of its deed, its unit, its amount."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator, Set
from typing import Any

import msgspec

from chirr.deeds import DEEDS, Deed
from chirr.files.faults import Ledger, Wrong
from chirr.files.kinds import number_text
from chirr.files.rows import RowFault, Rows

MOST = {"crickets": 5e6, "pinheads": 5e7, "eggs": 5e7, "kg": 5000.0, "g": 5e6, "l": 5000.0, None: 5e7}
"""The largest amount of each unit that one row may hold; above it a slip of the pen is likelier than the fact."""

NOUGHT_ALLOWED = ("count", "deaths")
"""Deeds in which none is a finding: none was seen."""


def check_entries(values: dict[str, list[Any]]) -> Iterator[RowFault]:
    """Faults of rows as wholes; `values` by column, a column that the file lacks being absent."""
    ways = _Ways(values)
    absent = [None] * len(values["deed"])
    unit_of, quantity_of = values.get("unit", absent), values.get("quantity", absent)
    replaced, note = values.get("replaces", absent), values.get("note", absent)
    for i, name in enumerate(values["deed"]):
        deed = DEEDS.get(name) if type(name) is str else None
        if deed is None:
            continue
        yield from ways.missing(deed, i)
        unit, quantity = unit_of[i], quantity_of[i]
        if (unit is not None or quantity is not None) and type(unit) is not Wrong:
            yield from _amount(deed, i, unit, quantity)
        if replaced[i] is not None and note[i] is None and name != "correct":
            yield i, "note", "in the note why the earlier entry was wrong, since this row replaces it"


class _Ways:
    """For each deed, the ways of filling its row, as columns of values."""

    def __init__(self, values: dict[str, list[Any]]) -> None:
        self.values = values
        self.ways: dict[str, list[list[list[Any] | None]]] = {}

    def missing(self, deed: Deed, i: int) -> Iterator[RowFault]:
        ways = self.ways.get(deed.name)
        if ways is None:
            ways = self.ways[deed.name] = [[self.values.get(column) for column in way] for way in deed.needs]
        for way in ways:
            for column in way:
                if column is None or column[i] is None or column[i] == ():
                    break
            else:
                return
        yield from self._nearest(deed, i)

    def _nearest(self, deed: Deed, i: int) -> Iterator[RowFault]:
        def lacks(way: tuple[str, ...]) -> list[str]:
            return [c for c in way if c not in self.values or self.values[c][i] in (None, ())]

        nearest = min(deed.needs, key=lambda way: (len(lacks(way)), -len(way)))
        others = [" and ".join(way) for way in deed.needs if way is not nearest]
        instead = f" (or instead {', or '.join(others)})" if others else ""
        for column in lacks(nearest):
            yield i, column, f"{column} to be filled, since the deed is {deed.name}{instead}"


def _amount(deed: Deed, i: int, unit: str | None, quantity: Any) -> Iterator[RowFault]:
    """Whether the unit fits the deed, and the quantity is neither nought nor absurd."""
    if deed.units and (unit or "") not in deed.units and (unit is not None or "unit" not in _needed(deed)):
        named = " or ".join(u or "no unit" for u in deed.units)
        yield i, "unit", f"{named}, since the deed is {deed.name}"
        return
    if quantity is None or type(quantity) is Wrong:
        return
    if quantity == 0 and deed.name not in NOUGHT_ALLOWED:
        yield i, "quantity", f"a quantity above 0, since the deed is {deed.name}"
    if quantity > MOST[unit]:
        yield (
            i,
            "quantity",
            f"at most {number_text(MOST[unit])} {unit or ''}".rstrip() + " in one row; write the true figure",
        )


def _needed(deed: Deed) -> set[str]:
    return {column for way in deed.needs for column in way}


def give_ids(rows: Rows) -> None:
    """Give each entry without an id one made from its row, the same whenever the same row is read.

    Layout of version 8 of RFC 9562: 48 bits of milliseconds as in version 7, the rest from a SHA-256 of the row and
    of its number among rows that say the same.
    """
    twins: Counter[bytes] = Counter()
    for i, entry in enumerate(rows.records):
        if entry.id == "":
            content = msgspec.json.encode(entry, order="sorted")
            rows.records[i] = msgspec.structs.replace(entry, id=made_id(entry.at, content, twins[content]))
            twins[content] += 1


def made_id(at: int, content: bytes, twin: int) -> str:
    """A UUID of version 8 from a time [epoch seconds], the content of a row and its number among its twins."""
    rest = int.from_bytes(hashlib.sha256(content + b"#%d" % twin).digest()[:10], "big")
    number = (at * 1000 & (1 << 48) - 1) << 80 | rest
    number = number & ~(0xF << 76) | 8 << 76
    number = number & ~(0x3 << 62) | 2 << 62
    text = f"{number:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def check_replaced(rows: Rows, in_book: Set[str], ledger: Ledger) -> None:
    """Note entries that replace one which is neither in this file nor in the book, or that replace themselves."""
    here = {entry.id for entry in rows.records}
    for entry, line in zip(rows.records, rows.lines, strict=True):
        old = entry.replaces
        if old is not None and (old == entry.id or not (old in here or old in in_book or old in rows.bad_keys)):
            ledger.row(rows.file, line, "replaces", old, "the id of another entry in this file or in the book")
