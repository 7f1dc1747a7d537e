"""Some lots believed by themselves, with what all others say of the farm, are believed as in the whole.

The law is that of products of normals: a posterior splits into the part of some facts and that of all others (Gelman
et al. 2013, Bayesian Data Analysis, 3rd ed., ch. 5 and 13, on partitioned data).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from chirr.engine.biology.species import species
from chirr.engine.colony.arrow import Arrow
from chirr.engine.colony.belief import Belief, believe, families_of
from chirr.engine.colony.farm_prior import all_but
from chirr.engine.colony.history import FarmHistory, Kind, LotFacts
from chirr.engine.colony.influence import Ground
from chirr.engine.colony.learnt import learnt_of
from engine.colony.small_farm import HOUSE, belief_in, clutch, happening, history, steady, stocked

WARM = steady(30.0)


def counted(i: int) -> LotFacts:
    """A lot that was counted and weighed, each a little otherwise; every third a good deal below what was put in."""
    wobble = 1 + 0.1 * np.sin(3.0 * i)
    events = (
        stocked(1000, x=0.1),
        happening(10, Kind.COUNT, quantity=900 * wobble * (0.8 if i % 3 == 0 else 1), log_sd=0.15),
        happening(25, Kind.WEIGH, quantity=160.0 * wobble, log_sd=0.03, sample=50),
    )
    return LotFacts(name=f"L{i}", happenings=events)


def farm(lots: list[int], clutches: list[int]) -> FarmHistory:
    eggs = tuple(
        clutch(name=f"C{i}", egg_counts=((48.0, 800.0 + 150 * i, 0.3, f"E{i}"),), unseen_until_h=250.0 + i)
        for i in clutches
    )
    return history(30.0, lots=tuple(counted(i) for i in lots), clutches=eggs)


@pytest.fixture(scope="module")
def whole() -> Belief:
    return belief_in(farm(list(range(8)), list(range(4))), WARM)


@pytest.fixture(scope="module")
def part(whole: Belief) -> Belief:
    """Lots 0 and 5 and clutch 2 of it, by themselves."""
    prior = all_but(Ground(whole), families_of(whole, np.array([0, 5]), np.array([2])))
    few, warm = farm([0, 5], [2]), np.full(1, 30.0)
    return believe(few, WARM, warm, species(HOUSE), learnt=learnt_of(whole), farm_prior=prior)


def test_the_farm_comes_out_as_in_the_whole(whole: Belief, part: Belief) -> None:
    n = int((whole.family < 0).sum())
    np.testing.assert_allclose(part.mode[:n], whole.mode[:n], atol=0.01)
    there, here = (Arrow(b.precision, b.family).schur for b in (whole, part))
    np.testing.assert_allclose(here, there, rtol=0.02, atol=0.02)


def test_the_lots_come_out_as_in_the_whole(whole: Belief, part: Belief) -> None:
    for here, there in ((0, 0), (1, 5)):
        np.testing.assert_allclose(part.told.lots.number[here, 0], whole.told.lots.number[there, 0], rtol=0.01)
    np.testing.assert_allclose(part.told.clutches.eggs[0, 0], whole.told.clutches.eggs[2, 0], rtol=0.01)
    there, here_sd = (Arrow(b.precision, b.family).variances() ** 0.5 for b in (whole, part))
    np.testing.assert_allclose(here_sd[part.latents.lot[:, 1]], there[whole.latents.lot[:, 5]], rtol=0.02)


def test_a_new_count_moves_the_part_as_it_moves_the_whole(whole: Belief) -> None:
    more = happening(29, Kind.COUNT, quantity=500, log_sd=0.1)

    def with_it(some: FarmHistory, at: int) -> FarmHistory:
        lots = list(some.lots)
        lots[at] = replace(lots[at], happenings=(*lots[at].happenings, more))
        return replace(some, lots=tuple(lots))

    prior = all_but(Ground(whole), families_of(whole, np.array([5]), np.zeros(0, dtype=np.int64)))
    few = with_it(farm([5], []), 0)
    quick = believe(few, WARM, np.zeros(0), species(HOUSE), learnt=learnt_of(whole), farm_prior=prior)
    all_anew = believe(
        with_it(farm(list(range(8)), list(range(4))), 5),
        WARM,
        np.full(4, 30.0),
        species(HOUSE),
        learnt=learnt_of(whole),
    )
    before, after = whole.told.lots.number[5, 0], all_anew.told.lots.number[5, 0]
    assert after < 0.9 * before
    np.testing.assert_allclose(quick.told.lots.number[0, 0], after, rtol=0.01)
    n = int((whole.family < 0).sum())
    assert np.abs(quick.mode[:n] - all_anew.mode[:n]).max() < 0.15, "as far as what the others say is normal"


def test_without_any_family_left_out_it_is_what_the_whole_says_of_the_farm(whole: Belief) -> None:
    ground, n = Ground(whole), int((whole.family < 0).sum())
    prior = all_but(ground, np.zeros(0, dtype=np.int64))
    np.testing.assert_allclose(prior.mean, whole.mode[:n])
    np.testing.assert_allclose(prior.precision, ground.arrow.schur)
