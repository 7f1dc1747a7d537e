"""What lots gave for each clutch, in kilograms and in crickets, and the air that they grew in."""

from __future__ import annotations

import math
from itertools import count

import numpy as np
import pytest

from chirr.book import actions, ledger
from chirr.desk import trials
from chirr.desk.air import Air
from chirr.desk.trial_lots import for_each_clutch, mass_at_end_mg
from chirr.desk.trial_rows import gathered
from chirr.records import Bin, Entry, FarmCard, FarmFolder, Person, Reading, Room, TrayType

DAY, START = 86400, 1_930_003_200
OWNER = Person(person="Inga", role="owner")
numbers = count(1)


def entry(day, deed, **columns):
    n = next(numbers)
    return Entry(id=f"e{n:04d}", at=round(START + day * DAY) + n, person="Inga", deed=deed, **columns)


def reared(n, tray, *, kg=1.0, split=False, take=False):
    """A lot from two clutches of one bin, harvested after fifty days; half of it split off where asked for."""
    lot, out = f"G{n}", []
    for k in "ab":
        c = f"C{n}{k}"
        out += [
            entry(n, "lay", bin="K1", lot="B1", clutch=c, tray_type=tray),
            entry(n + 0.5, "pull", clutch=c, to_bin=f"N{n}", to_lot=lot),
            entry(n + 13, "hatch", clutch=c),
            entry(n + 18, "empty", clutch=c),
        ]
    out += [
        entry(n + 40, "weigh", lot=lot, sample=100, quantity=20.0, unit="g"),
        entry(n + 50, "weigh", lot=lot, sample=100, quantity=40.0, unit="g"),
    ]
    if split:
        out += [
            entry(n + 20, "split", lot=lot, to_lot=f"{lot}b", to_bin=f"O{n}", quantity=500),
            entry(n + 50, "weigh", lot=f"{lot}b", sample=100, quantity=40.0, unit="g"),
            entry(n + 50, "harvest", lot=f"{lot}b", quantity=kg, unit="kg"),
        ]
    if take:
        out.append(entry(n + 45, "take", lot=lot, quantity=100, unit="crickets"))
    return [*out, entry(n + 50, "harvest", lot=lot, quantity=kg, unit="kg")]


@pytest.fixture
def found(db):
    def make(entries, readings=()):
        ledger.forget()
        everything = sorted(entries, key=lambda e: e.at)
        stock = Entry(id="s", at=START - DAY, person="Inga", deed="stock", bin="K1", lot="B1", quantity=2000,
                      unit="crickets", stage="adult", age_days=5)  # fmt: skip
        bins = [Bin(bin="K1", room="hall", stack=1, level=1, duty="breeding", floor_cm2=4000)]
        bins += [Bin(bin=f"{x}{n}", room="hall", stack=2 + n, level=1 + (x == "O"), floor_cm2=4000,
                     duty="nursery" if x == "N" else "grow-out") for n in range(12) for x in "NO"]  # fmt: skip
        actions.found(
            FarmFolder(
                farm=FarmCard(name="Kelp Yard", timezone="UTC"), rooms=[Room(room="hall", set_temperature_c=30)],
                bins=bins, people=[OWNER], readings=list(readings), entries=[stock, *everything],
                tray_types=[TrayType(tray_type=t, length_cm=30, width_cm=15, depth_cm=6) for t in ("short", "long")],
            ),
            actor=OWNER,
        )  # fmt: skip
        return ledger.live()

    return make


def test_a_lot_split_in_two_is_taken_together_with_its_part(found):
    s = found([*reared(0, "short"), *reared(1, "long", split=True)])
    assert {g.lot.name: g.value for g in for_each_clutch(s, crickets=False)} == {"G0": 0.5, "G1": 1.0}
    survivors = {g.lot.name: g.value for g in for_each_clutch(s, crickets=True)}
    assert survivors == pytest.approx({"G0": 1e6 / 400 / 2, "G1": 2e6 / 400 / 2}, rel=1e-3)


def test_crickets_sold_live_count_as_survivors_but_their_kilograms_are_not_known(found):
    s = found(reared(0, "short", take=True))
    assert for_each_clutch(s, crickets=False) == []
    assert for_each_clutch(s, crickets=True)[0].value == pytest.approx((1e6 / 400 + 100) / 2, rel=1e-3)


def test_mass_is_carried_from_the_last_weighing_to_the_harvest(found):
    soon, late = reared(0, "short")[:-1], reared(1, "short")[:-1]
    soon.append(entry(52, "harvest", lot="G0", quantity=1.0, unit="kg"))
    late.append(entry(60, "harvest", lot="G1", quantity=1.0, unit="kg"))
    lots = found([*soon, *late]).lots
    mass = mass_at_end_mg(lots["G0"])
    assert mass is not None
    assert mass[0] == pytest.approx(400 * math.exp(math.log(2) / 10 * 2), rel=1e-2), "it doubled in the ten days before"
    assert mass_at_end_mg(lots["G1"]) is None, "weighed too long before"


def test_lots_belong_to_the_breeding_bin_and_the_day_of_their_clutches(found):
    s = found(reared(0, "short"))
    units = gathered(s, "tray_type", "kg_per_clutch", since=START, until=START + DAY, bins={"K1"})
    assert (units.value.tolist(), units.way.tolist()) == ([0.5], ["short"])


def test_temperature_is_adjusted_for_in_records_that_nobody_drew(found):
    """Warm lots are heavier by a third and mostly short; adjusted, the ways come out alike."""
    rng = np.random.default_rng(3)
    temps = [33.0 if n % 4 else 27.0 for n in range(12)]
    short = [n % 4 in (1, 2) or n == 4 for n in range(12)]
    entries = [e for n in range(12) for e in reared(n, "short" if short[n] else "long",
               kg=math.exp(0.05 * (temps[n] - 30) + rng.normal(0, 0.01)))]  # fmt: skip
    air = [Reading(at=START + h * 6 * 3600, room="hall", level=1, temperature_c=30.0) for h in range(300)]
    s = found(entries, air)
    units = gathered(s, "tray_type", "kg_per_clutch")
    assert units.covariates["temperature"].tolist() == [30.0] * 12
    assert "temperature" not in gathered(s, "tray_type", "kg_per_clutch", adjust=False).covariates
    units.covariates["temperature"][:] = temps
    answer = trials._judged(units, ["short", "long"], "kg_per_clutch", margin=0.1, alpha=0.05, planned=None)
    assert answer["ratio"] == pytest.approx(1.0, abs=0.03)


def test_the_air_of_a_place_is_what_was_measured_there_else_its_set_point(found):
    found([], [Reading(at=START + h * 3600, room="hall", level=2, temperature_c=28.0 + h) for h in range(4)])
    air = Air(0, START + DAY)
    assert air.mean_c("hall", 2, START, START + 4 * 3600) == pytest.approx(29.5)
    assert air.mean_c("hall", 1, START, START + 4 * 3600) == 30.0
    assert math.isnan(air.mean_c("nowhere", 1, START, START + 1))
