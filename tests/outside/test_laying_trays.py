"""Trays changed daily or every other day yield alike: Tasee et al., house cricket on coir, 856 against 867 eggs a
cricket in nine days, no significant difference. With nothing counted, the curve must not say otherwise."""

from __future__ import annotations

import numpy as np
import pytest

from chirr.engine.biology.species import species
from chirr.engine.colony.history import FarmHistory
from chirr.engine.planning.laying import LayingDraws, eggs_left, farm_draws, laying_draws
from engine.colony.small_farm import HOUSE, belief_in, steady

ANIMAL = species(HOUSE)
COLLECTION_DAYS = 9.0
DAILY, EVERY_OTHER = 856.0, 867.0


@pytest.fixture(scope="module")
def unlearnt() -> LayingDraws:
    """What the table says, as nothing is known of the farm."""
    belief = belief_in(FarmHistory(clutches=(), lots=(), now_h=240.0), steady(30.0))
    return laying_draws(farm_draws(belief, 2000, np.random.default_rng(4)), trays=1.0, tray_type=-1)


def test_nine_days_of_daily_and_of_two_day_trays_yield_alike(unlearnt: LayingDraws) -> None:
    """A laboratory dish: few females to a tray (taken as five on 150 cm2; the abstract does not say)."""
    eggs = eggs_left(unlearnt, females=5, vigour=1.0, area_cm2=150, trays=1, days=np.array([1.0, 2.0]))
    in_nine_days = eggs * COLLECTION_DAYS / np.array([[1.0], [2.0]])
    ratio = np.quantile(in_nine_days[0] / in_nine_days[1], (0.05, 0.5, 0.95))
    assert ratio[1] == pytest.approx(DAILY / EVERY_OTHER, abs=0.05)
    assert ratio[2] < 1.1


def test_a_tray_recovers_what_growers_say_of_a_day(unlearnt: LayingDraws) -> None:
    """5-30 eggs for each cm2 in 24 hours at normal breeder density: common practice, an order of magnitude, so up to
    twice and down to half of it will do. Normal is taken as 5,000 adults with one tray of 720 cm2."""
    eggs = eggs_left(unlearnt, females=2500, vigour=0.7, area_cm2=720, trays=1, days=np.array([1.0]))[0] / 720
    assert 5 / 2 <= np.median(eggs) <= 30 * 2
