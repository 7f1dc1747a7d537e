"""The sampling page: what was weighed, scooped, laid out or found dead, worked out before anything is written."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from chirr.desk import counting, notes_said
from chirr.desk.forms import FormFaults, Sheet
from chirr.desk.spoken import say

WAYS = ("weigh", "cup", "square", "dead", "pack")
MOST_ROWS = 8
UNITS = ("crickets", "pinheads", "eggs")


class Worked(msgspec.Struct, frozen=True, kw_only=True):
    """What the form says so far: `says` in sentences; `values` fill the form of the entry, empty where there is none
    to write; `share` of 10 % reached is in `more`: how many more samples, None where that cannot be planned."""

    says: tuple[str, ...]
    more: int | None = None
    values: dict[str, str] = {}


def worked_out(values: Mapping[str, str]) -> Worked | None:
    """The answer of a sampling form; None while it is empty. Raises FormFaults."""
    way = values.get("way") or "weigh"
    if not any((values.get(name) or "").strip() for name in _asked(way)):
        return None
    sheet = Sheet(values)
    try:
        found = _WORK[way if way in WAYS else "weigh"](sheet)
    except counting.CannotCount as error:
        raise FormFaults({"": str(error)}) from error
    known = {name: values[name] for name in ("lot", "clutch") if values.get(name)}
    return msgspec.structs.replace(found, values=found.values | known) if found.values and known else found


def _asked(way: str) -> tuple[str, ...]:
    rows = tuple(f"{name}_{i}" for i in range(1, MOST_ROWS + 1) for name in ("count", "mass"))
    return rows if way in ("weigh", "cup", "square") else ("dead", "looked_at") if way == "dead" else ("wanted",)


def _counts(sheet: Sheet) -> list[float]:
    found = (sheet.number(f"count_{i}", 0, 1e6) for i in range(1, MOST_ROWS + 1))
    return [value for value in found if value is not None]


def _unit(sheet: Sheet) -> str:
    unit = sheet.values.get("unit") or ""
    return unit if unit in UNITS else UNITS[0]


def _weigh(sheet: Sheet) -> Worked:
    counts, masses = [], []
    for i in range(1, MOST_ROWS + 1):
        count, mass = sheet.number(f"count_{i}", 1, 1e6), sheet.number(f"mass_{i}", 0.001, 1e6)
        if (count is None) != (mass is None) and f"count_{i}" not in sheet.faults and f"mass_{i}" not in sheet.faults:
            sheet.faults[f"mass_{i}" if mass is None else f"count_{i}"] = say("A sample needs its number and its mass.")
        if count is not None and mass is not None:
            counts.append(count)
            masses.append(mass)
    gross = sheet.number("gross_g", 0.01, 1e7, say("Say what the bin weighs with all in it."))
    tare = sheet.number("tare_g", 0, 1e7, say("Say what the empty bin weighs; 0 where the scale was set to nought."))
    sheet.done()
    found = counting.weighed(counts, masses, gross or 0.0, tare or 0.0)
    how = notes_said.WEIGHED if len(counts) > 1 else notes_said.WEIGHED_ONCE
    return _as_entry(found, _unit(sheet), how, len(counts))


def _cup(sheet: Sheet) -> Worked:
    counts = _counts(sheet)
    filled = sheet.number("filled", 0.01, 1e5, say("Say how many cups were filled."))
    sheet.done()
    found = counting.by_cup(counts, filled or 0.0)
    return _as_entry(found, _unit(sheet), notes_said.BY_CUP, len(counts))


def _square(sheet: Sheet) -> Worked:
    counts = _counts(sheet)
    square = sheet.number("square_cm2", 0.01, 1e5, say("Say how large a square is."))
    tray = sheet.number("tray_cm2", 0.1, 1e6, say("Say how large the whole tray is."))
    sheet.done()
    found = counting.by_square(counts, square or 0.0, tray or 0.0)
    return _as_entry(found, _unit(sheet), notes_said.BY_SQUARES, len(counts))


def _as_entry(found: counting.SampleAnswer, unit: str, how: str, n: int) -> Worked:
    low, high = found.interval
    note = how.format(n=n, low=f"{low:,}", high=f"{high:,}")
    values = {
        "deed": "count", "quantity": str(round(found.count)), "unit": unit, "cv": f"{min(max(found.cv, 0.001), 2):.3f}",
        "note": note,
    } if found.count >= 1 else {}  # fmt: skip
    return Worked(says=(found.says,), more=found.more_for_ten_percent, values=values)


def _dead(sheet: Sheet) -> Worked:
    dead = sheet.whole("dead", 0, 1_000_000, say("Say how many were dead."))
    looked_at = sheet.whole("looked_at", 1, 1_000_000, say("Say how many were looked at."))
    sheet.done()
    found = counting.dead_share(dead or 0, looked_at or 1)
    low, high = (share * 100 for share in found["interval"])
    says = [
        say("{share:.1f} % dead; between {low:.1f} and {high:.1f} % in nine cases of ten.",
            share=found["share"] * 100, low=low, high=high),
        say("To know a share to 5 % either way, look at {n:,} of many.", n=counting.looks_for_share()),
    ]  # fmt: skip
    note = notes_said.DEAD.format(dead=f"{dead or 0:,}", all=f"{looked_at or 1:,}")
    values = {"deed": "deaths", "quantity": str(dead), "unit": "crickets", "note": note} if dead else {}
    return Worked(says=tuple(says), values=values)


def _pack(sheet: Sheet) -> Worked:
    wanted = sheet.whole("wanted", 1, 1_000_000, say("Say how many must arrive alive."))
    chance = sheet.number("chance_pct", 50, 99.99) or 95.0
    deaths = sheet.number("deaths_pct", 0, 99)
    past = []
    for i in range(1, 4):
        sent, dead = sheet.whole(f"sent_{i}", 1, 1_000_000), sheet.whole(f"lost_{i}", 0, 1_000_000)
        if (sent is None) != (dead is None) and f"sent_{i}" not in sheet.faults and f"lost_{i}" not in sheet.faults:
            name = f"lost_{i}" if dead is None else f"sent_{i}"
            sheet.faults[name] = say("A past consignment needs how many were sent and how many died.")
        if sent is not None and dead is not None:
            past.append((float(sent), float(dead)))
    if past and deaths is not None:
        sheet.faults["deaths_pct"] = say("Give the share that dies, or past consignments, not both.")
    sheet.done()
    share = None if deaths is None else deaths / 100
    found: dict[str, Any] = counting.to_pack(wanted or 1, chance / 100, deaths=share, past=past)
    says = say(
        "Pack {n:,}, {extra:,} more than wanted: then {wanted:,} or more arrive alive in {chance:.1f} % of cases.",
        n=found["pack"], extra=found["extra"], wanted=found["wanted"], chance=found["chance"] * 100,
    )  # fmt: skip
    note = notes_said.PACKED.format(wanted=f"{found['wanted']:,}")
    return Worked(
        says=(says,), values={"deed": "pack", "quantity": str(found["pack"]), "unit": "crickets", "note": note}
    )


_WORK = {"weigh": _weigh, "cup": _cup, "square": _square, "dead": _dead, "pack": _pack}
