"""The farm that everything is timed on: the made-up farm grown to some 300 occupied bins and 200,000 entries.

It is made once and kept as a farm folder under build/, since making it takes longer than anything that is timed.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import msgspec

from chirr.demo import make_farm
from chirr.files.folder import write_folder
from chirr.records import FarmFolder, Reading

HERE = Path(__file__).resolve().parent.parent / "build" / "bench"
FOLDER, BOOK, EMPTY = HERE / "farm", HERE / "farm.chirr", HERE / "empty.chirr"
LAST_DAY = date(2026, 9, 30)
READINGS = 200_000


def folder() -> Path:
    """The farm folder, made if it is not there."""
    if not (FOLDER / "entries.csv").exists():
        print("Making the farm to time things on (a minute or two, once) ...", flush=True)
        farm = make_farm(LAST_DAY, bins_factor=6.3, months=22, diary_share=1.0)
        farm.readings = every_half_hour(farm)[-READINGS:]
        write_folder(farm, FOLDER)
    return FOLDER


def every_half_hour(farm: FarmFolder) -> list[Reading]:
    """The hourly readings with one put between each two of a place."""
    between, last = [], dict[tuple[str, int | None], Reading]()
    for r in farm.readings:
        before = last.get((r.room, r.level))
        if before is not None and r.at - before.at == 3600:
            middle = round((r.temperature_c + before.temperature_c) / 2, 1)
            between.append(msgspec.structs.replace(r, at=r.at - 1800, temperature_c=middle))
        last[r.room, r.level] = r
    return sorted([*farm.readings, *between], key=lambda r: (r.at, r.room, -1 if r.level is None else r.level))


def book() -> Path:
    """The book of that farm; bench/import_replay.py makes it."""
    if not BOOK.exists():
        raise SystemExit("Run bench/import_replay.py first: it makes the book.")
    return BOOK
