"""The keepers' rules for lots: thinned out of the nursery, held back as breeders, sold, joined, harvested, retired."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from chirr.demo.animals import Lot
from chirr.demo.dairy import Box, Dairy

FREEZER_FULL_DAYS = 4
"""No harvest in the last so many days."""


def thin(dairy: Dairy) -> None:
    """Lots old enough leave the nursery: tipped into a grow-out bin, or shared out among two or three."""
    old = [
        lot for lot in dairy.live("pinheads")
        if dairy.day - (lot.began_day or 0) >= dairy.habits.thin_at_days and not dairy.trays_in(lot.bin)
    ]  # fmt: skip
    for lot in sorted(old, key=lambda x: x.began_day or 0):
        if lot.alive < 30:
            dairy.diary.write("retire", 120, lot=lot.name, note="too few left to keep")
            dairy.end(lot)
            continue
        guess = dairy.about(lot.alive, 0.12)
        homes = _homes(dairy, guess)
        if homes:
            _share_out(dairy, lot, guess, homes)


def _homes(dairy: Dairy, crickets: int) -> list[Box]:
    """Free grow-out bins with room enough, at most three; none if even those would be far too tight."""
    free = sorted(dairy.free("grow-out"), key=lambda b: (b.vacated_day, b.name))
    room, chosen = 0.0, []
    if crickets < 1600:
        free.sort(key=lambda b: b.surface_cm2)
    for box in free[:3]:
        chosen.append(box)
        room += box.surface_cm2 * dairy.habits.crickets_per_cm2
        if room >= crickets * 0.85:
            return chosen
    return chosen if room >= crickets * 0.5 else []


def _share_out(dairy: Dairy, lot: Lot, guess: int, homes: list[Box]) -> None:
    total = sum(b.surface_cm2 for b in homes)
    for i, box in enumerate(homes[1:]):
        name = f"{lot.name}{'bc'[i]}"
        part = int(round(guess * box.surface_cm2 / total, -1))
        dairy.diary.write(
            "split", 540, timed=0.25, bin=lot.bin, lot=lot.name, to_lot=name, to_bin=box.name, quantity=float(part),
            cv=0.12,
        )  # fmt: skip
        child = dairy.part(lot, name, "growing", box, min(dairy.about(part, 0.08), int(lot.alive * 0.75)))
        child.watched = bool(dairy.rng.random() < 0.5)
    dairy.diary.write("move", 300, timed=0.2, late=0.01, bin=lot.bin, lot=lot.name, to_bin=homes[0].name)
    dairy.carry(lot, homes[0])
    lot.kind = "growing"


def hold_back(dairy: Dairy) -> None:
    """Empty breeding bins get new breeders from the lots that have just turned adult."""
    wanted = dairy.habits.breeders_per_bin
    for box in dairy.free("breeding"):
        ready = [x for x in dairy.live("growing") if 0.98 <= x.x <= 1.2 and x.alive > 2 * wanted and x.sick == 1.0]
        if not ready:
            return
        lot = max(ready, key=lambda x: (x.alive, x.name))
        name = dairy.number("B")
        dairy.diary.write(
            "split", 480, timed=0.2, bin=lot.bin, lot=lot.name, to_lot=name, to_bin=box.name, quantity=float(wanted),
            cv=0.06, note="held back to lay",
        )  # fmt: skip
        dairy.part(lot, name, "breeders", box, dairy.about(wanted, 0.05))


def retire(dairy: Dairy) -> None:
    """Breeders past their time are given up, once no tray stands with them."""
    for lot in dairy.live("breeders"):
        if lot.adult_days < dairy.habits.retire_at_adult_days and lot.alive > 60:
            continue
        if dairy.trays_in(lot.bin) or dairy.day > dairy.last_day - 2:
            continue  # those whose time came yesterday are left for today's round
        columns: dict[str, Any] = {}
        if dairy.rng.random() < 0.5 and lot.alive:
            kg = lot.alive * lot.mean_mg(dairy.nature) * 1e-6
            columns = {"quantity": round(max(kg, 0.01), 2), "unit": "kg"}
        dairy.diary.write("retire", 300, timed=0.2, lot=lot.name, note="laying has fallen off", **columns)
        dairy.end(lot)


def take(dairy: Dairy) -> None:
    """Live sales: some crickets of a lot of the asked size leave."""
    for _ in range(int(dairy.rng.poisson(1.6 * dairy.factor))):
        low = float(dairy.rng.choice([0.42, 0.6, 0.75, 0.9]))
        there = [x for x in dairy.live("growing") if low <= x.x <= low + 0.17 and x.alive > 700 and x.sick == 1.0]
        if not there:
            continue
        lot = there[int(dairy.rng.integers(len(there)))]
        if dairy.rng.random() < 0.7:
            asked = int(dairy.rng.choice([100, 150, 200, 250, 400, 500]))
            given = int(asked * dairy.rng.uniform(1.0, 1.08))
            dairy.diary.write(
                "take", 240, timed=0.2, late=0.03, bin=lot.bin, lot=lot.name, quantity=float(asked), unit="crickets",
                cv=0.05, note="sold live",
            )  # fmt: skip
        else:
            kg = round(float(dairy.rng.uniform(0.04, 0.15)), 3)
            given = int(kg * 1e6 / lot.mean_mg(dairy.nature))
            dairy.diary.write("take", 240, bin=lot.bin, lot=lot.name, quantity=kg, unit="kg", cv=0.02, note="sold live")
        lot.alive -= min(given, int(lot.alive * 0.8))


def join(dairy: Dairy) -> None:
    """Two small lots of about one size become one."""
    small = [x for x in dairy.live("growing") if x.alive < 650 and 0.4 < x.x < 0.95 and x.sick == 1.0]
    for a, b in pairwise(small):
        if abs(a.x - b.x) < 0.08:
            dairy.diary.write("join", 360, timed=0.2, from_lots=(a.name, b.name), to_lot=a.name, to_bin=a.bin)
            _mix(a, b)
            dairy.end(b)
            b.alive = 0
            return


def _mix(a: Lot, b: Lot) -> None:
    total = a.alive + b.alive
    if not total:
        return
    share = a.alive / total
    a.x_var = share * a.x_var + (1 - share) * b.x_var + share * (1 - share) * (a.x - b.x) ** 2
    a.x = share * a.x + (1 - share) * b.x
    a.size = share * a.size + (1 - share) * b.size
    a.alive = total


def harvest(dairy: Dairy) -> None:
    """Lots that are heavy enough, or chirp, come out: all of them, on the scale."""
    if dairy.last_day - FREEZER_FULL_DAYS <= dairy.day:
        return  # the freezer is full, see happenings
    free = len(dairy.free("grow-out"))
    press = sum(dairy.day - (x.began_day or 0) >= dairy.habits.thin_at_days - 2 for x in dairy.live("pinheads"))
    early = 0.9 if free < press else 1.0
    for lot in dairy.live("growing"):
        heavy = lot.x > 0.85 * early and _weighs(dairy, lot) >= dairy.habits.harvest_from_mg * early
        if heavy or lot.x > 1.08 or lot.alive < 25:
            _take_out(dairy, lot)


def _weighs(dairy: Dairy, lot: Lot) -> float:
    return lot.mean_mg(dairy.nature) * float(dairy.rng.normal(1.0, 0.03))


def _take_out(dairy: Dairy, lot: Lot) -> None:
    kg = lot.alive * lot.mean_mg(dairy.nature) * 1e-6 * float(dairy.rng.normal(0.985, 0.01))
    if kg < 0.005:
        dairy.diary.write("retire", 120, lot=lot.name, note="too few left to keep")
        dairy.end(lot)
        return
    dairy.diary.write("harvest", 720, timed=0.3, late=0.01, bin=lot.bin, lot=lot.name, quantity=round(kg, 2), unit="kg")
    if dairy.rng.random() < 0.35:
        dairy.diary.write("pack", 300, lot=lot.name, quantity=max(round(kg * 0.97, 2), 0.01), unit="kg", note="frozen")
    dairy.end(lot)
