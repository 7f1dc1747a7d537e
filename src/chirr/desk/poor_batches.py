"""Batches of substrate in which eggs hatch much worse than in others, as belief has it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from chirr.desk.spoken import say
from chirr.engine.colony.latents import SUBSTRATE_SD

if TYPE_CHECKING:
    from chirr.desk.belief import Foresight

LATELY_S = 14 * 86400

POOR, SURE = 0.8, 0.9
"""Told of when nine chances in ten say that fewer than so many hatch, by the share of other batches (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PoorBatch:
    """A batch and the share of its eggs that hatch, 1 as in others: the middle and an 80 % band."""

    substrate: str
    share: float
    low: float
    high: float


def poor_batches(f: Foresight) -> tuple[PoorBatch, ...]:
    """Poor batches, the worst first."""
    names, at = f.gathered.history.substrates, f.belief.latents.substrate
    if not names:
        return ()
    middle = SUBSTRATE_SD * f.belief.mode[at]
    sd = SUBSTRATE_SD * np.sqrt(np.diag(np.linalg.inv(f.ground.arrow.schur))[at])
    found = [
        PoorBatch(
            substrate=name, share=float(np.exp(m)), low=float(np.exp(m + ndtri(0.1) * s)),
            high=float(np.exp(m + ndtri(0.9) * s)),
        )
        for name, m, s in zip(names, middle, sd, strict=True)
        if m + ndtri(SURE) * s < np.log(POOR)
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda b: b.share))


def in_use(f: Foresight) -> set[str]:
    """Batches with a tray that is not emptied yet, or filled a short while ago."""
    lately = f.as_of - LATELY_S
    trays = f.standing.clutches.values()
    return {c.substrate for c in trays if c.substrate and (c.emptied_at is None or c.laid_at >= lately)}


def batch_remarks(f: Foresight) -> tuple[str, ...]:
    """A sentence for each poor batch that is in use."""
    using = in_use(f)
    return tuple(
        say(
            "Eggs in substrate batch {batch} hatch {share:.0%} as well as in others (8 in 10: {low:.0%} to {high:.0%})."
            " Look at its trays for mould, salt and wetness before you fill more with it.",
            batch=b.substrate, share=b.share, low=b.low, high=b.high,
        )
        for b in poor_batches(f)
        if b.substrate in using
    )  # fmt: skip
