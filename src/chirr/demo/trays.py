"""The keepers' rules for laying trays: in, out, onto the rack, into a nursery bin, looked at, emptied."""

from __future__ import annotations

import math

from chirr.demo.animals import Clutch, eggs_standing, fill_clutch
from chirr.demo.dairy import Batch, Box, Dairy
from chirr.demo.scenario import PRESS, TRAYS, VAT
from chirr.demo.weather import WARMTH

TRAY_CM2 = {t.tray_type: t.length_cm * t.width_cm for t in TRAYS}


def swap(dairy: Dairy) -> None:
    """Every breeding bin: the tray out to the rack, a fresh one in."""
    for box in [b for b in dairy.boxes.values() if b.duty == "breeding" and b.lot]:
        for clutch in dairy.trays_in(box.name):
            _pull(dairy, clutch)
        lot = dairy.lots[box.lot or ""]
        if dairy.habits.first_tray_days <= lot.adult_days < dairy.habits.retire_at_adult_days and lot.alive > 60:
            _lay(dairy, box)


def _lay(dairy: Dairy, box: Box) -> None:
    name = dairy.number("K")
    substrate, cycle = _fill(dairy)
    stack, level = box.stack, box.level
    tray = dairy.habits.tray_types[(stack + level) % 2]
    dairy.diary.write(
        "lay", 75, timed=0.06, bin=box.name, lot=box.lot, clutch=name, tray_type=tray, substrate=substrate, cycle=cycle
    )
    hour = dairy.hour
    dairy.clutches[name] = Clutch(
        name=name, bin=box.name, tray_type=tray, laid_h=hour, laid_day=dairy.day, breeders=box.lot or "",
        substrate=substrate, cycle=cycle, row=dairy.row(box.room, level), came_h=hour,
    )  # fmt: skip


def _fill(dairy: Dairy) -> tuple[str, int]:
    """Substrate for a tray: used once and sound if there is any, else from the newest batch."""
    if dairy.used_substrate and dairy.rng.random() < 0.75:
        return dairy.used_substrate.pop(0)
    if not dairy.batches or dairy.batches[-1].fills_left <= 0:
        number = len(dairy.batches) + 1
        fills = max(4, round(dairy.habits.fills_per_batch * dairy.factor))
        dairy.batches.append(Batch(name=f"mix-{number:02d}", fills_left=fills))
    batch = dairy.batches[-1]
    batch.fills_left -= 1
    if batch.mouldy:
        dairy.mouldy.add(batch.name)
    return batch.name, 1


def _pull(dairy: Dairy, clutch: Clutch) -> None:
    levels = VAT.levels
    level = 1 + len(dairy.clutches) % levels
    place = f"{VAT.name}/{dairy.rack_stack}/{level}"
    dairy.diary.write("pull", 90, timed=0.08, late=0.004, bin=clutch.bin, clutch=clutch.name, to_place=place)
    eggs, share = _eggs(dairy, clutch), _hatch_share(dairy, clutch)
    fill_clutch(clutch, dairy.climate, dairy.nature, dairy.rng, eggs=eggs, hatch_share=share, hour=dairy.hour)
    clutch.go(dairy.climate, dairy.hour, dairy.row(VAT.name, level))
    clutch.place = place
    if dairy.rng.random() < 0.22 and eggs > 50:
        cv = float(dairy.rng.choice([0.15, 0.2, 0.3]))
        dairy.diary.write(
            "count", 240, timed=0.2, clutch=clutch.name, quantity=float(dairy.about(eggs, cv)), unit="eggs", cv=cv,
            note="core sample" if cv < 0.3 else "by eye",
        )  # fmt: skip


def _eggs(dairy: Dairy, clutch: Clutch) -> int:
    lot = dairy.lots.get(clutch.breeders)
    if lot is None:
        return 0
    hour, days = dairy.hour, (dairy.hour - clutch.laid_h) / 24
    read = dairy.climate.read
    mean_c = (read(WARMTH, clutch.row, hour) - read(WARMTH, clutch.row, clutch.laid_h)) / max(days, 0.01)
    mid = lot.adult_days - days / 2
    expected = eggs_standing(lot.alive / 2, mid, mean_c, days, TRAY_CM2[clutch.tray_type], dairy.nature)
    expected *= math.exp(dairy.nature.laying_log_sd * dairy.rng.standard_normal()) * _after_cold(dairy, clutch.bin)
    return int(dairy.rng.poisson(expected))


def _after_cold(dairy: Dairy, bin_name: str) -> float:
    """Females hardly lay for days after a cold night, and come back over a week and a half."""
    cold = dairy.climate.failure
    days = (dairy.hour - cold.from_h) / 24
    if dairy.boxes[bin_name].room != cold.room or days < 0:
        return 1.0
    return min(1.0, max(0.03, (days - 5) / 10))


def _hatch_share(dairy: Dairy, clutch: Clutch) -> float:
    n = dairy.nature
    logit = math.log(n.hatch_share / (1 - n.hatch_share)) + n.hatch_logit_sd * dairy.rng.standard_normal()
    share = 1 / (1 + math.exp(-logit)) * (n.later_cycle_share if clutch.cycle > 1 else 1.0)
    return share * (0.18 if clutch.substrate in dairy.mouldy else 1.0)


