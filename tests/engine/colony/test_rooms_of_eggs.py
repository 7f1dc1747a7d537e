"""Eggs that pass through two rooms: each room's share of their way, and what a late hatch says of which room."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from chirr.engine.biology.species import species
from chirr.engine.colony.clocks import make_clocks
from chirr.engine.colony.history import ClutchFacts, FarmHistory
from chirr.engine.colony.schedule import clutch_arrays
from engine.colony.small_farm import DAY, HOUSE, belief_in, clutch, history

TWO_ROOMS = make_clocks(np.full((2, 400 * 24), 30.0), species(HOUSE))
EGG_CV = species(HOUSE).egg_cv.value


def farm(*clutches: ClutchFacts, now_day: float = 60.0) -> FarmHistory:
    return replace(
        history(now_day, clutches=clutches), place_room=np.array([0, 1]), measured_rooms=np.array([True, True])
    )


def moved(name: str, laid: float, after: float, hatched: float | None = None) -> ClutchFacts:
    """A tray carried to the second room so many days after it was laid."""
    seen = None if hatched is None else ((laid + hatched - 0.5) * DAY, (laid + hatched) * DAY)
    return clutch(
        name=name, laid_h=laid * DAY, pulled_h=(laid + 2) * DAY, starts_h=np.array([laid, laid + after]) * DAY,
        places=np.array([0, 1]), first_between=seen,
    )  # fmt: skip


def shares(*clutches: ClutchFacts) -> np.ndarray:
    return clutch_arrays(farm(*clutches), TWO_ROOMS, egg_cv=EGG_CV).in_room


def test_at_one_temperature_a_rooms_share_is_the_days_spent_there() -> None:
    arrays = clutch_arrays(farm(moved("C", 1.0, 6.0)), TWO_ROOMS, egg_cv=EGG_CV)
    [(first, second)] = arrays.in_room
    days = (arrays.reference_h[0] - DAY) / 24  # not yet seen, so the hatch that the published clock expects
    assert np.isclose(first, 6.0 / days, atol=0.01)
    assert np.isclose(first + second, 1.0)


def test_a_tray_that_hatched_before_its_move_was_never_in_the_second_room() -> None:
    assert shares(moved("C", 1.0, 40.0)).tolist() == [[1.0, 0.0]]


def test_when_it_hatched_does_not_change_the_shares() -> None:
    assert np.allclose(shares(moved("C", 1.0, 6.0, hatched=11.0)), shares(moved("C", 1.0, 6.0, hatched=17.0)))


def test_slow_hatches_of_trays_that_were_long_in_one_room_say_that_it_is_cool() -> None:
    """Half of the trays move early, half late; those that stay long in the second room hatch two days later."""
    long_there = [moved(f"A{k}", 1.0 + k, 3.0, hatched=15.5) for k in range(10)]
    short_there = [moved(f"B{k}", 1.0 + k, 11.0, hatched=13.5) for k in range(10)]
    belief = belief_in(farm(*long_there, *short_there), TWO_ROOMS)
    first, second = belief.mode[belief.latents.room]
    assert second < first - 0.5
