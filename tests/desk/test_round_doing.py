"""Doing the round: one tap writes the book, twice writes it once, undo takes it back."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils.translation import override

from chirr.book import actions, ledger
from chirr.desk import clock
from chirr.desk import round as desk_round
from chirr.desk.shapes import RoundSheet
from desk.round_farm import HAND, MONDAY, OWNER, READER, at, believe, build, entry

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def monday(monkeypatch: pytest.MonkeyPatch) -> None:
    """A Monday morning, three days after the farm's first trays."""
    monkeypatch.setattr(clock, "now", lambda: at(0))
    build()


def sheet() -> RoundSheet:
    return desk_round.round_sheet(beliefs=believe(now=clock.now()))


def keys(s: RoundSheet) -> set[str]:
    return {item.key for stop in s.stops for item in stop.items}


def do(*wanted: str, actor: object = HAND, **more: object) -> list[str]:
    return desk_round.do(wanted, actor=actor, beliefs=believe(now=clock.now()), **more)  # type: ignore[arg-type]


def entries() -> int:
    return sum(1 for _ in ledger.entries())


def test_one_tap_does_an_item_and_it_leaves_the_sheet() -> None:
    before = sheet()
    (written,) = do("feed:A1")
    after = sheet()
    assert keys(before) - keys(after) == {"feed:A1"}
    assert after.done_today == before.done_today + 1
    (e,) = ledger.entries("id = %s", (written,))
    assert (e.deed, e.bin, e.person, e.at) == ("feed", "A1", "davi", at(0))


def test_the_same_tap_twice_writes_once() -> None:
    do("feed:A1", "lay:P1", "pull:T1")
    n = entries()
    assert do("feed:A1", "lay:P1", "pull:T1") == []
    assert entries() == n


def test_a_key_that_nothing_stands_behind_writes_nothing() -> None:
    n = entries()
    assert do("feed:nowhere", "feed:A1:9") == []
    assert entries() == n


def test_undo_gives_the_sheet_back_and_undoing_twice_changes_nothing() -> None:
    before = sheet()
    ids = do(*keys(before))
    assert sheet().stops == ()
    back = desk_round.undo(ids, actor=HAND)
    assert len(back) == len(ids)
    assert sheet().stops == before.stops
    assert sheet().done_today == before.done_today
    assert desk_round.undo(ids, actor=HAND) == []
    assert all(e.note == "undone on the round" for e in ledger.entries("deed = 'correct'"))


def test_live_standing_after_the_round_is_the_replayed_one() -> None:
    desk_round.undo(do(*keys(sheet()))[:2], actor=HAND)
    assert ledger.live() == ledger.replayed()


def test_a_reader_can_look_but_neither_do_nor_undo() -> None:
    with pytest.raises(actions.NotAllowed, match="reader"):
        do("feed:A1", actor=READER)
    with pytest.raises(actions.NotAllowed, match="reader"):
        do(actor=READER)
    ids = do("feed:A1", actor=OWNER)
    with pytest.raises(actions.NotAllowed, match="reader"):
        desk_round.undo(ids, actor=READER)
    assert "feed:A1" not in keys(sheet())


def test_names_on_the_stops_left_over_stay_when_another_is_done_first() -> None:
    def names(s: RoundSheet) -> dict[str, dict[str, str]]:
        return {i.key: i.prefill for stop in s.stops for i in stop.items if i.deed in ("lay", "pull")}

    before = names(sheet())
    do("lay:P2", "pull:T2")
    after = names(sheet())
    assert after == {key: before[key] for key in ("lay:P1", "pull:T1")}


def test_a_whole_bin_is_one_tap_and_never_writes_a_hatch_that_nobody_saw() -> None:
    stop = next(s for s in sheet().stops if s.bin == "P1")
    assert set(desk_round.whole_bin(stop)) == {"feed:P1", "water:P1", "pull:T1", "lay:P1"}
    do(*desk_round.whole_bin(stop))
    assert all(s.bin != "P1" for s in sheet().stops)