def to_nursery(dairy: Dairy) -> None:
    """Trays old enough leave the rack, a few to each nursery bin; the pinheads of a bin will be one lot."""
    due = [
        c for c in dairy.clutches.values()
        if c.place and dairy.day - c.laid_day >= dairy.habits.rack_days
    ]  # fmt: skip
    each = dairy.habits.trays_per_nursery
    lots_wanted = math.ceil(len(due) / each)
    places = dairy.free("nursery")[:lots_wanted]
    for i, box in enumerate(places):
        share = due[i :: len(places)][: each + 2]
        name = dairy.number("N")
        for j, clutch in enumerate(share):
            dairy.diary.write(
                "move", 60, timed=0.05, clutch=clutch.name, to_bin=box.name, to_lot=name,
            )  # fmt: skip
            if j == 0:
                dairy.new_lot(name, "pinheads", box)
            clutch.go(dairy.climate, dairy.hour, dairy.row(PRESS.name, box.level))
            clutch.bin, clutch.place, clutch.lot = box.name, None, name
    for clutch in due:
        if clutch.place and dairy.day - clutch.laid_day >= dairy.habits.rack_days + 2:
            dairy.diary.write("empty", 60, clutch=clutch.name, note="no nursery bin free, discarded unhatched")
            _done(dairy, clutch)


def look(dairy: Dairy) -> None:
    """A look at the nursery bins where trays wait: first pinheads are written down."""
    for box in [b for b in dairy.boxes.values() if b.duty == "nursery" and b.lot]:
        waiting = [c for c in dairy.trays_in(box.name) if c.hatched_day is None]
        if not waiting:
            continue
        dairy.diary.at += 25
        found = [c for c in waiting if _seen(dairy, c)]
        for clutch in found:
            dairy.diary.write("hatch", 20, bin=box.name, clutch=clutch.name, late=0.01)
            clutch.hatched_day = dairy.day
            lot = dairy.lots[clutch.lot or ""]
            lot.began_day = dairy.day if lot.began_day is None else lot.began_day
        older = any(dairy.day - c.laid_day >= 11 for c in waiting)
        if not found and older and dairy.rng.random() < 0.75:
            dairy.diary.write("water", 30, timed=0.04, bin=box.name, note="misted the trays")


def _seen(dairy: Dairy, clutch: Clutch) -> bool:
    out = clutch.hatched(dairy.climate, dairy.hour)
    if out < 5:
        return False
    share = out / max(len(clutch.due), 1)
    return share >= 0.01 or dairy.rng.random() < 0.4


def hatchlings(dairy: Dairy, hour: float) -> None:
    """Pinheads that came out since the day before join their lot."""
    for clutch in dairy.clutches.values():
        if clutch.lot is None or clutch.place is not None:
            continue
        out = clutch.hatched(dairy.climate, hour)
        if out > clutch.arrived:
            dairy.lots[clutch.lot].arrive(out - clutch.arrived)
            clutch.arrived = out


def empty(dairy: Dairy) -> None:
    """Spent trays come out some days after the hatch; trays that never hatched are given up."""
    for clutch in [c for c in dairy.clutches.values() if c.lot is not None and c.place is None]:
        spent = clutch.hatched_day is not None and dairy.day - clutch.hatched_day >= 5
        given_up = clutch.hatched_day is None and dairy.day - clutch.laid_day >= dairy.habits.no_hatch_days
        if not spent and not given_up:
            continue
        mouldy = clutch.substrate in dairy.mouldy
        again = spent and not mouldy and clutch.cycle < dairy.habits.substrate_cycles
        note = "reused" if again else "discarded, mould" if mouldy else "discarded" if spent else "no hatch, discarded"
        dairy.diary.write("empty", 70, timed=0.06, bin=clutch.bin, clutch=clutch.name, note=note)
        if again:
            dairy.used_substrate.append((clutch.substrate, clutch.cycle + 1))
        _done(dairy, clutch)
        _after_last(dairy, clutch)


def _after_last(dairy: Dairy, clutch: Clutch) -> None:
    """When a nursery bin's last tray is out its pinheads are counted; a lot that never began is given up."""
    lot = dairy.lots[clutch.lot or ""]
    if dairy.trays_in(clutch.bin):
        return
    if lot.began_day is None:
        dairy.diary.write("retire", 60, lot=lot.name, note="nothing hatched")
        dairy.end(lot)
    elif lot.counted and lot.alive > 20:
        cv = float(dairy.rng.choice([0.15, 0.25]))
        dairy.diary.write(
            "count", 260, timed=0.2, bin=lot.bin, lot=lot.name, quantity=float(dairy.about(lot.alive, cv)),
            unit="pinheads", cv=cv, note="weighed a pinch" if cv < 0.2 else "by eye",
        )  # fmt: skip


def _done(dairy: Dairy, clutch: Clutch) -> None:
    clutch.emptied = True
    dairy.done_clutches.append(dairy.clutches.pop(clutch.name))
