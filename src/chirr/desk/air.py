"""Mean temperature of a place over a time, from what was measured there; the set point where nothing was."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from chirr.book import shelf
from chirr.book.standing import Stay


class Air:
    """The readings of the farm, ready to be averaged over any time."""

    def __init__(self, since: int, until: int) -> None:
        rows: dict[tuple[str, int], list[tuple[int, float]]] = defaultdict(list)
        for at, room, level, temperature_c in shelf.temperatures(since, until):
            rows[room, level].append((at, temperature_c))
        self._set = {r.room: r.set_temperature_c for r in shelf.rooms()}
        self._at = {k: np.array([at for at, _ in v]) for k, v in rows.items()}
        self._sum = {k: np.concatenate([[0.0], np.cumsum([t for _, t in v])]) for k, v in rows.items()}

    def mean_c(self, room: str, level: int, start: int, end: int) -> float:
        """Mean of the readings of a level from start to end, else of the room as a whole, else its set point [degC];
        nan where the room is not known."""
        for key in ((room, level), (room, -1)):
            if key in self._at:
                low, high = np.searchsorted(self._at[key], (start, end))
                if high > low:
                    return float((self._sum[key][high] - self._sum[key][low]) / (high - low))
        return self._set.get(room, float("nan"))

    def along_c(self, stays: Sequence[Stay], start: int, end: int) -> float:
        """Mean over the stays of a thing, each weighed by its time [degC]; nan when there is no time in it."""
        ends = [s.at for s in stays[1:]] + [end]
        parts = [(max(s.at, start), min(e, end), s) for s, e in zip(stays, ends, strict=True)]
        parts = [p for p in parts if p[1] > p[0]]
        if not parts:
            return float("nan")
        means = [self.mean_c(s.room, s.level, a, b) for a, b, s in parts]
        return float(np.average(means, weights=[b - a for a, b, _ in parts]))
