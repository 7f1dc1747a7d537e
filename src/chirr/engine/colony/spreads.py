"""How much clutches differ from clutches and lots from lots on one farm: spreads that its own facts show.

Type II maximum likelihood in the model made linear at the mode: expectation and maximisation steps until they stand
(Dempster, Laird and Rubin 1977, J. R. Stat. Soc. B 39:1), stretched, as plain steps creep where facts say little.
The published spreads hold it like so many clutches more. Nothing is walked anew, so the steps cost next to nothing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.search import PRIOR_TAIL, Point, Search

Floats = NDArray[np.float64]

PRIOR_CLUTCHES = 20.0
"""The spreads in the species' prior weigh like so many clutches or lots (judgement)."""

_STEPS, _STRETCH, _SETTLED = 15, 1.8, 0.01
_LEAST, _MOST = 0.1, 4.0


def learnt_factors(search: Search, point: Point, clutch: Floats, lot: Floats) -> tuple[Floats, Floats]:
    """Factors on the prior spreads of clutches (3,) and of lots (4,), given those in use at `point`, same shapes.

    They do not depend on which spreads were in use, but for what the linear model leaves out.
    """
    rows = [row[row >= 0] for row in (*search.latents.clutch, *search.latents.lot)]
    seen = np.zeros(search.latents.size, dtype=bool)
    seen[search.layout.unknown] = True
    rows = [row[seen[row]] for row in rows]
    used = np.concatenate([clutch, lot])
    told = point.jacobian.evidence(point.curve)
    pulled = point.jacobian.pulled(point.gradient + point.curve * point.jacobian.moved(point.z))
    factor, prior_weight = used.copy(), point.prior_weight.copy()
    for _ in range(_STEPS):
        scale = np.ones(search.latents.size)
        for row, now, then in zip(rows, factor, used, strict=True):
            scale[row] = now / then
        arrow = told.scaled(scale).arrow(np.eye(search.farm), prior_weight)
        square = arrow.solve(scale * pulled) ** 2 + arrow.variances()
        prior_weight = np.where(search.heavy, (PRIOR_TAIL + 1) / (PRIOR_TAIL + square), 1.0)
        shown = [float((prior_weight[row] * square[row]).sum()) for row in rows]
        wanted = np.array(
            [
                np.sqrt((PRIOR_CLUTCHES + now**2 * s) / (PRIOR_CLUTCHES + len(row)))
                for s, row, now in zip(shown, rows, factor, strict=True)
            ]
        )
        change = np.clip((wanted / factor) ** _STRETCH, 0.5, 2.0)
        factor = np.clip(factor * change, _LEAST, _MOST)
        if np.abs(change - 1).max() < _SETTLED:
            break
    return factor[: len(clutch)], factor[len(clutch) :]
