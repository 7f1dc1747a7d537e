"""How long each deed should take: a default, drawn towards what the farm's own timed entries say.

The defaults are common practice with no published source: nothing reliable is published on the minutes of a bin.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from statistics import median

DEFAULT_MINUTES: Mapping[str, float] = {
    "feed": 1.0, "water": 0.5,  # 1-2 a bin together
    "pull": 1.5, "lay": 1.5,  # a swap of 2-4 a tray
    "hatch": 0.35,  # a look, 0.2-0.5 a tray
    "move": 2.5, "empty": 1.5,  # into a nursery bin and spent tray out, 3-5 together
    "split": 11.5, "join": 11.5, "harvest": 11.5, "retire": 11.5,  # 8-15 a bin
    "weigh": 4.0, "count": 4.0,  # 3-5 a sample
    "note": 3.5, "deaths": 3.5,  # 2-5: look, take out the dead
    "clean": 15.0,  # 10-20 a bin
    "stock": 5.0, "take": 3.0, "pack": 2.0, "ship": 2.0, "correct": 0.0,
}  # fmt: skip
"""Minutes for one bin, tray or sample by deed: middles of the ranges beside them (common practice, no published
source; `stock`, `take`, and how a pair is shared between its two deeds, are judgement)."""

WEIGHT_OF_DEFAULT = 3.0
"""The default counts as much as this many timed entries (judgement)."""
TRAYS_TO_TELL = 8
"""Timed entries of one tray type before it gets minutes of its own (judgement)."""
LONGEST_MINUTES = 480.0
"""Longer than a working day is a slip of the pen."""


@dataclass(frozen=True)
class Minutes:
    """Expected minutes by deed, and by (deed, tray type) where the farm has timed enough of them."""

    by_deed: Mapping[str, float] = field(default_factory=dict)
    by_tray: Mapping[tuple[str, str], float] = field(default_factory=dict)

    def of(self, deed: str, tray_type: str | None = None) -> float:
        """Expected minutes of a deed; 1 for a deed that nobody has an idea of."""
        if tray_type is not None and (deed, tray_type) in self.by_tray:
            return self.by_tray[deed, tray_type]
        return self.by_deed.get(deed, DEFAULT_MINUTES.get(deed, 1.0))


def learn(timed: Iterable[tuple[str, float, str | None]]) -> Minutes:
    """Expected minutes from timed entries (deed, minutes, tray type or None).

    The middle of the logs, so that one forgotten clock does not count, drawn towards the default as if that were
    `WEIGHT_OF_DEFAULT` entries; a tray type is drawn towards its deed likewise. Minutes that are not above 0, or
    longer than a day, are left out.

    >>> round(learn([("feed", 2.0, None)] * 3).of("feed"), 3)  # half way, in logs, from 1 to 2
    1.414
    """
    deeds: dict[str, list[float]] = {}
    trays: dict[tuple[str, str], list[float]] = {}
    for deed, minutes, tray_type in timed:
        if not 0 < minutes <= LONGEST_MINUTES:
            continue
        deeds.setdefault(deed, []).append(math.log(minutes))
        if tray_type is not None and deed in ("lay", "pull"):
            trays.setdefault((deed, tray_type), []).append(math.log(minutes))
    by_deed = {deed: _drawn(DEFAULT_MINUTES.get(deed, 1.0), logs) for deed, logs in deeds.items()}
    by_tray = {
        (deed, tray): _drawn(by_deed[deed], logs) for (deed, tray), logs in trays.items() if len(logs) >= TRAYS_TO_TELL
    }
    return Minutes(by_deed, by_tray)


def _drawn(towards: float, logs: list[float]) -> float:
    if towards <= 0:
        return math.exp(median(logs))
    n = len(logs)
    return math.exp((WEIGHT_OF_DEFAULT * math.log(towards) + n * median(logs)) / (WEIGHT_OF_DEFAULT + n))
