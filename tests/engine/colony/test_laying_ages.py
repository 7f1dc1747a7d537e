"""At which ages breeders lay is learnt from trays of younger and older ones, and from nothing else.

The truths are farms made by the published law of laying by age (`age_curve`, handbook: nothing until adult day 6, a
peak, 5 % less each day, next to nothing after day 40-45) with other numbers in it, not by the two that belief learns.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from chirr.engine.biology.laying import age_curve, eggs_per_cm2_in_tray
from chirr.engine.biology.species import species
from chirr.engine.colony.belief import Belief, believe, draw
from chirr.engine.colony.history import FarmHistory, Kind, LotFacts
from chirr.engine.colony.latents import FARM, farm_level
from chirr.engine.colony.learnt import learnt_of
from chirr.engine.colony.walk import laying_at
from chirr.engine.planning.breeders import STEP_DAYS, Ages, half_of_peak_day
from engine.colony.small_farm import DAY, HOUSE, belief_in, clutch, happening, history, steady, stocked

ANIMAL = species(HOUSE)
WARM = steady(30.0)
FIRST, DECLINE = FARM.index("first_eggs"), FARM.index("laying_decline")
PUBLISHED = {
    "first_day": ANIMAL.pre_oviposition_days.value, "ramp_days": ANIMAL.laying_ramp_days.value,
    "plateau_days": ANIMAL.laying_plateau_days.value, "decline_per_day": ANIMAL.laying_decline_per_day.value,
    "fade_from_day": ANIMAL.laying_fade_from_day.value, "end_day": ANIMAL.laying_end_day.value,
}  # fmt: skip
MOULTED = 2.5 * np.random.default_rng(7).standard_normal(2000)
"""How far females are from the mean age of their lot [days]: a tenth of some 30 as nymphs (nymph_cv), less picking."""

EVERY_AGE = (6.0, 8.0, 10.0, 13.0, 16.0, 19.0, 22.0, 25.0, 28.0, 31.0)


def laying(age_days: np.ndarray, law: dict[str, float]) -> np.ndarray:
    """The published law of single females with some numbers in it."""
    return age_curve(age_days, law["first_day"], **{k: v for k, v in law.items() if k != "first_day"})


def farm_with(ages: tuple[float, ...], lots: int = 6, seed: int = 5, **other: float) -> FarmHistory:
    """Lots of breeders that moulted over some days, a tray of two days at each of these mean ages, its eggs counted."""
    rng = np.random.default_rng(seed)
    law = PUBLISHED | other
    found, clutches = [], []
    for n in range(lots):
        begun, rows = 3.0 + 5.0 * n, []
        rows.append(stocked(600, day=begun, x=1.0, adult_days=2.0, log_sd=0.03))
        for age in ages:
            day, alive = begun + age - 3.0, 300.0 * float(np.exp(-(((age - 2.0) / 45.0) ** 3)))
            factor = float(laying(age + MOULTED, law).mean())
            standing = float(eggs_per_cm2_in_tray(alive * factor * 18.0 / 600.0, 2.0, 80.0, 0.02)) * 600.0
            eggs = standing * float(np.exp(0.3 * rng.standard_normal()))
            rows.append(happening(day, Kind.LAY, other=len(clutches), entry=f"lay-{len(clutches)}"))
            count = ((day + 3) * DAY, eggs, 0.15, f"count-{len(clutches)}")
            clutches.append(
                clutch(name=f"C{len(clutches)}", breeders=n, laid_h=day * DAY, pulled_h=(day + 2) * DAY,
                       tray_cm2=600.0, starts_h=np.array([day * DAY]), egg_counts=(count,))
            )  # fmt: skip
        found.append(LotFacts(name=f"B{n}", happenings=tuple(rows), ended_h=None))
    return history(begun + 40.0, lots=tuple(found), clutches=tuple(clutches))


@cache
def believed(ages: tuple[float, ...] = EVERY_AGE, **other: float) -> Belief:
    return belief_in(farm_with(ages, **other), WARM)


def ages_of(belief: Belief, draws: int = 2000) -> Ages:
    z = draw(belief, draws, np.random.default_rng(4))
    return Ages.of(farm_level(z, belief.latents, ANIMAL), ANIMAL)


def half_of_peak(law: dict[str, float]) -> float:
    """Of such a lot if none died, by the law itself."""
    age = np.arange(0.0, 60.0, 0.05)
    eggs = laying(age[:, None] + MOULTED, law).mean(axis=1)
    return float(age[eggs >= 0.5 * eggs.max()][-1])


def test_with_an_empty_book_breeders_lay_at_the_published_ages() -> None:
    belief = belief_in(history(10.0), WARM)
    farm = farm_level(belief.mode[:, None], belief.latents, ANIMAL)
    days = np.array([14.0, 17.0, 20.0, 25.0, 30.0, 35.0])
    np.testing.assert_allclose(laying_at(days, farm, ANIMAL)[:, 0], laying(days, PUBLISHED), rtol=0.03)
    assert laying_at(np.array([8.0]), farm, ANIMAL)[0, 0] == pytest.approx(0.5, abs=0.01)
    band = np.quantile(ages_of(belief).first_day, (0.05, 0.5, 0.95))
    assert band[1] == pytest.approx(7.0, rel=0.03)
    assert band[2] / band[0] == pytest.approx(10.0 / 4.0, rel=0.1)


def test_with_the_published_ages_in_truth_belief_stays_with_them_and_is_surer() -> None:
    ages = ages_of(believed())
    for drawn, truth in ((ages.first_day, 7.0), (half_of_peak_day(ages), half_of_peak(PUBLISHED))):
        low, high = np.quantile(drawn, (0.05, 0.95))
        assert low < truth < high
    assert ages.first_day.std() < 0.6 * ANIMAL.pre_oviposition_days.sd
    assert ages.decline.std() < 0.7 * ANIMAL.laying_decline_per_day.sd


FAST = {"plateau_days": 3.5, "decline_per_day": 0.10, "fade_from_day": 23.5, "end_day": 27.0}
STEEP = {"decline_per_day": 0.10}
LONG = {"plateau_days": 10.0, "decline_per_day": 0.035, "fade_from_day": 45.0, "end_day": 55.0}


@pytest.mark.parametrize("other", [FAST, LONG], ids=["all twice as fast", "all slower"])
def test_breeders_that_fade_sooner_or_later_than_published_are_found_out_and_the_band_holds_them(
    other: dict[str, float],
) -> None:
    truth, published = half_of_peak(PUBLISHED | other), half_of_peak(PUBLISHED)
    half = half_of_peak_day(ages_of(believed(**other)))
    low, high = np.quantile(half, (0.05, 0.95))
    assert low - STEP_DAYS < truth < high + STEP_DAYS
    assert abs(np.median(half) - truth) < 0.5 * abs(published - truth)


def test_a_steep_decline_alone_which_is_no_change_of_pace_is_found_to_two_or_three_days() -> None:
    half = half_of_peak_day(ages_of(believed(**STEEP)))
    assert np.median(half) == pytest.approx(half_of_peak(PUBLISHED | STEEP), abs=2.5)


def test_breeders_that_come_into_lay_later_are_found_out() -> None:
    first = ages_of(believed(first_day=11.0)).first_day
    low, high = np.quantile(first, (0.05, 0.95))
    assert low < 11.0 < high
    assert low > 9.0


def test_a_book_whose_trays_were_all_laid_at_one_age_leaves_the_ages_as_published() -> None:
    belief = believed((14.0,) * 6)
    assert abs(belief.mode[FIRST]) < 0.25
    assert abs(belief.mode[DECLINE]) < 0.25
    ages = ages_of(belief)
    assert ages.first_day.std() > 0.9 * ANIMAL.pre_oviposition_days.sd
    assert ages.decline.std() > 0.9 * ANIMAL.laying_decline_per_day.sd


def test_what_was_learnt_before_there_were_ages_of_laying_is_a_start_like_any_other() -> None:
    whole = believed(**LONG)
    learnt = learnt_of(whole)
    older = replace(learnt, farm={k: v for k, v in learnt.farm.items() if k not in ("first_eggs", "laying_decline")})
    again = believe(whole.history, WARM, np.full(len(whole.history.clutches), 30.0), ANIMAL, learnt=older)
    np.testing.assert_allclose(again.mode[: len(FARM)], whole.mode[: len(FARM)], atol=0.1)
