"""The pull of volume: how much room a level of the farm leaves to its clutches and lots.

The best fit of everything at once looks at how high the peak is and not at how much lies under it. Where the farm's
level makes a fact tell more of a lot's own pace, the lot has less room; of two levels that fit alike the one with more
room is the likelier, and with every further lot more so. What counts is the posterior of the farm's level with all
clutches and lots integrated out: in Laplace's approximation, the best fit less half the log determinant of their
precision (Tierney and Kadane 1986, J. Am. Stat. Assoc. 81:82; on the bias of leaving it out: Breslow and Lin 1995,
Biometrika 82:81). Its slope is found here, as a pull on the farm's unknowns.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from chirr.engine.colony.search import Point, Search

Floats = NDArray[np.float64]

_FARM_STEP, _OWN_STEP = 0.3, 0.5
"""Prior spreads of the farm's unknowns, and spreads of what is believed of the others, over which slopes are taken."""

_ENOUGH, _MOST_EACH = 200, 16
"""Directions of single families that make the mean sure enough, and the most in each family."""


def pull_of_volume(search: Search, point: Point) -> Floats:
    """Slope of -1/2 log det of the precision of clutches and lots, by the farm's unknowns, shape (farm's unknowns,).

    They move along to their own best as the farm's level moves. The determinant's derivative is that of the mean square
    of the facts' slopes along random directions, drawn from what is believed of clutches and lots (Hutchinson 1990,
    Commun. Stat. Simul. Comput. 19:433).
    """
    arrow = search.arrow(point)
    farm, size = search.farm, len(point.z)
    families = sum(len(g.family) for g in arrow.groups)
    each = int(np.clip(_ENOUGH / max(families, 1), 2, _MOST_EACH))
    weight = np.where(search.own_only, 0.0, point.curve)
    own, along = np.zeros((size, each)), np.zeros((size, farm))
    for member, drawn in arrow.draw_families(np.zeros((farm, each)), np.random.default_rng(1)):
        own[member] = drawn
    along[:farm] = np.eye(farm)
    for g in arrow.groups:
        along[g.member.ravel()] = -g.solved.reshape(-1, farm)

    def mean_square(z: Floats) -> float:
        """Mean over the directions of the weighed squares of the facts' slopes along them at `z`."""
        said = search.said(np.concatenate([z[:, None] + _OWN_STEP * own, z[:, None] - _OWN_STEP * own], axis=1))
        slope = (said[:, :each] - said[:, each:]) / (2 * _OWN_STEP)
        return float(weight @ (slope**2).sum(axis=1)) / each

    change = [
        mean_square(point.z + _FARM_STEP * along[:, k]) - mean_square(point.z - _FARM_STEP * along[:, k])
        for k in range(farm)
    ]
    return np.asarray(-0.5 * np.array(change) / (2 * _FARM_STEP))
