"""What moved a figure, and what would narrow it: against fits without the fact, and with the measurement made."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from chirr.engine.colony.belief import Belief
from chirr.engine.colony.figures import (
    Beside,
    Explained,
    colour_columns,
    explain_clutch,
    explain_lot,
    lot_unknowns,
    own_columns,
)
from chirr.engine.colony.history import FarmHistory, Happening, Kind
from chirr.engine.colony.horizon import Horizon
from chirr.engine.colony.influence import KINDS, Ground, Moved
from engine.colony.small_farm import DAY, belief_in, clutch, happening, history, lot, steady, stocked

WARM = steady(30.0)
HORIZON = Horizon(days=60, from_mg=(0.0, 90.0, 250.0), target_mg=250.0)
NONE = np.zeros(0, dtype=np.int64)
ONE_PLACE = np.zeros(1, dtype=np.int64)
ME = 8
AHEAD_DAYS = 12


def count(day: float, number: float, **more: object) -> Happening:
    return happening(day, Kind.COUNT, quantity=number, log_sd=0.15, **more)


def weighing(day: float, mg: float, sample: int = 60, **more: object) -> Happening:
    return happening(day, Kind.WEIGH, quantity=mg, log_sd=0.02, sample=sample, **more)


def farm(*mine: Happening) -> FarmHistory:
    """Eight lots that were harvested, and one of 28 days that is growing, hatched from one clutch."""
    done = tuple(
        lot(
            stocked(1000 + 50 * k),
            count(8, 800 + 60 * k),
            weighing(20, 60.0 + 3 * k),
            happening(45, Kind.HARVEST, quantity=0.2 + 0.01 * k, log_sd=0.02),
            ended_day=45,
        )
        for k in range(ME)
    )
    me = lot(happening(4, Kind.PLACE), *mine)
    tray = clutch(lot=ME, first_between=(13 * DAY, 14 * DAY), egg_counts=((5 * DAY, 1500.0, 0.2, "eggs"),))
    return history(30.0, lots=(*done, me), clutches=(tray,))


MINE = (count(20, 900, entry="counted"), weighing(25, 25.0, entry="weighed"))


def explained(belief: Belief, i: int = ME) -> Explained:
    beside = Beside.of(belief, WARM, HORIZON, ONE_PLACE, own_columns(belief, lot_unknowns(belief, i, NONE)))
    return explain_lot(beside, i, NONE, day=AHEAD_DAYS)


def without(belief: Belief, facts: np.ndarray, slope: np.ndarray, ground: Ground) -> float:
    """The plain way, with full matrices: refit the same linear model without some facts, and see the figure change."""
    j = belief.jacobian.toarray()[facts]
    left = belief.precision.toarray() - j.T @ (belief.weight[facts, None] * j)
    return float(slope @ np.linalg.solve(left, j.T @ ground.gradient[facts]))


@pytest.mark.parametrize("key", ["kg", "ready", "alive"])
def test_what_each_fact_and_each_kind_moved_is_what_a_fit_without_them_lacks(key: str) -> None:
    """Against dense matrices, numpy.linalg.solve: the same linear fit with the facts struck out."""
    belief = belief_in(farm(*MINE), WARM)
    seen, ground = explained(belief), Ground(belief)
    found = ground.around(seen.unknowns).moved(seen.figures[key].by)
    assert {(KINDS[m.kind], m.own) for m in found} >= {("harvests", False), ("weighings", True), ("weighings", False)}
    for m in found:
        assert np.isclose(m.by, without(belief, m.facts, seen.figures[key].by, ground), rtol=1e-6, atol=1e-9)
    assert sorted(int(i) for m in found for i in m.facts) == list(range(len(belief.facts.what)))


def test_a_fact_moved_the_figure_about_as_far_as_learning_anew_without_it_moves_it() -> None:
    """The whole search again with the weighing left out; the model is only nearly linear, hence the tolerance."""
    full, less = belief_in(farm(*MINE), WARM), belief_in(farm(MINE[0]), WARM)
    seen, ground = explained(full), Ground(full)
    moved = ground.around(seen.unknowns).moved(seen.figures["ready"].by)
    weighed = next(m for m in moved if m.own and full.facts.entry[m.facts[0]] == "weighed")
    anew = explained(full).figures["ready"].value - explained(less).figures["ready"].value
    assert abs(anew) > 12.0
    assert np.isclose(weighed.by, anew, rtol=0.25)


@pytest.mark.parametrize(("measurement", "key"), [("weigh", "ready"), ("count", "alive"), ("count", "kg")])
def test_a_measurement_narrows_the_figure_as_announced(measurement: str, key: str) -> None:
    """The measurement is made, at what it is expected to show, and everything learnt anew.

    A fact exactly where it is expected weighs 6/5 of a usual one with errors of Student's t with five degrees of
    freedom, so the figure may come out a little narrower than announced.
    """
    belief = belief_in(farm(MINE[0]), WARM)
    seen = explained(belief)
    around = Ground(belief).around(seen.unknowns)
    asked = next(m for m in seen.measurements if m.name == measurement)
    slope = seen.figures[key].by
    announced = np.sqrt(around.variance(slope) - around.taken_away(slope, asked.slope.by, asked.noise_sd))
    shown = float(np.exp(asked.slope.value))
    made = {
        "weigh": weighing(29.99, shown, 50),
        "count": replace(count(29.99, shown), log_sd=0.1),
    }[measurement]
    after = belief_in(farm(MINE[0], made), WARM)
    again = explained(after)
    got = np.sqrt(Ground(after).around(again.unknowns).variance(again.figures[key].by))
    before = np.sqrt(around.variance(slope))
    assert announced < 0.9 * before
    assert np.isclose(got, announced, rtol=0.12)


def test_influences_of_two_equal_weighings_are_equal_and_share_what_both_did() -> None:
    twice = (MINE[0], weighing(25, 25.0, entry="a"), weighing(25, 25.0, entry="b"))
    belief = belief_in(farm(*twice), WARM)
    seen, ground = explained(belief), Ground(belief)
    around, slope = ground.around(seen.unknowns), seen.figures["ready"].by
    each = {belief.facts.entry[m.facts[0]]: m.by for m in around.moved(slope) if m.own}
    both = without(belief, np.array([i for i, e in enumerate(belief.facts.entry) if e in "ab" and e]), slope, ground)
    assert np.isclose(each["a"], each["b"], rtol=1e-6)
    # either alone would have done most of it, so each by itself moved it less than half of what both did
    assert 0 < abs(each["a"]) < 0.5 * abs(both)


def test_an_outlying_fact_moves_little_but_is_not_hidden() -> None:
    absurd = count(22, 60_000, entry="absurd")
    belief = belief_in(farm(*MINE, absurd), WARM)
    seen, ground = explained(belief), Ground(belief)
    found = ground.around(seen.unknowns).moved(seen.figures["alive"].by)
    by = {belief.facts.entry[m.facts[0]]: m.by for m in found if m.own}
    assert "absurd" in [odd.entry for odd in belief.odd]
    assert 0 < by["absurd"] < 0.35
    assert by["absurd"] < abs(by["counted"])


def test_slopes_of_all_lots_at_once_are_those_of_each_lot_alone() -> None:
    belief = belief_in(farm(*MINE), WARM)
    together = Beside.of(belief, WARM, HORIZON, ONE_PLACE, colour_columns(belief))
    for key, slope in explain_lot(together, ME, NONE, day=AHEAD_DAYS).figures.items():
        np.testing.assert_allclose(slope.by, explained(belief).figures[key].by, atol=1e-9, err_msg=key)


def test_a_clutch_that_waits_is_explained_by_its_eggs_and_by_the_farm() -> None:
    trays = [clutch(egg_counts=((5 * DAY, 1500.0, 0.2, "eggs"),)), clutch(first_between=(13 * DAY, 14 * DAY))]
    belief = belief_in(history(14.5, clutches=tuple(trays)), WARM)
    column = own_columns(belief, belief.latents.clutch[:, 0])
    seen = explain_clutch(Beside.of(belief, WARM, HORIZON, ONE_PLACE, column, NONE), 0)
    around = Ground(belief).around(seen.unknowns)

    def kinds(moved: list[Moved]) -> list[tuple[str, bool]]:
        return [(KINDS[m.kind], m.own) for m in moved]

    assert kinds(around.moved(seen.figures["pinheads"].by))[0] == ("egg counts", True)
    assert kinds(around.moved(seen.figures["first"].by))[0] == ("hatches", False)
    eggs = seen.measurements[0]
    assert around.taken_away(seen.figures["pinheads"].by, eggs.slope.by, eggs.noise_sd) > 0


def test_with_no_facts_nothing_moved_anything() -> None:
    belief = belief_in(history(10.0, lots=(lot(stocked(1000)),)), WARM)
    seen = explained(belief, 0)
    assert Ground(belief).around(seen.unknowns).moved(seen.figures["alive"].by) == []
