"""Belief moves as facts say it should, agrees with exact answers where there are some, and names odd facts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chirr.engine.biology.species import species
from chirr.engine.colony import search
from chirr.engine.colony.arrow import Arrow
from chirr.engine.colony.belief import believe, draw
from chirr.engine.colony.facts import COUNT_LOG_SD, between
from chirr.engine.colony.history import ClutchFacts, Happening, Kind, LotFacts
from chirr.engine.colony.latents import SEEN_SD
from chirr.engine.colony.learnt import learnt_of
from engine.colony.small_farm import DAY, HOUSE, ahead_of, belief_in, clutch, happening, history, lot, steady, stocked

WARM = steady(30.0)


def count(day: float, number: float, log_sd: float = 0.15) -> Happening:
    return happening(day, Kind.COUNT, quantity=number, log_sd=log_sd)


def weighing(day: float, mg: float, sample: int = 60) -> Happening:
    return happening(day, Kind.WEIGH, quantity=mg, log_sd=0.02, sample=sample)


def test_with_no_facts_the_unknowns_stay_at_the_published_values() -> None:
    belief = belief_in(history(10.0, lots=(lot(stocked(1000)),), clutches=(clutch(),)), WARM)
    assert np.allclose(belief.mode, 0.0)
    assert belief.odd == ()


def test_a_count_right_after_stocking_gives_the_exact_normal_answer() -> None:
    """Two independent measurements of one logarithm: the precision-weighted mean, as in any textbook of Bayes.

    A count's error is its own, the model's, and what its way of counting is off for good. Its tails are heavier than
    the normal's; near the middle that is as a normal with 5/6 of the variance.
    """
    stocked_sd, count_sd = 0.2, 0.1
    farm = history(1.01, lots=(lot(stocked(1000, log_sd=stocked_sd, x=0.6), count(1.001, 1100, count_sd)),))
    belief = belief_in(farm, WARM)
    w_stock, w_count = stocked_sd**-2, 1 / (5 / 6 * (count_sd**2 + COUNT_LOG_SD**2) + SEEN_SD**2)
    expected = w_count * np.log(1.1) / (w_stock + w_count)
    got = np.log(belief.told.lots.number[0, 0] / 1000)
    assert np.isclose(got, expected, rtol=0.1)
    z = draw(belief, 20_000, np.random.default_rng(1))
    own = belief.latents.happening[belief.schedule.kind == Kind.STOCK][0]
    assert np.isclose((stocked_sd * z[own]).std(), (w_stock + w_count) ** -0.5, rtol=0.1)


def test_draws_have_the_covariance_that_the_precision_says() -> None:
    farm = history(40.0, lots=(lot(stocked(1000), count(10, 800), weighing(30, 180.0)),), clutches=(clutch(),))
    belief = belief_in(farm, WARM)
    z = draw(belief, 60_000, np.random.default_rng(2))
    exact = np.linalg.inv(belief.precision.toarray())
    np.testing.assert_allclose(np.cov(z), exact, atol=5 * np.sqrt(2 / 60_000))


def test_few_eggs_are_expected_of_trays_laid_just_after_a_cold_night_and_the_farm_is_not_blamed() -> None:
    """Laying comes back over two weeks: cold_recovery_days of the species table (common practice)."""

    def tray(k: int, eggs: float, since: float) -> ClutchFacts:
        return clutch(name=f"C{k}", tray_cm2=2000.0, egg_counts=((6 * DAY, eggs, 0.2, f"n{k}"),), since_cold_days=since)

    usual = [tray(k, 9000.0, np.inf) for k in range(8)]
    cold = clutch(name="cold", tray_cm2=2000.0, since_cold_days=1.4)
    belief = belief_in(history(8.0, clutches=(*usual, cold, clutch(name="warm", tray_cm2=2000.0))), WARM)
    eggs = belief.told.clutches.eggs[:, 0]
    assert 0.05 < eggs[8] / eggs[9] < 0.2
    told = [*usual, *(tray(k, 900.0, 1.4) for k in range(8, 12))]
    poor = [*usual, *(tray(k, 900.0, np.inf) for k in range(8, 12))]
    knowing, blaming = (belief_in(history(8.0, clutches=tuple(c)), WARM).mode[2] for c in (told, poor))
    assert knowing > blaming + 0.1


def test_counts_weighings_and_hatches_each_move_what_they_tell_of() -> None:
    bare = belief_in(history(30.0, lots=(lot(stocked(1000, log_sd=0.3)),)), WARM)
    few = belief_in(history(30.0, lots=(lot(stocked(1000, log_sd=0.3), count(29, 300)),)), WARM)
    heavy = belief_in(history(30.0, lots=(lot(stocked(1000, log_sd=0.3), weighing(29, 330)),)), WARM)
    assert few.told.lots.number[0, 0] < 0.8 * bare.told.lots.number[0, 0]
    assert heavy.told.lots.x[0, 0] > 1.02 * bare.told.lots.x[0, 0]
    late = belief_in(history(20.0, clutches=(clutch(first_between=(17 * DAY, 18 * DAY)),)), WARM)
    assert late.mode[0] < -0.5


def test_one_clutch_teaches_the_farm_and_so_the_next_clutch() -> None:
    slow = [
        clutch(
            laid_h=d * DAY,
            pulled_h=(d + 2) * DAY,
            starts_h=np.array([d * DAY]),
            first_between=((d + 14.0) * DAY, (d + 15.0) * DAY),
        )
        for d in range(1, 12)
    ]
    new = clutch(laid_h=20 * DAY, pulled_h=22 * DAY, starts_h=np.array([20 * DAY]))
    alone = ahead_of(belief_in(history(28.0, clutches=(new,)), WARM), WARM).clutches[-1]
    taught = ahead_of(belief_in(history(28.0, clutches=(*slow, new)), WARM), WARM).clutches[-1]
    assert taught.first_pinheads_h[3] > alone.first_pinheads_h[3] + 24
    assert np.ptp(taught.first_pinheads_h) < 0.7 * np.ptp(alone.first_pinheads_h)


def test_not_yet_hatched_shifts_the_window_and_makes_failure_likelier() -> None:
    fresh = ahead_of(belief_in(history(12.0, clutches=(clutch(),)), WARM), WARM).clutches[0]
    overdue = ahead_of(belief_in(history(19.0, clutches=(clutch(unseen_until_h=18.9 * DAY),)), WARM), WARM).clutches[0]
    assert overdue.first_pinheads_h[0] >= 18.9 * DAY
    assert np.isclose(overdue.expected_first_h[3], fresh.first_pinheads_h[3], atol=24)
    assert overdue.pinheads[0] == 0.0


def test_an_absurd_count_is_named_and_hardly_counts() -> None:
    facts = [
        stocked(1000),
        count(5, 960, 0.1),
        count(8, 940, 0.1),
        happening(9, Kind.COUNT, quantity=90_000, log_sd=0.1, entry="absurd"),
    ]
    belief = belief_in(history(10.0, lots=(lot(*facts),)), WARM)
    assert [odd.entry for odd in belief.odd] == ["absurd"]
    assert belief.told.lots.number[0, 0] < 1400


@pytest.mark.parametrize("number", [0.0, 1.0, 1e7])
def test_zeros_ties_and_huge_numbers_leave_belief_finite(number: float) -> None:
    facts = [stocked(1000), count(5, number), count(5, number), weighing(6, 12.0, 1)]
    belief = belief_in(history(9.0, lots=(lot(*facts),)), WARM)
    assert np.isfinite(belief.mode).all()
    assert np.isfinite(belief.told.lots.number).all()


def test_a_split_teaches_both_parts_from_a_count_of_one() -> None:
    parent = lot(
        stocked(1000, log_sd=0.4),
        happening(5, Kind.OUT, quantity=300, log_sd=0.05, other=1, entry="cut"),
        count(6, 1150, 0.05),
    )
    child = lot(happening(5, Kind.IN, other=0, entry="cut"))
    belief = belief_in(history(7.0, lots=(parent, child)), WARM)
    assert 1050 < belief.told.lots.number[0, 0] < 1250
    assert 250 < belief.told.lots.number[1, 0] < 350
    assert np.isclose(belief.told.lots.x[0, 0], belief.told.lots.x[1, 0])


def test_a_harvest_weight_corrects_what_was_believed_of_the_clutch() -> None:
    def farm(kg: float) -> float:
        facts = (happening(4, Kind.PLACE), happening(60, Kind.HARVEST, quantity=kg, log_sd=0.02))
        one = clutch(lot=0, first_between=(13 * DAY, 14 * DAY))
        belief = belief_in(history(61.0, lots=(lot(*facts, ended_day=60),), clutches=(one,)), WARM)
        return float(belief.told.clutches.pinheads[0, 0])

    assert farm(0.3) < 0.75 * farm(1.2)


@given(st.floats(-4, 4), st.floats(0.01, 5), st.booleans())
@settings(max_examples=60)
def test_the_pull_of_bounds_is_the_derivative_of_their_log_likelihood(
    low: float, width: float, open_below: bool
) -> None:
    """Derivatives by central differences, the plain definition."""
    bounds = np.array([-np.inf if open_below else low]), np.array([low + width])
    sd, h = np.array([0.3]), 1e-4

    def loglik(shift: float) -> float:
        return float(between(bounds[0] - shift, bounds[1] - shift, sd)[2][0])

    slope, curve, _ = between(*bounds, sd)
    assert np.isclose(slope[0], (loglik(h) - loglik(-h)) / (2 * h), rtol=1e-3, atol=1e-4)
    assert np.isclose(curve[0], -(loglik(h) - 2 * loglik(0) + loglik(-h)) / h**2, rtol=1e-2, atol=2e-2)


def test_a_search_that_starts_where_another_ended_ends_where_one_from_scratch_does() -> None:
    lots = tuple(
        lot(
            stocked(900 + 40 * k),
            count(10 + k % 3, 700 + 30 * k),
            weighing(20, 60.0 + k),
            happening(45, Kind.HARVEST, quantity=0.2, log_sd=0.02),
            ended_day=45,
        )
        for k in range(12)
    )
    early, late = history(50.0, lots=lots[:9]), history(50.0, lots=lots)
    scratch = belief_in(late, WARM)
    updated = believe(late, WARM, np.zeros(0), species(HOUSE), learnt=learnt_of(belief_in(early, WARM)))
    farm = scratch.latents.families.colour < 0
    spread = np.sqrt(np.diag(np.linalg.inv(scratch.precision.toarray())))[farm]
    assert (np.abs(updated.mode[farm] - scratch.mode[farm]) < 0.15 * spread).all()


def test_a_count_far_below_what_was_hatched_is_believed_as_an_accident_of_that_lot() -> None:
    def one(k: int, number: float) -> tuple[LotFacts, ClutchFacts]:
        facts = (happening(4, Kind.PLACE), happening(20, Kind.COUNT, quantity=number, log_sd=0.15, young=True))
        return lot(*facts), clutch(lot=k, first_between=(13 * DAY, 14 * DAY), egg_counts=((5 * DAY, 4000.0, 0.2, "e"),))

    pairs = [one(k, 2400.0) for k in range(8)] + [one(8, 60.0)]
    farm = history(21.0, lots=tuple(p[0] for p in pairs), clutches=tuple(p[1] for p in pairs))
    belief = belief_in(farm, WARM)
    assert belief.told.lots.number[8, 0] < 200
    assert belief.told.lots.number[:8, 0].min() > 1500


def test_a_mouldy_batch_of_substrate_is_blamed_and_neither_the_farm_nor_other_batches_are() -> None:
    """Twelve trays of three sound batches, six of one of which a quarter hatches, one more sound and poor to come."""

    def tray(i: int, batch: int, hatched: float | None) -> ClutchFacts:
        seen = () if hatched is None else ((20 * DAY, hatched, 0.15, f"P{i}"),)
        eggs = ((5 * DAY, 2000.0, 0.15, f"E{i}"),)
        return clutch(name=f"C{i}", substrate=batch, egg_counts=eggs, pinhead_counts=seen)

    sound = [tray(i, i % 3, 1400.0) for i in range(12)]
    mouldy = [tray(12 + i, 3, 350.0) for i in range(6)]
    to_come = [tray(20, 0, None), tray(21, 3, None)]
    told = replace(history(21.0, clutches=(*sound, *mouldy, *to_come)), substrates=("a", "b", "c", "d"))
    untold = replace(told, clutches=tuple(replace(c, substrate=-1) for c in told.clutches), substrates=())
    belief, blind = belief_in(told, WARM), belief_in(untold, WARM)
    good, bad = belief.told.clutches.pinheads[-2:, 0]
    blind_good, blind_bad = blind.told.clutches.pinheads[-2:, 0]
    assert bad < 0.5 * good
    assert np.isclose(blind_good, blind_bad, rtol=0.01), "without a batch they are alike"
    assert abs(good - 1400) < 0.5 * abs(blind_good - 1400)
    assert (np.abs(belief.mode[belief.latents.substrate[:3]]) < 1.0).all()
    assert belief.mode[belief.latents.substrate[3]] < -2.0


def test_one_lot_just_counted_among_many_is_believed_to_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """The other side is the same search gone on until it gains nothing: the lot and the farm's level hardly move."""
    rng = np.random.default_rng(3)
    lots = [
        LotFacts(name=f"L{i}", happenings=(stocked(1000), count(10, 900 * np.exp(0.2 * rng.standard_normal()))))
        for i in range(150)
    ]
    before = belief_in(history(20.0, lots=tuple(lots)), WARM)
    lots[70] = replace(lots[70], happenings=(*lots[70].happenings, count(19, 450, 0.05)))
    farm = history(20.0, lots=tuple(lots))
    after = believe(farm, WARM, np.zeros(0), species(HOUSE), learnt=learnt_of(before))
    for name in ("NEAR", "EACH_FAMILY"):
        monkeypatch.setattr(search, name, 1e-7)
    end = believe(farm, WARM, np.zeros(0), species(HOUSE), learnt=learnt_of(after))
    numbers = [b.told.lots.number[70, 0] for b in (before, after, end)]
    assert numbers[1] < 0.9 * numbers[0]
    assert numbers[1] == pytest.approx(numbers[2], rel=0.03)
    farm_sd = np.sqrt(np.diag(np.linalg.inv(Arrow(end.precision, end.family).schur)))
    assert (np.abs(end.mode - after.mode)[: len(farm_sd)] < 0.5 * farm_sd).all()