def test_a_hatch_is_one_tap_and_so_is_having_looked_in_vain(monkeypatch: pytest.MonkeyPatch) -> None:
    do("pull:T1", "pull:T2", "lay:P1", "lay:P2")
    monkeypatch.setattr(clock, "now", lambda: at(10))
    stop = next(s for s in sheet().stops if any(i.key == "hatch:T1" for i in s.items))
    assert desk_round.whole_bin(stop) == ()
    do("none:T1")
    assert "hatch:T1" not in keys(sheet())
    assert ledger.live().clutches["T1"].hatched_at is None
    do("hatch:T2")
    assert ledger.live().clutches["T2"].hatched_at == at(10)
    monkeypatch.setattr(clock, "now", lambda: at(11))
    assert "hatch:T1" in keys(sheet())
    assert {"feed:P4", "water:P4"} <= keys(sheet())


def test_minutes_are_shared_out_by_what_each_item_should_take() -> None:
    do("feed:A1", "water:A1", minutes=6.0)
    spent = {e.deed: e.minutes for e in ledger.entries("at = %s", (at(0),))}
    assert spent == {"feed": 4.0, "water": 2.0}  # a feed should take twice a watering


def test_an_item_that_must_be_filled_in_is_not_done_by_a_tap(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: at(5))
    assert "weigh:G1" in keys(sheet())
    n = entries()
    with pytest.raises(desk_round.NotNow, match="fill in sample, quantity on its form"):
        do("feed:A1", "weigh:G1")
    assert entries() == n


def test_undo_is_refused_where_later_entries_rest_on_it() -> None:
    (pull,) = do("pull:T1")
    actions.record([entry(0, "hatch", 9, clutch="T1")], actor=HAND)
    to_lot = ledger.live().clutches["T1"].to_lot
    actions.record([entry(0, "count", 10, lot=to_lot, quantity=500.0, unit="pinheads")], actor=HAND)
    n = entries()
    with pytest.raises(actions.Refused):
        desk_round.undo([pull], actor=HAND)
    assert entries() == n


def test_undoing_an_entry_that_is_not_there_is_refused() -> None:
    with pytest.raises(actions.Refused, match="that the book has"):
        desk_round.undo(["no-such-entry"], actor=HAND)


def test_entries_are_only_written_for_the_day_that_it_is() -> None:
    made = desk_round.entries_for(["feed:A1"], day=MONDAY, at=at(0), person="davi", beliefs=believe())
    assert [e.deed for e in made] == ["feed"]
    assert "feed:A1" in keys(sheet())


def test_a_sheet_is_worked_out_once_until_an_entry_comes_or_belief_is_another(monkeypatch: pytest.MonkeyPatch) -> None:
    worked_out: list[object] = []
    real = desk_round.jobs_of
    monkeypatch.setattr(desk_round, "jobs_of", lambda scene: worked_out.append(scene) or real(scene))
    seen = believe(now=clock.now())
    first = desk_round.round_sheet(beliefs=seen)
    assert desk_round.round_sheet(beliefs=seen) == first
    assert len(worked_out) == 1
    desk_round.round_sheet(beliefs=seen, hands=2)
    desk_round.round_sheet(MONDAY + timedelta(days=1), beliefs=seen)
    assert len(worked_out) == 3
    do("feed:A1")
    assert "feed:A1" not in keys(desk_round.round_sheet(beliefs=seen))
    desk_round.round_sheet(beliefs=believe(now=clock.now()))  # as when the farm's card was changed, or an hour went by
    with override("es"):
        assert desk_round.round_sheet(beliefs=seen).stops[0].items[0].what != first.stops[0].items[0].what


def test_a_sheet_that_was_kept_says_when_it_was_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = believe(now=clock.now())
    early = desk_round.round_sheet(beliefs=seen)
    monkeypatch.setattr(clock, "now", lambda: at(0) + 60)
    assert desk_round.round_sheet(beliefs=seen).as_of == early.as_of + 60
