"""The keepers' rules for daily care: feed, water, sweep up the dead, weigh samples, clean what is empty."""

from __future__ import annotations

from typing import Any

from chirr.demo.animals import Lot
from chirr.demo.dairy import Box, Dairy


def feed_and_water(dairy: Dairy) -> None:
    """On a feed day every bin with crickets gets both; how much of it is written down has changed with the years."""
    written = 1.0 if dairy.day > dairy.last_day - 7 * dairy.habits.diary_weeks else dairy.habits.diary_share
    for box in _walk(dairy):
        lot = dairy.lots[box.lot or ""]
        if lot.began_day is None:
            continue
        dairy.diary.at += 20
        if dairy.rng.random() < written:
            _feed(dairy, box, lot)
        if dairy.rng.random() < written * 0.985:
            dairy.diary.write("water", 35, timed=0.05, bin=box.name)


def _feed(dairy: Dairy, box: Box, lot: Lot) -> None:
    columns: dict[str, Any] = {}
    if dairy.rng.random() < 0.55:
        eaten = lot.alive * (0.25 * lot.mean_mg(dairy.nature) * min(1.0, 1.3 - lot.x) + 1.5) / 1000
        grams = max(5.0, round(eaten * float(dairy.rng.uniform(0.8, 1.3)) / 5) * 5.0)
        columns = {"quantity": grams, "unit": "g"}
    dairy.diary.write("feed", 40, timed=0.05, late=0.003, bin=box.name, **columns)


def _walk(dairy: Dairy) -> list[Box]:
    """Occupied bins from clean to dirty."""
    order = {"nursery": 0, "grow-out": 1, "breeding": 2}
    there = [b for b in dairy.boxes.values() if b.lot]
    return sorted(there, key=lambda b: (order[b.duty], b.room, b.stack, b.level))


def sweep(dairy: Dairy) -> None:
    """The dead are taken out; they are counted where there are many, or by whoever has the time."""
    for lot in [*dairy.live("growing"), *dairy.live("breeders")]:
        many = lot.dead >= 40
        if lot.dead >= 6 and dairy.rng.random() < (0.8 if many else 0.3):
            dairy.diary.write("deaths", 60, timed=0.05, late=0.02, bin=lot.bin, lot=lot.name, quantity=float(lot.dead))
            lot.dead = 0
        elif dairy.weekday == 4:
            lot.dead = 0


def weigh(dairy: Dairy) -> None:
    """Once a week the watched lots give a sample to the scale."""
    for lot in [*dairy.live("pinheads"), *dairy.live("growing")]:
        if not lot.watched or lot.x < 0.15 or lot.alive < 150 or dairy.rng.random() < 0.15:
            continue
        sample = int(dairy.rng.choice([40, 50, 60]) if lot.x > 0.4 else 100)
        grams = float(lot.masses(sample, dairy.nature, dairy.rng).sum()) / 1000 * float(dairy.rng.normal(1.0, 0.01))
        digits = 1 if grams >= 10 else 2
        dairy.diary.write(
            "weigh", 200, timed=0.2, late=0.01, bin=lot.bin, lot=lot.name, sample=sample, unit="g",
            quantity=max(round(grams, digits), 0.01),
        )  # fmt: skip


def clean(dairy: Dairy) -> None:
    """Bins that stand empty are scraped, washed and left to dry."""
    if dairy.day >= dairy.last_day - 2:
        return  # the washer is out of order, see happenings
    for box in dairy.boxes.values():
        if box.dirty and box.lot is None and dairy.day > box.vacated_day and dairy.rng.random() < 0.85:
            dairy.diary.write("clean", 720, timed=0.35, bin=box.name)
            box.dirty = False
