"""Small histories for the engine: a room at one temperature, clutches and lots as plain numbers."""

from __future__ import annotations

import numpy as np

from chirr.engine.biology.species import species
from chirr.engine.colony.ahead import Ahead, look_ahead
from chirr.engine.colony.belief import Belief, believe
from chirr.engine.colony.clocks import Clocks, make_clocks
from chirr.engine.colony.history import ClutchFacts, FarmHistory, Happening, Kind, LotFacts
from chirr.engine.colony.horizon import STRIDES, Horizon

HOUSE = "acheta-domesticus"
DAY = 24.0


def steady(temp_c: float, days: int = 400) -> Clocks:
    """Clocks of one place at one temperature."""
    return make_clocks(np.full((1, days * 24), temp_c), species(HOUSE))


def clutch(**more: object) -> ClutchFacts:
    """A clutch laid on day 1 by unknown breeders, three days in the bin, joining lot 0."""
    values: dict[str, object] = {
        "name": "C",
        "lot": -1,
        "breeders": -1,
        "laid_h": DAY,
        "pulled_h": 4 * DAY,
        "tray_cm2": 300.0,
        "tray_type": -1,
        "starts_h": np.array([DAY]),
        "places": np.array([0]),
        **more,
    }
    return ClutchFacts(**values)  # type: ignore[arg-type]


def happening(day: float, kind: Kind, **more: object) -> Happening:
    """Something that happens to a lot in a bin of 20,000 cm2."""
    values: dict[str, object] = {
        "hour": day * DAY,
        "kind": kind,
        "place": 0,
        "surface_cm2": 20_000.0,
        "entry": f"{kind.name}-{day}",
        **more,
    }
    return Happening(**values)  # type: ignore[arg-type]


def stocked(
    number: float, *, day: float = 1.0, x: float = 0.0, adult_days: float = 0.0, log_sd: float = 0.1
) -> Happening:
    """Crickets bought in."""
    return happening(day, Kind.STOCK, quantity=number, x=x, adult_days=adult_days, log_sd=log_sd)


def lot(*happenings: Happening, ended_day: float | None = None) -> LotFacts:
    """A lot with these happenings."""
    return LotFacts(name="L", happenings=happenings, ended_h=None if ended_day is None else ended_day * DAY)


def history(now_day: float, *, lots: tuple[LotFacts, ...] = (), clutches: tuple[ClutchFacts, ...] = ()) -> FarmHistory:
    """A farm with these lots and clutches, now."""
    return FarmHistory(clutches=clutches, lots=lots, now_h=now_day * DAY)


def belief_in(farm: FarmHistory, clocks: Clocks, key: str = HOUSE) -> Belief:
    """Belief in a farm whose trays were laid at 30 degC."""
    return believe(farm, clocks, np.full(len(farm.clutches), 30.0), species(key))


def ahead_of(
    belief: Belief,
    clocks: Clocks,
    *,
    days: int = 60,
    draws: int = 800,
    from_mg: tuple[float, ...] = (0.0, 90.0, 250.0),
    strides: tuple[tuple[int, int], ...] = STRIDES,
) -> Ahead:
    """What is ahead of all lots not ended and all clutches."""
    farm = belief.history
    return look_ahead(
        belief,
        clocks,
        Horizon(days=days, from_mg=from_mg, target_mg=from_mg[-1], strides=strides),
        place_room=np.zeros(1, dtype=np.int64),
        living=np.array([i for i, one in enumerate(farm.lots) if one.ended_h is None], dtype=np.int64),
        open_clutches=np.arange(len(farm.clutches)),
        draws=draws,
        rng=np.random.default_rng(11),
    )
