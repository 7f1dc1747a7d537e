"""The core of belief is a linear mixed model of logarithms: against statsmodels MixedLM on the same counts.

Clutches of one farm, each counted several times, very precisely: log count = farm + clutch + error. statsmodels 0.15
(Seabold and Perktold 2010) finds the farm's mean, each clutch's deviation (its conditional mode) and the spread between
clutches with no priors at all. Belief has priors and errors of Student's t, so the two agree as far as these let them.
The counts of a clutch lie in pairs about its own mean, so that errors of any symmetric law have the same centre, and
they are precise enough for the priors to move a clutch's mean by less than a thousandth.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM

from chirr.engine.colony.belief import Belief
from chirr.engine.colony.latents import CLUTCH_SD
from chirr.engine.colony.search import PRIOR_TAIL
from engine.colony.small_farm import DAY, belief_in, clutch, history, steady

WARM = steady(30.0)
TRAYS, COUNT_SD = 24, 0.02
EGGS = 6000.0
MODEL_SD = float(np.hypot(COUNT_SD, 0.05))
"""What a count's error comes to: its own, and what the model leaves open in every count."""

Floats = NDArray[np.float64]


def counted(between_sd: float, seed: int) -> Floats:
    """Logs of counts, shape (TRAYS, 4)."""
    rng = np.random.default_rng(seed)
    own = between_sd * rng.standard_normal((TRAYS, 1))
    return np.log(EGGS) + own + MODEL_SD * np.array([1.2, -1.2, 0.7, -0.7])


def believed(logs: Floats) -> Belief:
    trays = tuple(
        clutch(
            name=f"C{k}",
            egg_counts=tuple((5 * DAY + j, float(np.exp(v)), COUNT_SD, f"{k}-{j}") for j, v in enumerate(row)),
        )
        for k, row in enumerate(logs)
    )
    return belief_in(history(6.0, clutches=trays), WARM)


def mixed_model(logs: Floats) -> tuple[float, Floats, float]:
    """Mean, group deviations and the spread between groups, by restricted maximum likelihood."""
    groups = np.repeat(np.arange(len(logs)), logs.shape[1])
    fit = MixedLM(logs.ravel(), np.ones((logs.size, 1)), groups).fit(reml=True)
    own = np.array([float(np.asarray(fit.random_effects[k]).ravel()[0]) for k in range(len(logs))])
    return float(fit.fe_params[0]), own, float(np.sqrt(np.asarray(fit.cov_re)[0, 0]))


@pytest.mark.parametrize("between_sd", [0.25, 0.4])
def test_the_mean_of_each_clutch_is_that_of_a_mixed_model_to_a_thousandth(between_sd: float) -> None:
    """Clutch means are pinned by precise counts: to 1e-3 of their logarithm, which is about nine."""
    logs = counted(between_sd, seed=3)
    belief, (mean, own, _) = believed(logs), mixed_model(logs)
    got = np.log(belief.told.clutches.eggs[:, 0]) + belief.told.farm.seen[0, 0]
    np.testing.assert_allclose(got, mean + own, rtol=1e-3)


@pytest.mark.parametrize("between_sd", [0.25, 0.4, 0.6])
def test_the_spread_between_clutches_lies_between_the_prior_and_what_a_mixed_model_finds(between_sd: float) -> None:
    """Belief's spread is the scale of Student's t, since accidents happen.

    scipy.stats.t.fit gives that scale for the deviations MixedLM finds. Belief lies between it and the prior, a
    twentieth allowed at either end, and has gone a quarter of the way to the facts or more.
    """
    logs = counted(between_sd, seed=5)
    belief, (_, own, _) = believed(logs), mixed_model(logs)
    shown, prior, got = (
        float(stats.t.fit(own, fdf=PRIOR_TAIL, floc=0)[2]),
        CLUTCH_SD[1],
        belief.latents.clutch_sd[1, 0],
    )
    low, high = sorted((shown, prior))
    assert 0.95 * low < got < 1.05 * high
    assert (got - prior) / (shown - prior) > 0.25


def test_the_deviations_of_clutches_from_one_another_are_those_of_a_mixed_model() -> None:
    """Differences between clutches know nothing of the farm's prior: to a two-hundredth of a log unit."""
    logs = counted(0.4, seed=7)
    belief, (_, own, _) = believed(logs), mixed_model(logs)
    got = belief.latents.clutch_sd[1] * belief.mode[belief.latents.clutch[1]]
    np.testing.assert_allclose(got - got.mean(), own - own.mean(), atol=0.005)
