"""The round of a small farm: what is due, in which order, why."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest

from chirr.book import actions, ledger
from chirr.desk import clock
from chirr.desk import round as desk_round
from chirr.desk.shapes import RoundItem, RoundSheet
from desk import round_farm as farm
from desk.round_farm import DAY_S, MONDAY, at, believe, build, entry

pytestmark = pytest.mark.django_db

Goto = Callable[..., None]


@pytest.fixture
def goto(monkeypatch: pytest.MonkeyPatch) -> Goto:
    """Set the farm's clock to a day and hour."""

    def set_clock(day: int, hour: float = 8.0) -> None:
        monkeypatch.setattr(clock, "now", lambda: at(day, hour))

    return set_clock


def sheet(day: int | None = None, **more: object) -> RoundSheet:
    return desk_round.round_sheet(
        None if day is None else MONDAY + timedelta(days=day), beliefs=believe(now=clock.now()), **more
    )  # type: ignore[arg-type]


def items(s: RoundSheet) -> dict[str, RoundItem]:
    return {item.key: item for stop in s.stops for item in stop.items}


def record(*entries: object) -> None:
    actions.record(entries, actor=farm.HAND)  # type: ignore[arg-type]


def test_without_a_farm_the_round_is_empty_and_says_what_to_do(goto: Goto) -> None:
    goto(0)
    s = desk_round.round_sheet()
    assert s.stops == ()
    assert "No farm is set up yet" in s.remarks[0]


def test_on_the_third_day_all_bins_with_crickets_are_fed_and_their_trays_swapped(goto: Goto) -> None:
    build()
    goto(0)
    s = sheet()
    assert set(items(s)) == {
        "feed:A1", "water:A1", "feed:P1", "water:P1", "feed:P2", "water:P2", "pull:T1", "pull:T2", "lay:P1", "lay:P2",
    }  # fmt: skip
    assert s.minutes == pytest.approx(sum(i.minutes for i in items(s).values()) + s.walking_minutes)
    assert s.left_over == 0


def test_nothing_is_due_the_day_after(goto: Goto) -> None:
    build()
    goto(-2)
    assert sheet().stops == ()


def test_each_bin_is_one_stop_and_grow_out_comes_before_breeding_though_its_room_is_later(goto: Goto) -> None:
    build()
    goto(0)
    assert [(s.bin, s.group) for s in sheet().stops] == [("A1", "grow-out"), ("P1", "breeding"), ("P2", "breeding")]


def test_new_trays_follow_the_farms_own_names_and_the_tray_type_of_their_bin(goto: Goto) -> None:
    build()
    goto(0)
    got = items(sheet())
    assert got["lay:P1"].prefill == {
        "bin": "P1", "lot": "B1", "clutch": "T3", "tray_type": "flat", "substrate": "mix-1", "cycle": "1",
    }  # fmt: skip
    assert got["lay:P2"].prefill["clutch"] == "T4"
    assert got["lay:P2"].prefill["tray_type"] == "deep"


def test_pulled_trays_go_to_different_clean_empty_nursery_bins_of_the_room_first(goto: Goto) -> None:
    build()
    goto(0)
    got = items(sheet())
    assert (got["pull:T1"].prefill["to_bin"], got["pull:T2"].prefill["to_bin"]) == ("P3", "P4")
    assert got["pull:T1"].prefill["to_lot"] != got["pull:T2"].prefill["to_lot"]
    assert got["pull:T1"].asks == ()


def test_a_farm_that_racks_its_trays_is_offered_the_rack(goto: Goto) -> None:
    build()
    record(entry(-1, "pull", clutch="T1", to_place="pine/3/2"))
    goto(0)
    assert items(sheet())["pull:T2"].prefill["to_place"] == "pine/3/2"


def test_a_tray_that_is_only_soon_to_move_leaves_the_free_bins_to_those_pulled_today(goto: Goto) -> None:
    build(bins=[b for b in farm.BINS if b.duty != "nursery" or b.bin == "P4"])
    record(
        entry(-2, "pull", clutch="T1", to_place="pine/3/2"),
        entry(3, "lay", bin="P1", lot="B1", clutch="T3", tray_type="flat"),
        entry(4, "pull", clutch="T2", to_bin="P4", to_lot="N1"),
        entry(5, "move", clutch="T2", to_place="pine/3/3"),
        entry(5, "clean", 9, bin="P4"),
    )
    goto(6)
    got = items(sheet())
    assert got["move:T1"].urgency == "soon"
    assert got["move:T1"].asks == ("to_bin", "to_lot")
    assert got["pull:T3"].prefill["to_bin"] == "P4"


def test_without_a_free_nursery_bin_the_pull_asks_and_the_sheet_says_so(goto: Goto) -> None:
    build(bins=[b for b in farm.BINS if b.duty != "nursery"])
    goto(0)
    s = sheet()
    assert items(s)["pull:T1"].asks == ("to_bin", "to_lot")
    assert "no clean empty nursery bin" in s.remarks[-1]


def test_a_dirty_nursery_bin_is_not_offered_but_cleaned(goto: Goto) -> None:
    build()
    record(
        entry(-2, "stock", bin="P3", lot="X", quantity=10.0, unit="crickets", stage="nymph", age_days=3.0),
        entry(-2, "harvest", 9, lot="X", quantity=0.1, unit="kg"),
    )
    goto(0)
    got = items(sheet())
    assert got["pull:T1"].prefill["to_bin"] == "P4"
    assert "clean:P3" in got
    record(entry(0, "clean", 7, bin="P3"))
    got = items(sheet())
    assert got["pull:T1"].prefill["to_bin"] == "P3"
    assert "clean:P3" not in got


