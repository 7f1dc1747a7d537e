"""What the way between two deeds costs: minutes to enter a room and to go on to another stack, from gaps in the book.

The gap between two entries of one person is the work of the later deed and the way to it. Deeds that follow each other
at one bin have no way between them, so they tell the work; what it leaves of the other gaps is the way.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from chirr.engine.trials.durations import PRIOR_WEIGHT, Duration

LONGEST_GAP_MINUTES = 30.0
"""A longer gap is a break, not a way (judgement)."""
MAD_TO_SD = 1.4826


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Minutes from one entry to the next of the same person. `step`: bin (the same one), stack (another bin of the same
    stack), stacks (so many stacks on, in the same room) or room (another room)."""

    minutes: float
    deed: str
    step: str
    stacks: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """Minutes lost on the way: into a room, for each stack further, to another bin of the same stack."""

    room: Duration
    stack: Duration
    bin: Duration


def ways_learnt(gaps: Sequence[Gap], usual_minutes: Mapping[str, float], *, room: float, stack: float) -> Ways:
    """Ways learnt from gaps, drawn towards what is usual as if that were three gaps.

    Parameters
    ----------
    gaps : those over half an hour, or of no time at all, are left out
    usual_minutes : minutes of each deed that occurs, without the way
    room, stack : usual minutes into a room and for each stack further
    """
    kept = [g for g in gaps if 0 < g.minutes <= LONGEST_GAP_MINUTES]
    work = _work(kept, usual_minutes)
    left: dict[str, list[float]] = {"room": [], "stacks": [], "stack": []}
    for g in kept:
        if g.step in left:
            left[g.step].append((g.minutes - work[g.deed]) / (max(g.stacks, 1) if g.step == "stacks" else 1))
    return Ways(
        room=_way(left["room"], room), stack=_way(left["stacks"], stack), bin=_way(left["stack"], 0.0)
    )  # fmt: skip


def _work(gaps: Sequence[Gap], usual: Mapping[str, float]) -> dict[str, float]:
    """Minutes of each deed by itself: the middle of its gaps at one bin, drawn towards the usual."""
    at_one: dict[str, list[float]] = {}
    for g in gaps:
        if g.step == "bin":
            at_one.setdefault(g.deed, []).append(g.minutes)
    out = dict(usual)
    for deed, minutes in at_one.items():
        n = len(minutes)
        logs = float(np.median(np.log(minutes)))
        out[deed] = math.exp((PRIOR_WEIGHT * math.log(usual[deed]) + n * logs) / (PRIOR_WEIGHT + n))
    return out


def _way(left: Sequence[float], default: float) -> Duration:
    """The middle of what is left of the gaps, robust against a chat or a forgotten tap, and never below nought.

    Its interval is that of a median of normal values: 1.2533 sd / sqrt(n).
    """
    values, n = np.asarray(left, dtype=np.float64), len(left)
    own = float(np.median(values)) if n else default
    sd = MAD_TO_SD * float(np.median(np.abs(values - own))) if n else default / 2
    middle = max((PRIOR_WEIGHT * default + n * own) / (PRIOR_WEIGHT + n), 0.0)
    half = 1.6449 * 1.2533 * sd / math.sqrt(PRIOR_WEIGHT + n)
    few = (middle - 1.2816 * sd, middle + 1.2816 * sd)
    low, high = np.quantile(values, (0.1, 0.9)) if n > 4 else few
    return Duration(
        n=n, middle=middle, mean=middle, low=max(float(low), 0.0), high=max(float(high), middle),
        middle_interval=(max(middle - half, 0.0), middle + half),
    )  # fmt: skip
