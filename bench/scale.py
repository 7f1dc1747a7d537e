"""How belief and the look ahead grow with bins, days and draws, and how long learning from years of entries takes.

Farms of more bins are the timed farm set beside itself so many times: the same clocks, every lot and clutch again.
Belief starts where the last search ended, as on every day but the first.

Learning from years starts from nothing: all 22 months of the timed farm twice beside themselves, which is as many
clutches and lots as five years of its bins give or more. Its measurements are counts, weighings, harvests, hatches seen
and looks in vain; deaths written down; numbers stocked, split off and taken; and the readings of thermometers, which
both halves share. The readings come in through the clocks, whose summing is timed with the rest of the gathering.
Each exponent is the slope of the logarithm of the time by that of the size, from the smallest to the largest.
"""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from pathlib import Path

from farm import book
from memory import MostMemory
from stopwatch import Stopwatch

os.environ["CHIRR_FARM"] = str(book())
sys.path.insert(0, str(Path(__file__).resolve().parent))

from chirr.cli.farm import open_farm

open_farm()

import numpy as np  # noqa: E402

from chirr.book import ledger, shelf  # noqa: E402
from chirr.desk import gather as gathering  # noqa: E402
from chirr.desk.belief import swap_days_of, which  # noqa: E402
from chirr.engine.biology.species import species  # noqa: E402
from chirr.engine.colony.ahead import look_ahead  # noqa: E402
from chirr.engine.colony.belief import Belief, believe  # noqa: E402
from chirr.engine.colony.history import ClutchFacts, FarmHistory, Kind, LotFacts  # noqa: E402
from chirr.engine.colony.horizon import Horizon  # noqa: E402
from chirr.engine.colony.learnt import Learnt, learnt_of  # noqa: E402

TIMES, DAYS, DRAWS, CLASSES = (1, 2, 4, 10), (45, 90, 180), (500, 1000, 2000), (0.0, 12.0, 90.0, 230.0)
ALL = 10**9
NUMBERS = (Kind.STOCK, Kind.DEATHS, Kind.TAKE, Kind.TAKE_KG, Kind.OUT)


def gathered(days: int = max(DAYS)) -> gathering.Gathered:
    """The timed farm as numbers, as of its last entry."""
    card, at = shelf.card(), ledger.last_at()
    assert card is not None
    assert at is not None
    return gathering.gather(
        ledger.live(), at=at, rooms=shelf.rooms(), tray_types=shelf.tray_types(), species=species(card.species),
        readings=shelf.temperatures(0, at), days=days, swap_days=swap_days_of(card.swap_days),
    )  # fmt: skip


def beside_itself(farm: FarmHistory, times: int) -> FarmHistory:
    """So many of the farm as one."""
    lots, clutches = len(farm.lots), len(farm.clutches)

    def moved(index: int, by: int) -> int:
        return index + by if index >= 0 else index

    def lot(one: LotFacts, k: int) -> LotFacts:
        by = {"other": k * lots, "clutch": k * clutches}
        told = tuple(
            replace(h, other=moved(h.other, by["clutch" if h.kind.name == "LAY" else "other"]), entry=f"{h.entry}~{k}")
            for h in one.happenings
        )
        return replace(one, name=f"{one.name}~{k}", happenings=told)

    def clutch(one: ClutchFacts, k: int) -> ClutchFacts:
        lot, breeders = moved(one.lot, k * lots), moved(one.breeders, k * lots)
        return replace(one, name=f"{one.name}~{k}", lot=lot, breeders=breeders)

    return replace(
        farm,
        lots=tuple(lot(one, k) for k in range(times) for one in farm.lots),
        clutches=tuple(clutch(one, k) for k in range(times) for one in farm.clutches),
    )


def learnt_beside_itself(learnt: Learnt, times: int) -> Learnt:
    things = {f"{name}~{k}": value for name, value in learnt.things.items() for k in range(times)}
    return replace(learnt, things=things, facts=learnt.facts * times)


