"""The farm's level is judged with all clutches and lots integrated out, not by the best fit of everything at once.

The other side of the pull is numpy's own determinant of the dense precision, taken beside the point (Laplace's
approximation of an integral: Tierney and Kadane 1986, J. Am. Stat. Assoc. 81:82); of what it does to belief, truths
that were drawn from the prior.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from chirr.engine.biology.species import species
from chirr.engine.colony.approach import from_afar
from chirr.engine.colony.belief import believe
from chirr.engine.colony.latents import FARM
from chirr.engine.colony.learnt import learnt_of
from chirr.engine.colony.search import Point, Search
from chirr.engine.colony.volume import pull_of_volume
from engine.colony.small_farm import HOUSE
from engine.colony.told_by_the_prior import WARM, Model, Plan, fitted, told_farm

Floats = NDArray[np.float64]
HATCHLING = FARM.index("hatchling_mass")
STEP = 0.3


@cache
def settled() -> tuple[Search, Point]:
    history = told_farm(Plan(clutches=10, harvested=5), np.random.default_rng(8))[1]
    return from_afar(Model.of(history).search)


def half_log_det(search: Search, z: Floats, weight: Floats) -> float:
    """Half the log determinant of what is believed of clutches and lots at `z`, with the weights of facts given."""
    point = search.look(z)
    slopes = point.jacobian.sparse().toarray()[:, search.farm :]
    told = np.where(np.isneginf(search.facts.low), 0.0, weight)
    block = np.diag(settled()[1].prior_weight[search.farm :]) + slopes.T @ (told[:, None] * slopes)
    return 0.5 * float(np.linalg.slogdet(block)[1])


def test_the_pull_is_the_slope_of_the_log_determinant() -> None:
    """To what random directions and the curve of the model over a step leave open."""
    search, point = settled()
    n = search.farm
    dense = search.precision(point).toarray()
    along = np.concatenate([np.eye(n), -np.linalg.solve(dense[n:, n:], dense[n:, :n])])
    exact = [
        -(
            half_log_det(search, point.z + STEP * d, point.curve)
            - half_log_det(search, point.z - STEP * d, point.curve)
        ) / (2 * STEP)
        for d in along.T
    ]  # fmt: skip
    got = pull_of_volume(search, point)
    assert np.abs(exact).max() > 0.4
    assert np.corrcoef(got, exact)[0, 1] > 0.9
    np.testing.assert_allclose(got, exact, atol=0.3)


def test_on_many_lots_the_mass_of_hatchlings_is_not_believed_too_low() -> None:
    """Each lot's own pace fits its first weighing whatever the hatchling's mass: most closely with light hatchlings, so
    the best fit of everything at once has them lighter the more lots there are."""
    off, without = [], []
    for rng in np.random.default_rng(24).spawn(11):
        z, history = told_farm(Plan(clutches=20, harvested=8), rng)
        belief = fitted(history)
        spread = np.sqrt(np.linalg.inv(belief.precision.toarray())[HATCHLING, HATCHLING])
        off.append((z[HATCHLING] - belief.mode[HATCHLING]) / spread)
        farm = int((belief.family < 0).sum())
        moved = np.linalg.solve(belief.precision.toarray(), np.append(belief.volume, np.zeros(len(z) - farm)))
        without.append(off[-1] + moved[HATCHLING] / spread)
    assert abs(np.median(off)) < 0.5
    assert np.median(without) > 0.6


def test_the_pull_is_kept_with_what_was_learnt_and_found_anew_where_an_older_file_has_none() -> None:
    history = told_farm(Plan(clutches=8, harvested=4), np.random.default_rng(3))[1]
    temperatures = np.full(len(history.clutches), 30.0)
    whole = believe(history, WARM, temperatures, species(HOUSE))
    learnt = learnt_of(whole)
    kept, anew = (
        believe(history, WARM, temperatures, species(HOUSE), learnt=from_)
        for from_ in (learnt, replace(learnt, volume={}))
    )
    np.testing.assert_array_equal(kept.volume, whole.volume)
    np.testing.assert_allclose(anew.volume, whole.volume, atol=0.1)
    np.testing.assert_allclose(kept.mode[: len(FARM)], whole.mode[: len(FARM)], atol=0.1)
    np.testing.assert_allclose(anew.mode[: len(FARM)], whole.mode[: len(FARM)], atol=0.1)
