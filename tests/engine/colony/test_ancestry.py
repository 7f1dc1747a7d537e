"""Which lots a lot came from."""

from __future__ import annotations

import numpy as np

from chirr.engine.colony.ancestry import with_parents
from chirr.engine.colony.history import Kind
from engine.colony.small_farm import belief_in, happening, history, lot, steady, stocked


def test_a_lot_is_followed_with_all_that_it_came_from() -> None:
    parent = lot(stocked(500), happening(5, Kind.OUT, quantity=100, other=1, entry="first"))
    child = lot(
        happening(5, Kind.IN, quantity=100, other=0, entry="first"),
        happening(6, Kind.OUT, quantity=50, other=2, entry="then"),
    )
    grandchild = lot(happening(6, Kind.IN, quantity=50, other=1, entry="then"))
    farm = history(10.0, lots=(parent, child, grandchild, lot(stocked(100))))
    schedule = belief_in(farm, steady(30.0)).schedule
    assert with_parents(schedule, np.array([2])).tolist() == [True, True, True, False]
    assert with_parents(schedule, np.array([1])).tolist() == [True, True, False, False]
    assert with_parents(schedule, np.array([0, 3])).tolist() == [True, False, False, True]
    assert not with_parents(schedule, np.array([], dtype=np.int64)).any()
