"""Day by day through the book of the made-up farm: first the animals live on, then the people go round."""

from __future__ import annotations

from chirr.demo import care, growing, happenings, trays
from chirr.demo.animals import Lot
from chirr.demo.dairy import Box, Dairy
from chirr.demo.scenario import CELLAR, HAND, OWNER
from chirr.engine.biology.rates import nymph_rate_per_day
from chirr.engine.biology.species import species

MORNING = 6.0


def run(dairy: Dairy, days: happenings.Calendar) -> None:
    """From the first day to the look of this morning."""
    for day in range(dairy.last_day + 1):
        dairy.start_day(day)
        if day == 0:
            _move_in(dairy)
        else:
            _night(dairy)
            _morning(dairy, days)
            if day < dairy.last_day:
                _round(dairy, days)
    happenings.slips_of_the_pen(dairy)


def _night(dairy: Dairy) -> None:
    """The animals live on to this morning."""
    hour = dairy.climate.hour(dairy.day_s + MORNING * 3600)
    trays.hatchlings(dairy, hour)
    for lot in dairy.lots.values():
        lot.step(dairy.climate, hour, dairy.nature, dairy.rng)
        if lot.alive:
            lot.days.append(dairy.day)
            lot.past.append((lot.alive, lot.x, lot.adult_mg(dairy.nature)))


def _morning(dairy: Dairy, days: happenings.Calendar) -> None:
    weekend = dairy.weekday >= 5
    dairy.begin(MORNING + 0.2, OWNER if weekend or dairy.weekday in (0, 2) else HAND)
    if not weekend or dairy.day == dairy.last_day or dairy.rng.random() < dairy.habits.weekend_look:
        trays.look(dairy)
        happenings.tend_sick(dairy)
    happenings.happen(dairy, days)


def _round(dairy: Dairy, days: happenings.Calendar) -> None:
    """The day's work, clean before dirty. Saturdays only what cannot wait, Sundays nothing."""
    habits, weekday = dairy.habits, dairy.weekday
    if weekday == 6:
        return
    dairy.begin(7.6, HAND if weekday != 2 else OWNER)
    if weekday < 5:
        trays.empty(dairy)
    if weekday in habits.swap_days:
        trays.to_nursery(dairy)
    if weekday < 5:
        growing.thin(dairy)
    if weekday == habits.weigh_day:
        care.weigh(dairy)
    if weekday in habits.harvest_days:
        growing.take(dairy)
        growing.harvest(dairy)
    if weekday == 4:
        growing.join(dairy)
    if weekday in habits.feed_days:
        care.feed_and_water(dairy)
    if weekday in habits.swap_days:
        dairy.begin(10.0, OWNER if weekday != 4 else HAND)
        growing.hold_back(dairy)
        trays.swap(dairy)
        happenings.dry_tray(dairy, days)
        growing.retire(dairy)
        care.sweep(dairy)
    if weekday in habits.clean_days:
        dairy.begin(14.0, HAND)
        care.clean(dairy)


def _move_in(dairy: Dairy) -> None:
    """The first morning: the stock that was there already, or came with the van."""
    dairy.begin(7.0, OWNER)
    by_duty = {duty: dairy.free(duty) for duty in ("breeding", "nursery", "grow-out")}
    breeding = by_duty["breeding"]
    for i, box in enumerate(breeding[: max(1, len(breeding) * 2 // 3)]):
        age = 4 + 22 * i / len(breeding)
        lot = _stock(dairy, box, dairy.number("B"), "breeders", "adult", age, dairy.habits.breeders_per_bin)
        lot.x, lot.adult_days = 1.1, age
    for i, box in enumerate(by_duty["nursery"][::2]):
        age = 2 + i * 14 / max(len(by_duty["nursery"]) // 2, 1)
        _stock(dairy, box, dairy.number("N"), "pinheads", "pinhead" if age < 6 else "nymph", age, 4200)
    grow = by_duty["grow-out"]
    for i, box in enumerate(grow[::3]):
        age = 19 + 20 * i / max(len(grow) // 3, 1)
        _stock(dairy, box, dairy.number("N"), "growing", "nymph", age, int(box.surface_cm2 * 0.13))


def _stock(dairy: Dairy, box: Box, name: str, kind: str, stage: str, age_days: float, crickets: int) -> Lot:
    cv, age = 0.12, round(age_days, 0)
    said = dairy.about(crickets, 0.2)
    dairy.diary.write(
        "stock", 300, bin=box.name, lot=name, quantity=float(said), unit="crickets", stage=stage, age_days=age, cv=cv
    )
    lot = dairy.new_lot(name, kind, box)
    lot.alive = dairy.about(said, cv)
    at_set_point = float(nymph_rate_per_day(CELLAR.set_c + 1, species(dairy.nature.species)))
    lot.x = min(age * at_set_point * dairy.nature.nymph_speed, 1.1) if stage != "adult" else 1.1
    lot.began_day = dairy.day - round(age)
    return lot
