"""The normal distribution that belief is, against an independent sampler of the same posterior.

emcee 3 (Foreman-Mackey et al. 2013, PASP 125:306, affine-invariant ensemble sampling) knows nothing of modes and
curvatures. Its likelihood here is written anew from scipy.stats: Student's t with five degrees of freedom about what
the walk predicts, normal priors, and priors of Student's t where accidents happen. A few unknowns that the
facts bear on are free, all others stay where belief has them.
"""

from __future__ import annotations

import emcee
import numpy as np
from numpy.typing import NDArray
from scipy import stats

from chirr.engine.colony.belief import Belief
from chirr.engine.colony.facts import TAIL, predict, spread
from chirr.engine.colony.history import FarmHistory, Kind
from chirr.engine.colony.latents import FARM
from chirr.engine.colony.search import PRIOR_TAIL
from chirr.engine.colony.walk import walk
from engine.colony.small_farm import DAY, belief_in, clutch, happening, history, lot, steady, stocked

WARM = steady(30.0)
WALKERS, BURNT = 20, 120

Floats = NDArray[np.float64]


def growing_lot() -> FarmHistory:
    return history(
        36.0,
        lots=(
            lot(
                stocked(1000, log_sd=0.2),
                happening(10, Kind.COUNT, quantity=800, log_sd=0.15, entry="early"),
                happening(20, Kind.WEIGH, quantity=20.0, log_sd=0.02, sample=60, entry="light"),
                happening(30, Kind.COUNT, quantity=700, log_sd=0.15, entry="late"),
                happening(35, Kind.WEIGH, quantity=180.0, log_sd=0.02, sample=60, entry="heavy"),
            ),
        ),
    )


def hatched_clutch() -> FarmHistory:
    seen = {"egg_counts": ((5 * DAY, 6000.0, 0.2, "eggs"),), "pinhead_counts": ((18 * DAY, 3600.0, 0.2, "pinheads"),)}
    return history(20.0, clutches=(clutch(first_between=(13.5 * DAY, 14 * DAY), **seen),))


def sampled(belief: Belief, free: NDArray[np.int64], steps: int) -> tuple[Floats, Floats, float]:
    """Means and standard deviations by emcee, and the greatest Monte Carlo error of a mean in standard deviations."""
    facts = belief.facts
    told = walk(belief.mode[:, None], belief.latents, belief.schedule, belief.arrays, belief.laid, belief.bio)
    sd = spread(told, facts)[:, None]  # as everywhere in the fit, an error's size is taken where belief lies
    accidents = np.concatenate([belief.latents.clutch[1:].ravel(), belief.latents.lot[1:3].ravel()])
    heavy = np.isin(free, accidents[accidents >= 0])[:, None]

    def log_posterior(x: Floats) -> Floats:
        z = np.repeat(belief.mode[:, None], len(x), axis=1)
        z[free] = x.T
        said = predict(walk(z, belief.latents, belief.schedule, belief.arrays, belief.laid, belief.bio), facts)
        fits = stats.t.logpdf((facts.value[:, None] - said) / sd, TAIL).sum(axis=0)
        prior = np.where(heavy, stats.t.logpdf(x.T, PRIOR_TAIL), stats.norm.logpdf(x.T)).sum(axis=0)
        return np.asarray(fits + prior)

    rng = np.random.default_rng(4)
    start = belief.mode[free] + 0.3 * rng.standard_normal((WALKERS, len(free)))
    sampler = emcee.EnsembleSampler(WALKERS, len(free), log_posterior, vectorize=True)
    sampler.random_state = np.random.RandomState(4).get_state()
    sampler.run_mcmc(start, steps)
    tau = float(np.max(sampler.get_autocorr_time(discard=BURNT, quiet=True, tol=30)))
    chain = sampler.get_chain(discard=BURNT, flat=True)
    return chain.mean(axis=0), chain.std(axis=0), float(np.sqrt(tau / len(chain)))


def normal_part(belief: Belief, free: NDArray[np.int64]) -> Floats:
    """Standard deviations that belief gives to some unknowns while all others stay."""
    return np.sqrt(np.diag(np.linalg.inv(belief.precision.toarray()[np.ix_(free, free)])))


FARM_LEVEL = ("nymph_speed", "early", "late", "hatchling_mass", "crickets_seen")


def test_means_and_spreads_of_a_growing_lots_farm_agree_with_a_sampler() -> None:
    """Standard deviations to a tenth and means to 0.3 of one, each with three Monte Carlo errors beside.

    The posterior is a little skewed (shares near one, crowding, t errors); the normal at its mode cannot be, and this
    is what that costs.
    """
    belief = belief_in(growing_lot(), WARM)
    free = np.array([FARM.index(name) for name in FARM_LEVEL])
    mean, sd, error = sampled(belief, free, 900)
    assert error < 0.08
    np.testing.assert_allclose((belief.mode[free] - mean) / sd, 0.0, atol=0.3 + 3 * error)
    np.testing.assert_allclose(normal_part(belief, free) / sd, 1.0, atol=0.1 + 3 * error)


def test_where_one_fact_says_it_all_belief_may_be_too_sure_by_two_fifths_but_no_more() -> None:
    """A known limit: one fact alone pins each number here, and its error has the heavy tails of Student's t.

    Of Student's t with five degrees of freedom the standard deviation is 1.29 of its scale, that by the curvature at
    its middle 0.91: their ratio is 0.71, and a fact off the middle or a second prior moves it either way.
    """
    belief = belief_in(hatched_clutch(), WARM)
    free = np.array([FARM.index(name) for name in ("egg_speed", "eggs", "capacity", "hatch")])
    mean, sd, error = sampled(belief, free, 900)
    assert error < 0.08
    ratio = normal_part(belief, free) / sd
    np.testing.assert_allclose((belief.mode[free] - mean) / sd, 0.0, atol=0.5)
    assert (ratio > 0.6).all()
    assert (ratio < 1.15).all()


def test_where_accidents_happen_belief_is_too_sure_by_three_fifths_at_most() -> None:
    """The same limit of a prior with heavy tails, on a lot of which little is known.

    Of Student's t with three degrees of freedom the standard deviation is 1.73, most of it rare accidents, that by the
    curvature at its middle 0.87.
    """
    belief = belief_in(growing_lot(), WARM)
    free = np.asarray(belief.latents.lot[1:3, 0])
    _, sd, _ = sampled(belief, free, 400)
    ratio = normal_part(belief, free) / sd
    assert (ratio > 0.4).all()
    assert (ratio < 1.05).all()
