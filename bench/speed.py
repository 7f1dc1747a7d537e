"""How much faster the closed form is than following every cricket alone, for each cricket and day.

The other side is the discrete-event simulation of tests/individuals (SimPy). Both live through the same tray at the
same temperature to the same day and must say the same number alive. The closed form looks ahead of many lots of that
kind, once with a single draw, once with a thousand; a draw is a whole life of a lot, as a run of the simulation is.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

import numpy as np
from scipy import sparse

from chirr.engine.biology.species import species
from chirr.engine.colony import ahead
from chirr.engine.colony.belief import Belief, believe
from chirr.engine.colony.clocks import Clocks, make_clocks
from chirr.engine.colony.history import ClutchFacts, FarmHistory, Happening, Kind, LotFacts
from chirr.engine.colony.horizon import Horizon
from individuals.crickets import simulate_clutch

HOUSE = species("acheta-domesticus")
EGGS, LAID_TO_H, DAYS, LOTS = 4000, 48.0, 75, 200
AIR = np.full(24 * (DAYS + 90), 30.0)
AT_LEAST = 1000.0


def farm(clocks: Clocks) -> Belief:
    """Belief in so many trays of that kind, laid at hour 0, none of which anybody has looked at."""
    trays = tuple(
        ClutchFacts(
            name=f"C{k}", lot=k, breeders=-1, laid_h=0.0, pulled_h=LAID_TO_H, tray_cm2=400.0, tray_type=-1,
            starts_h=np.array([0.0]), places=np.array([0]),
        )
        for k in range(LOTS)
    )  # fmt: skip
    here = Happening(hour=LAID_TO_H, kind=Kind.PLACE, place=0, surface_cm2=1e12)
    lots = tuple(LotFacts(name=f"L{k}", happenings=(here,)) for k in range(LOTS))
    history = FarmHistory(clutches=trays, lots=lots, now_h=LAID_TO_H)
    loose = believe(history, clocks, np.full(LOTS, 30.0), HOUSE)
    sure = 1e12 * sparse.identity(loose.latents.size, format="csc")  # every draw the table's own value
    return replace(loose, precision=sure, latents=replace(loose.latents, lot_sd=np.zeros_like(loose.latents.lot_sd)))


def look(belief: Belief, clocks: Clocks, draws: int) -> tuple[float, np.ndarray]:
    """Seconds, and the middle number alive by day of one lot, as a share of its pinheads."""
    everything = np.arange(LOTS)
    start = time.perf_counter()
    seen = ahead.look_ahead(
        belief, clocks, Horizon(days=DAYS, from_mg=(0.0,), target_mg=300.0), place_room=np.array([0]),
        living=everything, open_clutches=everything, draws=draws, rng=np.random.default_rng(1),
    )  # fmt: skip
    took = time.perf_counter() - start
    return took, seen.lots[0].alive[:, 3] / seen.clutches[0].pinheads[3]


def main() -> int:
    ahead.WEATHER_C = ahead.WEATHER_UNMEASURED_C = 0.0
    clocks = make_clocks(AIR[None, :], HOUSE)
    start = time.perf_counter()
    alone = simulate_clutch(EGGS, 0.0, LAID_TO_H, AIR[: 24 * (DAYS + 3)], HOUSE, np.random.default_rng(3))
    one_by_one = time.perf_counter() - start
    pinheads = len(alone["hatch_h"])
    days = float(alone["alive"].sum())
    each = one_by_one / days
    print(f"every cricket alone: {days:,.0f} cricket-days | {1e6 * each:,.2f} millionths of a second for each |")
    belief = farm(clocks)
    look(belief, clocks, 2)
    for draws in (1, 1000):
        took, share = look(belief, clocks, draws)
        lived = float(share.sum()) * pinheads * LOTS * draws
        ratio = each / (took / lived)
        goal = "at least 1,000 times" if draws == 1000 else ""
        what = f"closed form, {LOTS} lots, {draws:,} draw{'s' * (draws > 1)}: {lived:,.0f} cricket-days"
        print(f"{what} | {ratio:,.0f} times faster | {goal}")
    hours = LAID_TO_H + 24.0 * np.arange(DAYS + 1)
    theirs = np.interp(hours, alone["census_h"], alone["alive"]) / pinheads
    off = float(np.abs(theirs - share)[20:].max())
    print(f"furthest apart in the share alive, from day 20 | {off:.3f} | under 0.05")
    return 0 if ratio >= AT_LEAST and off < 0.05 else 1


if __name__ == "__main__":
    sys.exit(main())
