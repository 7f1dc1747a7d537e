"""What is known of the farm's level before the lots at hand are looked at: published values, or all other lots.

Families of lots meet only in the farm's level. So a few lots can be believed anew by themselves, with what all the
others say of the farm as their prior: the answer is that of the whole farm, as far as it is normal.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.influence import Ground
from chirr.engine.colony.search import FarmPrior

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def all_but(ground: Ground, families: Ints) -> FarmPrior:
    """What everything but the facts of some families says of the farm's level.

    Parameters
    ----------
    ground : Ground
        Of a belief at its mode.
    families : ndarray of int
        Families to leave out, by number.

    Returns
    -------
    FarmPrior
        Its product with those families' own likelihood, their unknowns integrated out, has the mode and precision of
        the whole belief.
    """
    belief, arrow = ground.belief, ground.arrow
    farm = arrow.farm
    mine = np.isin(ground.fact_family, families)
    seen = belief.jacobian[mine][:, :farm].toarray()
    told = seen.T @ (belief.weight[mine, None] * seen)
    for name in np.unique(families).tolist():
        group, k = arrow.groups[ground.place[name][0]], ground.place[name][1]
        told = told - group.border[k].T @ group.solved[k]
    precision = arrow.schur - told
    pulled = seen.T @ ground.gradient[mine]
    return FarmPrior(
        mean=belief.mode[:farm] - np.linalg.solve(precision, pulled), precision=0.5 * (precision + precision.T)
    )
