"""What falls due and why: care, trays, lots."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.rounds.care import BinCare, care_jobs
from chirr.engine.rounds.due import URGENCIES, Job
from chirr.engine.rounds.lots import LotCare, Retiring, death_alert, in_trouble, leaves, lot_jobs
from chirr.engine.rounds.trays import ClutchCare, LayingBin, TrayIn, clutch_jobs, near_hatching, swap_jobs

DAY = date(2031, 3, 5)  # a Wednesday


def before(n: int) -> date:
    return DAY - timedelta(days=n)


def deeds(jobs: list[Job]) -> list[str]:
    assert all(job.urgency in URGENCIES for job in jobs)
    assert all(job.why and job.what for job in jobs)
    return [job.deed for job in jobs]


# --- care --------------------------------------------------------------------------------------------------------


def test_a_bin_fed_three_days_ago_is_fed_and_watered_by_a_three_day_turn() -> None:
    care = BinCare(bin="E4", lots=("K2",), came_on=before(20), fed_on=before(3), watered_on=before(3))
    jobs = care_jobs(care, 3, DAY, DAY)
    assert deeds(jobs) == ["feed", "water"]
    assert jobs[0].why == "fed 3 days ago, every 3 days"
    assert jobs[0].urgency == "due"


def test_an_empty_bin_and_one_with_eggs_only_get_no_feed() -> None:
    assert care_jobs(BinCare(bin="E4"), 3, DAY, DAY) == []
    assert care_jobs(BinCare(bin="E4", occupied=True, fed_on=before(30)), 3, DAY, DAY) == []


def test_crickets_that_came_after_the_last_feed_are_fed_at_once() -> None:
    care = BinCare(bin="E4", lots=("K2",), came_on=DAY, fed_on=before(1), watered_on=DAY)
    jobs = care_jobs(care, 3, DAY, DAY)
    assert deeds(jobs) == ["feed"]
    assert "not fed yet since the crickets came" in jobs[0].why
    assert jobs[0].urgency == "due"
    waited = care_jobs(replace(care, came_on=before(2), fed_on=before(4)), 3, DAY, DAY)
    assert waited[0].urgency == "overdue"


def test_a_late_feed_is_overdue_and_says_how_late() -> None:
    care = BinCare(bin="E4", lots=("K2",), came_on=before(20), fed_on=before(5), watered_on=DAY)
    (job,) = care_jobs(care, 3, DAY, DAY)
    assert job.urgency == "overdue"
    assert job.why.endswith("2 days late")


def test_a_bin_to_harvest_is_fed_with_a_word_about_fasting() -> None:
    care = BinCare(bin="E4", lots=("K2",), came_on=before(20), fed_on=before(3), watered_on=DAY, to_harvest=True)
    (job,) = care_jobs(care, 3, DAY, DAY)
    assert "leave it out if you harvest within a day" in job.why


def test_a_bin_left_dirty_is_cleaned_and_after_three_days_that_is_overdue() -> None:
    dirty = BinCare(bin="E4", vacated_on=before(2), clean=False)
    assert [j.urgency for j in care_jobs(dirty, 3, DAY, DAY)] == ["due"]
    assert [j.urgency for j in care_jobs(replace(dirty, vacated_on=before(4)), 3, DAY, DAY)] == ["overdue"]
    assert care_jobs(replace(dirty, clean=True), 3, DAY, DAY) == []


# --- laying trays ------------------------------------------------------------------------------------------------


def bin_with(*laid_days_ago: int, **more: object) -> LayingBin:
    trays = tuple(TrayIn(clutch=f"C{n}", laid_on=before(n)) for n in laid_days_ago)
    return LayingBin(bin="A1", lot="B1", lays=True, trays=trays, **more)  # type: ignore[arg-type]


def test_a_tray_in_for_three_days_is_pulled_and_a_new_one_laid() -> None:
    jobs = swap_jobs(bin_with(3), 3, DAY, DAY)
    assert [j.key for j in jobs] == ["pull:C3", "lay:A1"]
    assert deeds(swap_jobs(bin_with(2), 3, DAY, DAY)) == []


def test_a_breeding_bin_without_a_tray_gets_one() -> None:
    assert deeds(swap_jobs(bin_with(), 3, DAY, DAY)) == ["lay"]


def test_two_trays_out_are_two_trays_in_under_two_keys() -> None:
    jobs = swap_jobs(bin_with(3, 4), 3, DAY, DAY)
    assert [j.key for j in jobs] == ["pull:C3", "pull:C4", "lay:A1", "lay:A1:2"]
    half_done = swap_jobs(bin_with(3, pulled_on=(DAY,), laid_on=(DAY,)), 3, DAY, DAY)
    assert [j.key for j in half_done] == ["pull:C3", "lay:A1:2"]


@given(st.integers(0, 4), st.integers(0, 4), st.integers(0, 4))
def test_a_swap_gives_a_bin_as_many_trays_as_it_had(old: int, pulled: int, laid: int) -> None:
    laid = min(laid, old + pulled)
    trays = (*(TrayIn(clutch=f"O{n}", laid_on=before(3)) for n in range(old)),
             *(TrayIn(clutch=f"N{n}", laid_on=DAY) for n in range(laid)))  # fmt: skip
    busy = LayingBin(bin="A1", lot="B1", lays=True, trays=trays, pulled_on=(DAY,) * pulled, laid_on=(DAY,) * laid)
    jobs = swap_jobs(busy, 3, DAY, DAY)
    lays = [j for j in jobs if j.deed == "lay"]
    assert laid + len(lays) == max(old + pulled, 1)
    assert len({j.key for j in jobs}) == len(jobs)


def test_a_tray_not_pulled_yesterday_is_not_made_good_by_laying_another_every_day() -> None:
    trays = (TrayIn(clutch="C1", laid_on=before(4)), TrayIn(clutch="C2", laid_on=before(1)))
    forgotten = LayingBin(bin="A1", lot="B1", lays=True, trays=trays, laid_on=(before(4), before(1)))
    assert [j.key for j in swap_jobs(forgotten, 3, DAY, DAY)] == ["pull:C1"]
    staggered = replace(forgotten, pulled_on=(before(1),))
    assert [j.key for j in swap_jobs(staggered, 3, DAY, DAY)] == ["pull:C1", "lay:A1"]


def test_a_tray_left_behind_by_its_breeders_is_pulled_and_none_is_laid() -> None:
    left = LayingBin(bin="A1", lot=None, lays=False, trays=(TrayIn(clutch="C1", laid_on=before(1)),))
    (job,) = swap_jobs(left, 3, DAY, DAY)
    assert (job.deed, job.why) == ("pull", "its breeders are gone")


def test_a_tray_about_to_hatch_among_adults_is_pulled_whatever_the_turn_says() -> None:
    tray = TrayIn(clutch="C1", laid_on=before(9), hatches_on=DAY + timedelta(days=1))
    (pull, _) = swap_jobs(LayingBin(bin="A1", lot="B1", lays=True, trays=(tray,)), 14, DAY, DAY)
    assert pull.urgency == "overdue"
    assert "adults eat pinheads" in pull.why


def test_a_tray_laid_on_friday_waits_for_monday_when_weekends_are_free() -> None:
    friday = date(2031, 3, 7)
    tray = LayingBin(bin="A1", lot="B1", lays=True, trays=(TrayIn(clutch="C1", laid_on=friday),))
    days = ("mon", "wed", "fri")
    due_on = [d for n in range(1, 5) if swap_jobs(tray, days, d := friday + timedelta(days=n), d)]
    assert due_on[0] == date(2031, 3, 10)


def test_swaps_to_come_follow_the_turn_without_naming_trays_not_laid_yet() -> None:
    days = [n for n in range(1, 10) if swap_jobs(bin_with(1), 3, DAY + timedelta(days=n), DAY)]
    assert days == [2, 5, 8]
    later = swap_jobs(bin_with(1), 3, DAY + timedelta(days=5), DAY)
    assert later[0].clutch is None


# --- clutches ----------------------------------------------------------------------------------------------------


def clutch(**more: object) -> ClutchCare:
    window = (DAY, DAY + timedelta(days=1), DAY + timedelta(days=3))
    return ClutchCare(clutch="C9", pulled=True, window=window, **{"bin": "N1", **more})  # type: ignore[arg-type]


def on(c: ClutchCare, n: int) -> list[tuple[str, str]]:
    day = DAY + timedelta(days=n)
    return [(j.deed, j.urgency) for j in clutch_jobs(c, 3, day, day)]


def test_a_hatch_is_looked_for_through_its_window_and_doubted_after_it() -> None:
    assert on(clutch(), -1) == []
    assert on(clutch(), 0) == on(clutch(), 3) == [("hatch", "open")]
    assert on(clutch(), 4) == [("hatch", "overdue")]
    (job,) = clutch_jobs(clutch(), 3, DAY + timedelta(days=4), DAY + timedelta(days=4))
    assert "mould" in job.why
    assert job.asks == ()


def test_a_clutch_long_past_its_day_is_emptied_with_a_word_about_why() -> None:
    assert on(clutch(), 9) == [("hatch", "overdue")]
    assert on(clutch(), 10) == [("hatch", "overdue"), ("empty", "due")]
    assert clutch_jobs(clutch(), 3, DAY + timedelta(days=10), DAY + timedelta(days=10))[1].asks == ("note",)


def test_a_look_written_down_rests_until_tomorrow() -> None:
    assert on(clutch(looked_today=True), 1) == []


def test_a_tray_on_a_rack_goes_into_a_bin_before_its_window_opens() -> None:
    racked = clutch(bin=None, place="north/1/5")
    assert on(racked, -4) == []
    assert on(racked, -2) == [("move", "soon")]
    assert on(racked, -1) == [("move", "due")]
    assert on(racked, 1) == [("move", "overdue"), ("hatch", "open")]


def test_a_spent_tray_is_emptied_two_days_after_its_last_pinheads() -> None:
    hatched = clutch(hatched_on=before(3), settled_on=DAY)
    assert on(hatched, 1) == []
    assert on(hatched, 2) == [("empty", "due")]


def test_substrate_goes_round_again_until_its_uses_are_spent() -> None:
    def empty(cycle: int | None, **more: object) -> Job:
        c = clutch(hatched_on=before(9), settled_on=before(5), substrate="mix-7", cycle=cycle, **more)
        return clutch_jobs(c, 3, DAY, DAY)[0]

    assert "goes round again, cycle 3" in empty(2).why
    assert dict(empty(2).fill)["note"].startswith("reused")
    assert "garden or frass stream" in empty(3).why
    assert "the last tray of its batch" in empty(3, last_of_batch=True).why
    assert dict(empty(4).fill)["note"].startswith("out")
    assert empty(None).fill == ()


def test_a_clutch_is_walked_as_hatching_from_the_eve_of_its_window_until_it_has_settled() -> None:
    assert [near_hatching(clutch(), DAY + timedelta(days=n)) for n in (-2, -1, 0, 9)] == [False, True, True, True]
    out = clutch(hatched_on=DAY, settled_on=DAY + timedelta(days=2))
    assert [near_hatching(out, DAY + timedelta(days=n)) for n in (0, 2, 3)] == [True, True, False]
    assert not near_hatching(replace(clutch(), pulled=False), DAY)


# --- lots --------------------------------------------------------------------------------------------------------


def lot(**more: object) -> LotCare:
    values = {
        "lot": "K2", "bin": "G3", "breeding": False, "alive": 4000.0, "per_cm2": 0.1, "progress": 0.5,
        "began_on": before(20), "weighed_on": before(1),
    }  # fmt: skip
    return LotCare(**{**values, **more})  # type: ignore[arg-type]


def test_a_lot_in_good_order_asks_for_nothing() -> None:
    assert lot_jobs(lot(), DAY, DAY) == []


def test_a_crowded_lot_is_split_once_it_is_past_a_third_of_its_way() -> None:
    assert deeds(lot_jobs(lot(per_cm2=0.4), DAY, DAY)) == ["split"]
    assert lot_jobs(lot(per_cm2=0.4, progress=0.3), DAY, DAY) == []
    (job,) = lot_jobs(lot(per_cm2=0.4), DAY, DAY)
    assert "1,000 too many" in job.why  # 4000 x (1 - 0.3/0.4)
    assert job.asks == ("quantity",)


def test_a_lot_is_harvested_from_its_likely_day_and_announced_three_days_before() -> None:
    ready = (before(-2), before(-4), before(-8))
    assert [lot_jobs(lot(ready=ready), d, d)[0].urgency if lot_jobs(lot(ready=ready), d, d) else None
            for d in (DAY, before(-1), before(-4), before(-9))] == [None, "soon", "due", "overdue"]  # fmt: skip


def test_a_lot_that_is_ready_now_says_so_without_a_window() -> None:
    assert lot_jobs(lot(ready=(DAY, DAY, DAY)), DAY, DAY)[0].why == "ready now"


def test_a_lot_ready_to_harvest_is_not_split_first() -> None:
    assert deeds(lot_jobs(lot(per_cm2=0.9, ready=(before(3), before(1), before(-1))), DAY, DAY)) == ["harvest"]


def retiring(likely: date, *, follows: date | None = DAY - timedelta(days=30), **more: object) -> LotCare:
    """Breeders that have had their day on a likely day, give or take four, and a lot that could follow."""
    on = (likely - timedelta(days=4), likely, likely + timedelta(days=4))
    follower = None if follows is None else "N9"
    r = Retiring(on=on, by="renew", follower=follower, followed_on=follows, **more)  # type: ignore[arg-type]
    return lot(breeding=True, progress=1.0, retire=r)


def test_breeders_are_retired_from_their_likely_day_or_when_their_trays_fall_below_half_of_the_best() -> None:
    assert lot_jobs(retiring(before(-3)), DAY, DAY) == []
    (job,) = lot_jobs(retiring(before(2)), DAY, DAY)
    assert (job.deed, job.urgency) == ("retire", "due")
    assert job.why.startswith("a fresh lot in its bin gives more from about")
    (job,) = lot_jobs(retiring(before(-3), trays_share=0.44), DAY, DAY)
    assert (job.urgency, job.why) == ("due", "its last trays held 44% of its best one")
    assert lot_jobs(lot(breeding=True, progress=1.0), DAY, DAY) == []


def test_breeders_that_nothing_follows_yet_are_kept_until_it_does() -> None:
    waiting = retiring(before(2), follows=before(-3))
    (job,) = lot_jobs(waiting, DAY, DAY)
    assert job.urgency == "soon"
    assert "nothing follows before lot N9 lays, about" in job.why
    assert [lot_jobs(waiting, d, d)[0].urgency for d in (before(-2), before(-3))] == ["soon", "due"]
    (job,) = lot_jobs(retiring(before(2), follows=None), DAY, DAY)
    assert job.urgency == "due"
    assert "no growing lot could follow it" in job.why


def test_breeders_past_their_band_are_overdue_unless_they_are_kept() -> None:
    assert [lot_jobs(retiring(before(n)), DAY, DAY)[0].urgency for n in (4, 5)] == ["due", "overdue"]
    assert lot_jobs(retiring(before(20), follows=before(-1)), DAY, DAY)[0].urgency == "soon"


def test_breeders_leave_when_they_are_to_be_retired_and_others_lay() -> None:
    for breeders, gone in (
        (retiring(before(2)), True),
        (retiring(before(2), follows=before(-3)), False),
        (retiring(before(2), follows=None), False),
        (retiring(before(-2)), False),
    ):
        assert leaves(breeders, lot_jobs(breeders, DAY, DAY)) is gone


def test_no_tray_is_laid_with_breeders_that_leave_but_theirs_comes_out_by_turn() -> None:
    assert deeds(swap_jobs(bin_with(3, leaves=True), 3, DAY, DAY)) == ["pull"]
    assert deeds(swap_jobs(bin_with(leaves=True), 3, DAY, DAY)) == []


def test_breeders_whose_day_is_to_come_stand_on_one_list_only() -> None:
    assert [n for n in range(1, 9) if lot_jobs(retiring(before(-2)), DAY + timedelta(days=n), DAY)] == [2]


def test_a_weighing_that_sharpens_a_forecast_is_offered_today_with_its_reason_until_it_is_done() -> None:
    sharp = lot(weighed_on=before(2), sharpens="the band shrinks")
    assert [(j.urgency, j.why) for j in lot_jobs(sharp, DAY, DAY)] == [("optional", "the band shrinks")]
    assert lot_jobs(replace(sharp, weighed_on=DAY), DAY, DAY) == []
    assert lot_jobs(sharp, before(-1), DAY) == []


def test_a_growing_lot_is_weighed_weekly_if_there_is_time() -> None:
    jobs = lot_jobs(lot(weighed_on=before(7)), DAY, DAY)
    assert [(j.deed, j.urgency, j.asks) for j in jobs] == [("weigh", "optional", ("sample", "quantity"))]
    assert deeds(lot_jobs(lot(weighed_on=None), DAY, DAY)) == ["weigh"]


# The alert rule: daily deaths > 1 % of the standing count on 2 days in a row, or > 3 x the lot's own 7-day mean
# (common practice, no published source).


@pytest.mark.parametrize(
    ("deaths", "alerts"),
    [
        ([(1, 45), (0, 45)], True),
        ([(1, 35), (0, 45)], False),
        ([(2, 45), (0, 45)], False),
        ([(6, 8), (4, 9), (2, 7), (0, 30)], True),
        ([(6, 8), (4, 9), (2, 7), (0, 20)], False),
        ([(6, 0.5), (4, 0.5), (0, 3)], False),
        ([(2, 8), (0, 30)], False),
    ],
)
def test_deaths_raise_the_alert_by_the_rule(deaths: list[tuple[int, float]], alerts: bool) -> None:
    sick = lot(deaths=tuple((before(n), dead) for n, dead in deaths))
    assert (death_alert(sick, DAY) is not None) == alerts
    assert ("note" in deeds(lot_jobs(sick, DAY, DAY))) == alerts


def test_an_alert_rests_once_somebody_has_looked_but_the_bin_stays_last_on_the_walk() -> None:
    sick = lot(deaths=((before(2), 50), (before(1), 50)))
    assert deeds(lot_jobs(sick, DAY, DAY)) == ["note"]
    assert lot_jobs(replace(sick, looked_on=before(1)), DAY, DAY) == []
    assert in_trouble(replace(sick, looked_on=before(1)), DAY)
    assert in_trouble(sick, before(-6)) is None
