"""How long to leave a tray in: laws of the curve, and that the farm's own counts move it as they should."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.biology.laying import eggs_per_cm2_in_tray
from chirr.engine.biology.species import species
from chirr.engine.colony.belief import Belief
from chirr.engine.colony.history import FarmHistory, Kind
from chirr.engine.planning.laying import (
    LayingDraws,
    counted_trays,
    eggs_left,
    farm_draws,
    laying_draws,
    longest_days,
    usual_vigour,
)
from chirr.engine.planning.tray_choice import Labour, LayingBin, judge_days, judge_trays
from engine.colony.small_farm import DAY, HOUSE, belief_in, clutch, happening, history, lot, steady, stocked

ANIMAL = species(HOUSE)
WARM = steady(30.0)
BIN = LayingBin(adults=1000.0, females=500.0, vigour=0.7)
LABOUR = Labour(per_tray=6.0, per_bin_day=0.5)
DAYS = np.arange(1.0, 11.0)


def one(offered: float = 10.0, capacity: float = 80.0, eating: float = 0.02, level: float = 1.0) -> LayingDraws:
    return LayingDraws(
        offered_per_female_day=np.array([offered]), capacity_per_cm2=np.array([capacity]),
        eating_per_day2=np.array([eating]), level=np.array([level]),
    )  # fmt: skip


def farm_of_trays(eggs_after: dict[float, float], *, each: int = 12) -> FarmHistory:
    """A farm whose breeders fill trays, `each` trays for every number of days in, holding about so many eggs."""
    rng = np.random.default_rng(3)
    clutches, layings = [], []
    for k in range(each):
        for days, eggs in eggs_after.items():
            name, begun = f"C{len(clutches)}", 12.0 + 0.2 * len(clutches) * 0.5
            count = (begun * DAY + 90, eggs * float(np.exp(0.1 * rng.standard_normal())), 0.15, f"n{name}")
            layings.append(happening(begun, Kind.LAY, other=len(clutches)))
            clutches.append(
                clutch(name=name, breeders=0, laid_h=begun * DAY, pulled_h=(begun + days) * DAY, tray_type=0,
                       starts_h=np.array([begun * DAY]), egg_counts=(count,))
            )  # fmt: skip
        del k
    breeders = lot(stocked(1000, x=1.0, adult_days=5.0), *layings)
    return replace(history(40.0, lots=(breeders,), clutches=tuple(clutches)), tray_types=2)


def draws_of(farm: FarmHistory, *, tray_type: int = 0, draws: int = 800) -> LayingDraws:
    level = farm_draws(belief_in(farm, WARM), draws, np.random.default_rng(2))
    return laying_draws(level, trays=1.0, tray_type=tray_type)


@given(
    st.floats(0.5, 60), st.floats(10, 300), st.floats(0.0005, 0.1), st.floats(50, 5000), st.floats(100, 2000),
    st.integers(1, 5),
)  # fmt: skip
def test_the_curve_rises_then_may_fall_but_never_rises_again(
    offered: float, capacity: float, eating: float, females: float, area: float, trays: int
) -> None:
    days = np.linspace(0.0, 40, 200)
    eggs = eggs_left(
        one(offered, capacity, eating), females=females, vigour=1.0, area_cm2=area, trays=trays, days=days
    )[:, 0]
    steps = np.sign(np.round(np.diff(eggs) / eggs.max(), 12))
    assert eggs[1] > eggs[0]
    assert (np.diff(steps) <= 0).all()


def test_nothing_eaten_and_nothing_filled_means_eggs_in_step_with_the_days() -> None:
    eggs = eggs_left(one(capacity=1e12, eating=0.0), females=500, vigour=1.0, area_cm2=300, trays=1, days=DAYS)[:, 0]
    np.testing.assert_allclose(eggs, 10.0 * 500 * DAYS, rtol=1e-6)


def test_more_trays_share_the_females_and_never_hold_less_in_all() -> None:
    judged = judge_trays(one(), BIN, area_cm2=300, days=3.0, most=6, habit=1.0, labour=LABOUR)
    assert (judged.extra[:, 0] > 0).all()
    assert (np.diff(judged.extra[1:, 0]) < 0).all()


def test_the_best_days_lie_within_those_offered() -> None:
    d = draws_of(farm_of_trays({3.0: 3000.0}))
    judged = judge_days(d, BIN, area_cm2=300, trays=1, days=DAYS[:4], habit_days=2.3, labour=LABOUR)
    for best in (judged.per_breeder_day, judged.per_tray, judged.per_minute):
        assert best.at in DAYS[:4]
        assert np.isin(best.ways, DAYS[:4]).all()
        assert 0.0 <= best.chance <= 1.0
    assert judged.per_breeder_day.at == 1.0


def test_the_habit_itself_is_no_better_than_the_habit() -> None:
    judged = judge_days(one(), BIN, area_cm2=300, trays=1, days=np.array([3.0]), habit_days=3.0, labour=LABOUR)
    assert judged.per_tray.chance == 0.5
    assert judged.per_tray.gain.tolist() == [1.0]


def test_dearer_swaps_never_make_the_best_stay_shorter() -> None:
    at = [
        judge_days(
            one(eating=0.06), BIN, area_cm2=300, trays=1, days=DAYS, habit_days=3,
            labour=Labour(per_tray=m, per_bin_day=2.0),
        ).per_minute.at
        for m in (0.5, 2.0, 6.0, 20.0)
    ]  # fmt: skip
    assert at == sorted(at)
    assert at[0] < at[-1]


def test_a_farm_without_facts_answers_from_the_published_values_with_wide_bands() -> None:
    d = draws_of(FarmHistory(clutches=(), lots=(), now_h=240.0, tray_types=1))
    assert np.median(d.capacity_per_cm2) == pytest.approx(ANIMAL.tray_capacity_eggs_per_cm2.value, rel=0.1)
    assert np.median(d.eating_per_day2) == pytest.approx(ANIMAL.egg_eating_per_day2.value, rel=0.1)
    wide = np.quantile(d.offered_per_female_day * d.level, (0.1, 0.9))
    assert wide[1] / wide[0] > 2.5


def test_counting_trays_narrows_the_curve_and_moves_it_to_what_was_counted() -> None:
    belief = belief_in(farm_of_trays({3.0: 2400.0}), WARM)
    unlearnt = belief_in(FarmHistory(clutches=(), lots=(), now_h=240.0, tray_types=1), WARM)

    def three_days(of: Belief) -> np.ndarray:
        level = farm_draws(of, 800, np.random.default_rng(2))
        return eggs_left(
            laying_draws(level, trays=1.0, tray_type=0), females=float(np.median(belief.laid.females)),
            vigour=usual_vigour(of, level), area_cm2=300, trays=1, days=np.array([3.0]),
        )[0]  # fmt: skip

    eggs, prior = three_days(belief), three_days(unlearnt)
    assert np.median(eggs) == pytest.approx(2400, rel=0.15)
    assert np.log(eggs).std() < 0.5 * np.log(prior).std()


def test_trays_left_in_longer_and_found_emptier_bend_the_curve_down() -> None:
    """Counts made from the law with much and with little eating; the draws must tell which is which."""

    def made(eating: float) -> dict[float, float]:
        days = (1.0, 3.0, 6.0, 9.0)
        return {t: float(300 * eggs_per_cm2_in_tray(4.0, t, 90.0, eating)) for t in days}

    much, little = (draws_of(farm_of_trays(made(e), each=15)).eating_per_day2 for e in (0.06, 0.004))
    assert np.median(much) > 1.5 * np.median(little)


def test_a_tray_type_never_used_is_less_certain_than_one_counted_often() -> None:
    belief = belief_in(farm_of_trays({3.0: 2400.0}, each=30), WARM)
    level = farm_draws(belief, 800, np.random.default_rng(2))
    known, unknown = (
        eggs_left(
            laying_draws(level, trays=1.0, tray_type=k), females=400, vigour=usual_vigour(belief, level), area_cm2=300,
            trays=1, days=np.array([3.0]),
        )[0]
        for k in (0, 1)
    )  # fmt: skip
    assert np.log(unknown).std() > 2 * np.log(known).std()


def test_a_counted_tray_is_set_beside_a_usual_one() -> None:
    seen = counted_trays(belief_in(farm_of_trays({3.0: 2400.0}, each=30), WARM))
    assert np.exp(np.log(seen.ratio).mean()) == pytest.approx(1.0, rel=0.1)
    assert len(seen.clutch) == 30


@given(st.floats(24, 33))
def test_a_tray_is_out_before_its_first_pinheads_and_sooner_where_it_is_warmer(temp_c: float) -> None:
    from chirr.engine.biology.rates import egg_rate_per_day

    longest = longest_days(temp_c, np.zeros(10), ANIMAL, most=60)
    assert longest < 1 / egg_rate_per_day(temp_c, ANIMAL)
    assert longest <= longest_days(temp_c - 1, np.zeros(10), ANIMAL, most=60)