def ahead(belief: Belief, g: gathering.Gathered, times: int, days: int, draws: int) -> float:
    """Seconds that looking ahead takes."""
    s = ledger.live()
    living, trays = which(g.lots, lambda n: s.lots[n].alive), which(g.clutches, lambda n: not s.clutches[n].emptied_at)
    every = [(living + k * len(g.lots), trays + k * len(g.clutches)) for k in range(times)]
    with Stopwatch() as looking:
        look_ahead(
            belief, g.clocks, Horizon(days=days, from_mg=CLASSES, target_mg=CLASSES[-1]), place_room=g.place_room,
            living=np.concatenate([a for a, _ in every]), open_clutches=np.concatenate([b for _, b in every]),
            draws=draws, rng=np.random.default_rng(1),
        )  # fmt: skip
    return looking.wall


def exponent(size: list[int] | tuple[int, ...], took: list[float]) -> str:
    return f"grows with the power {np.log(took[-1] / took[0]) / np.log(size[-1] / size[0]):.2f}"


def grow_in_bins(g: gathering.Gathered) -> Belief:
    """Belief and look ahead of more and more bins; gives the belief of one farm."""
    animal = species(shelf.card().species)  # type: ignore[union-attr]
    one = believe(g.history, g.clocks, g.clutch_temp_c, animal)
    learnt, took, bins = learnt_of(one), [], []
    for times in TIMES:
        farm, temp = beside_itself(g.history, times), np.tile(g.clutch_temp_c, times)
        with MostMemory() as held:
            with Stopwatch() as believing:
                belief = believe(farm, g.clocks, temp, animal, learnt=learnt_beside_itself(learnt, times))
            seen = ahead(belief, g, times, 90, 1000)
        took.append(believing.wall + seen)
        bins.append(times * sum(b.lots != [] for b in ledger.live().bins.values()))
        print(
            f"{bins[-1]:,} bins, 90 days, 1,000 draws | belief {believing.wall:.1f} s, ahead {seen:.1f} s,"
            f" at most {held.gb:.1f} GB | {'under 20 s and 3 GB' if times == TIMES[-1] else ''}",
            flush=True,
        )
    print(f"time by bins | {exponent(bins, took)} | at most 1")
    return one


def main() -> None:
    g = gathered()
    one = grow_in_bins(g)
    for what, sizes in (("days", DAYS), ("draws", DRAWS)):
        took = [ahead(one, g, 1, n if what == "days" else 90, n if what == "draws" else 1000) for n in sizes]
        print(f"look ahead by {what} ({', '.join(map(str, sizes))}) | {exponent(sizes, took)} | at most 1", flush=True)
    learn_from_years()


def learn_from_years() -> None:
    """Belief from nothing in as much as five years write down."""
    gathering.MEMORY_DAYS, gathering.MEMORY_LOTS = ALL, ALL
    with Stopwatch() as gathering_it:
        half = gathered(90)
    farm, temp = beside_itself(half.history, 2), np.tile(half.clutch_temp_c, 2)
    with Stopwatch() as learning:
        belief = believe(farm, half.clocks, temp, species(shelf.card().species))  # type: ignore[union-attr]
    written = sum(h.kind in NUMBERS for lot in farm.lots for h in lot.happenings)
    read = len(shelf.temperatures(0, ledger.last_at() or 0))
    print(
        f"learning from nothing from {len(farm.lots):,} lots, {len(farm.clutches):,} clutches and"
        f" {len(belief.facts.what) + written + read:,} measurements ({len(belief.facts.what):,} facts, {written:,}"
        f" deaths and numbers that changed a lot, {read:,} readings) | {learning.wall:.0f} s, processor"
        f" {learning.cpu:.0f} s, before it {gathering_it.wall:.0f} s to gather half of it | under 30 s"
    )


if __name__ == "__main__":
    main()
