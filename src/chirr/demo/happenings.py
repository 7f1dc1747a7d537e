"""What went wrong, and what was noted: the cold night, the mouldy batch, a dry tray, a sick bin, slips of the pen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from chirr.demo.dairy import Batch, Dairy, midnight_s
from chirr.demo.growing import FREEZER_FULL_DAYS
from chirr.demo.scenario import CELLAR, VAT
from chirr.demo.weather import HOUR_S, HeaterFailure
from chirr.records import Entry


@dataclass(frozen=True, kw_only=True)
class Calendar:
    """Days of the book on which things happen."""

    cold_day: int
    mould_day: int
    dry_tray_day: int
    sick_from_day: int
    carried_day: int


def calendar(first_day: date, last_day: int) -> Calendar:
    """The heater fails in the depth of the winter that the book covers; the rest is counted back from today."""
    days = range(min(60, last_day // 3), max(last_day - 70, last_day // 3 + 1))

    def from_midwinter(day: int) -> float:
        turn = (first_day + timedelta(days=day)).timetuple().tm_yday - 28
        return min(abs(turn), 365 - abs(turn))

    cold = min(days, key=from_midwinter)
    mould = int(last_day * 0.62)
    if abs(mould - cold) < 30:
        mould = int(last_day * 0.4)
    return Calendar(
        cold_day=cold, mould_day=mould, dry_tray_day=last_day - 16, sick_from_day=last_day - 6,
        carried_day=last_day // 2,
    )  # fmt: skip


def heater_failure(days: Calendar, first_day: date, start_s: int) -> HeaterFailure:
    """In the vat room, from nine in the evening."""
    night = midnight_s(first_day + timedelta(days=days.cold_day)) + 21 * HOUR_S
    return HeaterFailure(room=VAT.name, from_h=(night - start_s) // HOUR_S)


def happen(dairy: Dairy, days: Calendar) -> None:
    """What today brings, written after the morning's look."""
    day, diary = dairy.day, dairy.diary
    if day == days.cold_day + 1:
        diary.write("note", 60, note=f"heater in the {VAT.name} dead, 17 degrees at seven; electrician called")
    if day == days.cold_day + 2:
        diary.write("note", 60, note=f"{VAT.name} heater runs again since ten; breeders hardly move")
    if days.mould_day <= day and not any(b.mouldy for b in dairy.batches):
        _spoil_next_batch(dairy)
    if day == days.mould_day + 19:
        bad = next((b.name for b in dairy.batches if b.mouldy), "")
        diary.write("note", 60, note=f"green film on the trays of {bad}; coir was stored wet, the bale is thrown out")
    if day == days.carried_day:
        _carry_a_bin(dairy)
    if day == days.sick_from_day:
        _sicken(dairy)
    if day == dairy.last_day - FREEZER_FULL_DAYS:
        diary.write("note", 40, note="freezer full until the van comes, no harvest until then")
    if day == dairy.last_day - 2:
        diary.write("note", 40, note="pressure washer out of order, part ordered")
    if dairy.rng.random() < 0.03:
        _small_note(dairy)


def dry_tray(dairy: Dairy, days: Calendar) -> None:
    """One tray of the swap nearest to its day dries out on the rack: it will be overdue today."""
    young = [c for c in dairy.clutches.values() if c.place and dairy.day - c.laid_day <= 3]
    if dairy.day >= days.dry_tray_day and young and "dry" not in dairy.numbers:
        young[0].due = young[0].due[:0]
        dairy.numbers["dry"] = 1


def _spoil_next_batch(dairy: Dairy) -> None:
    """The batch now in use is nearly done with; the next one is mixed from wet-stored coir."""
    if dairy.batches and dairy.batches[-1].fills_left > 0:
        dairy.batches[-1].fills_left = 0
    fills = max(4, round(dairy.habits.fills_per_batch * dairy.factor))
    dairy.batches.append(Batch(name=f"mix-{len(dairy.batches) + 1:02d}", fills_left=fills, mouldy=True))


def _carry_a_bin(dairy: Dairy) -> None:
    """A bin from the top of the warm end goes to the floor of the corner that stood empty."""
    top = [b for b in dairy.boxes.values() if b.room == CELLAR.name and b.level == CELLAR.levels and b.lot]
    if not top:
        return
    box = top[-1]
    stack = 1 + max(b.stack for b in dairy.boxes.values() if b.room == CELLAR.name)
    dairy.diary.write("move", 420, bin=box.name, to_place=f"{CELLAR.name}/{stack}/1", note="too warm up there")
    box.stack, box.level = stack, 1
    lot = dairy.lots[box.lot or ""]
    lot.row = dairy.row(box.room, box.level)


def _sicken(dairy: Dairy) -> None:
    middling = [x for x in dairy.live("growing") if 0.45 < x.x < 0.85 and x.alive > 800]
    if middling:
        max(middling, key=lambda x: (x.alive, x.name)).sick = 14.0


def tend_sick(dairy: Dairy) -> None:
    """Every morning the dead of a sick bin are counted."""
    for lot in dairy.live("growing"):
        if lot.sick > 1.0 and lot.dead > 10:
            note = "many on their backs" if dairy.rng.random() < 0.5 else None
            dairy.diary.write("deaths", 120, bin=lot.bin, lot=lot.name, quantity=float(lot.dead), note=note)
            lot.dead = 0


_SMALL = (
    "lid clip broken", "hides look tired, change at the next clean", "moth in the feed store, trap put up",
    "thermometer battery low", "two crickets on the stairs, slick band wiped", "new bag of feed opened",
    "carbon dioxide alarm tested", "visitors at the door, none let in", "wick dry, replaced", "loud tonight",
)  # fmt: skip


def _small_note(dairy: Dairy) -> None:
    there = [b for b in dairy.boxes.values() if b.lot]
    box = there[int(dairy.rng.integers(len(there)))]
    dairy.diary.write("note", 30, bin=box.name, note=_SMALL[int(dairy.rng.integers(len(_SMALL)))])


def slips_of_the_pen(dairy: Dairy) -> None:
    """A few entries were wrong and put right; none that anything later hangs on."""
    rng, diary = dairy.rng, dairy.diary
    written = list(diary.entries)
    chosen = {
        deed: [e for e in written if e.deed == deed and e.replaces is None and e.quantity]
        for deed in ("count", "deaths", "weigh")
    }
    for _ in range(max(2, round(5 * dairy.factor))):
        _wrong_first(dairy, _any(chosen["count"], rng), "a nought too many", factor=10)
        _wrong_first(dairy, _any(chosen["weigh"], rng), "read the scale with the cup on it", factor=1.6)
        slip = _any(chosen["deaths"], rng)
        if slip is not None:
            diary.strike(diary.repeat(slip), "written down twice", after_s=int(rng.integers(1800, 20000)))


def _any(entries: list[Entry], rng: np.random.Generator) -> Entry | None:
    return entries.pop(int(rng.integers(len(entries)))) if entries else None


def _wrong_first(dairy: Dairy, right: Entry | None, note: str, *, factor: float) -> None:
    """As if `right` had first been written with another quantity: the true one stands in its place."""
    if right is None:
        return
    dairy.diary.misquote(
        right, round((right.quantity or 0) * factor, 2), note, after_s=int(dairy.rng.integers(600, 80000))
    )