def test_trays_join_the_lot_that_the_last_one_began_where_the_farm_does_so(goto: Goto) -> None:
    build()
    record(
        entry(-2, "pull", clutch="T1", to_bin="P3", to_lot="N1"),
        entry(-2, "pull", 9, clutch="T2", to_bin="P3", to_lot="N1"),
        entry(-2, "lay", 9.1, bin="P1", lot="B1", clutch="T3", tray_type="flat"),
        entry(1, "pull", clutch="T3", to_bin="P4", to_lot="N2"),
        entry(1, "lay", 9.1, bin="P1", lot="B1", clutch="T4", tray_type="flat"),
    )
    goto(4)
    assert items(sheet())["pull:T4"].prefill["to_lot"] == "N2"


def test_a_bin_with_eggs_only_is_not_fed_and_its_window_opens_it_as_hatching(goto: Goto) -> None:
    build()
    record(entry(0, "pull", clutch="T1", to_bin="P3", to_lot="N1"))
    goto(5)
    assert not any(key.endswith(":P3") for key in items(sheet()))
    goto(9)  # laid on day -3: the window is day 8.9 to 11.9
    s = sheet()
    assert items(s)["hatch:T1"].urgency == "open"
    assert next((x.bin, x.group) for x in s.stops) == ("P3", "hatching")
    goto(13)
    assert items(sheet())["hatch:T1"].urgency == "overdue"


def test_a_tray_on_a_rack_is_a_stop_of_its_own_and_gets_a_bin_before_it_hatches(goto: Goto) -> None:
    build()
    record(entry(0, "pull", clutch="T1", to_place="pine/7/2"))
    goto(8)
    s = sheet()
    stop = next(x for x in s.stops if x.bin is None)
    assert (stop.group, stop.room, stop.stack, stop.level) == ("hatching", "pine", 7, 2)
    assert items(s)["move:T1"].prefill["to_bin"] == "P3"


def test_many_deaths_make_a_bin_the_last_stop_until_somebody_looks(goto: Goto) -> None:
    build()
    record(entry(-1, "deaths", lot="G1", quantity=60.0), entry(0, "deaths", 7, lot="G1", quantity=80.0))
    goto(0)
    s = sheet()
    assert s.stops[-1].bin == "A1"
    assert s.stops[-1].group == "sick"
    assert items(s)["look:G1"].asks == ("note",)
    record(entry(0, "note", 7.5, lot="G1", note="water was dry, filled it"))
    s = sheet()
    assert "look:G1" not in items(s)
    assert s.stops[-1].bin == "A1"


def test_what_people_cannot_finish_is_said(goto: Goto) -> None:
    build()
    goto(0)
    s = sheet(hands=1, minutes_each=4.0)
    assert s.left_over > 0
    assert s.finished_minutes <= 4.0
    assert not s.stops[-1].within_reach
    assert sheet(hands=4, minutes_each=6.0).left_over < s.left_over


def test_a_round_to_come_follows_the_turns_and_offers_nothing_to_tap(goto: Goto) -> None:
    build()
    goto(0)
    assert sheet(1).stops == ()
    later = items(sheet(3))
    assert {"feed:A1", "lay:P1"} <= set(later)
    assert all(item.prefill == {} for item in later.values())
    with pytest.raises(desk_round.NotNow, match="not today's"):
        desk_round.entries_for(["feed:A1"], day=MONDAY + timedelta(days=3), at=at(3), person="davi", beliefs=believe())


def test_a_round_of_the_past_is_the_one_that_stood_that_morning(goto: Goto) -> None:
    build()
    record(*(entry(0, "feed", bin=b) for b in ("P1", "P2", "A1")))
    goto(2)
    s = ledger.standing_at(at(0, 0))
    past = desk_round.round_sheet(MONDAY, beliefs=believe(s, at(0, 0)))
    assert "feed:A1" in items(past)


def test_with_monday_wednesday_friday_nothing_of_feed_water_and_trays_falls_on_a_weekend(goto: Goto) -> None:
    mwf = ("mon", "wed", "fri")
    build(swap_days=mwf, feed_days=mwf)
    busy = set()
    for day in range(14):
        goto(day)
        keys = [i.key for i in items(sheet()).values() if i.deed in ("feed", "water", "pull", "lay") and not i.asks]
        desk_round.do(keys, actor=farm.HAND, beliefs=believe(now=clock.now()))
        if keys:
            busy.add((MONDAY + timedelta(days=day)).strftime("%a").lower())
    assert busy == set(mwf)


def test_half_an_hour_before_midnight_is_still_that_day_at_the_farm(goto: Goto) -> None:
    build()
    goto(0, 23.5)
    assert sheet().day == "2031-03-03"
    start, end = clock.day_bounds(date(2031, 3, 30))  # clocks go forward in Lisbon
    assert end - start == 23 * 3600
    assert end - start < DAY_S


def test_timed_entries_change_the_minutes_of_the_next_round(goto: Goto) -> None:
    build()
    goto(0)
    before = items(sheet())["feed:A1"].minutes
    record(*(entry(-1, "feed", 8 + n / 100, bin="A1", minutes=4.0) for n in range(30)))
    goto(2)
    assert items(sheet())["feed:A1"].minutes > 3 * before
