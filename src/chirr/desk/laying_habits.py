"""How the farm lays, read off its book."""

from __future__ import annotations

import numpy as np

from chirr.book.standing import Standing

RECENT_DAYS = 60


def trays_in_a_bin(s: Standing, now: int) -> float:
    """How many trays stand in a breeding bin together, on the mean of late; 1 where no tray tells."""
    late = [c for c in s.clutches.values() if c.laid_at >= now - RECENT_DAYS * 86400]
    by_bin: dict[str, list[tuple[int, int]]] = {}
    for c in late:
        by_bin.setdefault(c.bin, []).append((c.laid_at, c.pulled_at or now + 1))
    together = [
        sum(a <= at < b for a, b in stays)
        for stays in by_bin.values()
        for at in ((first + last) // 2 for first, last in stays)
    ]
    return float(np.mean(together)) if together else 1.0
