"""Which lots a lot came from."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.history import Kind
from chirr.engine.colony.schedule import Schedule

Ints = NDArray[np.int64]


def with_parents(schedule: Schedule, lots: Ints) -> NDArray[np.bool_]:
    """Marks of lots, given by number, and of every lot that their crickets came from, shape (lots of the farm,)."""
    marks = np.zeros(len(schedule.last_hour), dtype=bool)
    marks[lots] = True
    came = np.flatnonzero(np.isin(schedule.kind, (Kind.IN, Kind.MIX)))
    while True:
        more = schedule.other[came[marks[schedule.lot[came]]]]
        if marks[more].all():
            return marks
        marks[more] = True
