"""Who gets which way: a draw that is random, and even within every block."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence

import numpy as np

from chirr.engine.errors import EngineError


def allocate(blocks: Mapping[str, Hashable], ways: Sequence[str], *, rng: np.random.Generator) -> dict[str, str]:
    """One way for each unit: within a block the numbers of the ways differ by one at most, and so they do over all.

    blocks: unit -> its block, such as (room, level, age class of the breeders).
    """
    _enough(len(blocks), ways)
    given = dict.fromkeys(ways, 0)
    out: dict[str, str] = {}
    for block in sorted(set(blocks.values()), key=repr):
        units = [u for u in blocks if blocks[u] == block]
        whole, left = divmod(len(units), len(ways))
        # those left over go to the ways that have had the fewest so far, ties by lot
        order = sorted(rng.permutation(len(ways)), key=lambda i: given[ways[int(i)]])
        hand = [*ways] * whole + [ways[int(i)] for i in order[:left]]
        for unit, k in zip(units, rng.permutation(len(hand)), strict=True):
            out[unit] = hand[int(k)]
            given[hand[int(k)]] += 1
    return {unit: out[unit] for unit in blocks}


def allocate_crossing(
    blocks: Mapping[str, Hashable], ways: Sequence[str], periods: int, *, rng: np.random.Generator
) -> dict[str, tuple[str, ...]]:
    """An order of ways for each unit, which gets all of them in turn; the orders are as even as `allocate` makes them.

    The orders are the rotations of the ways, so each way is as often first as any other; turns go on round and round.
    """
    starts = allocate(blocks, [str(i) for i in range(len(ways))], rng=rng)
    k = len(ways)
    return {unit: tuple(ways[(int(start) + t) % k] for t in range(periods)) for unit, start in starts.items()}


def _enough(units: int, ways: Sequence[str]) -> None:
    if len(set(ways)) < 2:
        raise EngineError("A trial needs at least two different ways.")
    if units < len(ways):
        raise EngineError(f"{units} bins are too few for {len(ways)} ways; give at least one bin to each.")
