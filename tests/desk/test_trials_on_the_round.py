"""A running trial on the round: the new tray of a bin is the one drawn for it, by one tap, and the reason says so."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from chirr.book import actions, ledger
from chirr.desk import clock
from chirr.desk import round as desk_round
from chirr.desk.trial_notes import Trial
from chirr.desk.trial_round import turn
from chirr.desk.trial_rows import gathered
from desk import round_farm as farm
from desk.round_farm import MONDAY, at, believe, build, entry

pytestmark = pytest.mark.django_db


@pytest.fixture
def goto(monkeypatch):
    def set_clock(day, hour=8.0):
        monkeypatch.setattr(clock, "now", lambda: at(day, hour))

    return set_clock


def sheet(day=None):
    found = desk_round.round_sheet(
        None if day is None else MONDAY + timedelta(days=day), beliefs=believe(now=clock.now())
    )
    return {item.key: item for stop in found.stops for item in stop.items}


def begin(by, bins, ways, **more):
    """A trial written into the book on the day before the first Monday."""
    plan = {
        "trial": "pans", "by": by, "ways": ways, "outcome": "eggs", "bins": bins, "weeks": 8, "period_weeks": 8,
        "start": str(MONDAY - timedelta(days=1)), **more,
    }  # fmt: skip
    actions.record([entry(-1, "note", note="trial " + json.dumps(plan))], actor=farm.OWNER)


def test_the_new_tray_is_of_the_type_drawn_for_its_bin(goto):
    build()
    begin("tray_type", {"P1": ["deep"], "P2": ["deep"]}, ["deep", "flat"])
    goto(0)
    got = sheet()
    assert got["lay:P1"].prefill["tray_type"] == "deep", "its last tray was flat"
    assert "trial pans: tray deep here, drawn by lot" in got["lay:P1"].why
    assert "trial" not in got["pull:T1"].why
    desk_round.do(["pull:T1", "lay:P1"], actor=farm.HAND, beliefs=believe(now=clock.now()))
    assert [c.tray_type for c in ledger.live().clutches.values() if c.bin == "P1"] == ["flat", "deep"]


def test_a_bin_without_a_draw_goes_on_as_before(goto):
    build()
    begin("tray_type", {"P1": ["deep"]}, ["deep", "flat"])
    goto(0)
    assert "trial" not in sheet()["lay:P2"].why


def test_a_bin_that_has_every_way_in_turn_changes_when_its_turn_is_over():
    t = Trial(trial="x", by="tray_type", ways=("a", "b"), outcome="eggs", bins={"P1": ("b", "a")},
              start=str(MONDAY), weeks=4, period_weeks=2)  # fmt: skip
    ways = [turn(t, "P1", MONDAY + timedelta(days=d)) for d in (-1, 0, 13, 14, 27, 28)]
    assert ways == [None, "b", "b", "a", "a", None]
    assert turn(t, "P2", MONDAY) is None


def test_drawn_days_in_the_bin_become_its_own_swap_days(goto):
    build()
    begin("days_in", {"P1": ["5"], "P2": ["2"]}, ["2", "5"])
    goto(0)
    got = sheet()
    assert "pull:T1" not in got
    assert "trays stay 2 days here" in got["pull:T2"].why
    assert got["pull:T2"].urgency == "overdue"


def test_a_way_that_no_column_says_goes_into_the_note_and_is_counted_from_there(goto):
    build()
    begin("mark", {"P1": ["netted"], "P2": ["open"]}, ["netted", "open"])
    goto(0)
    assert sheet()["lay:P1"].prefill["note"] == "way netted"
    desk_round.do(["pull:T1", "lay:P1"], actor=farm.HAND, beliefs=believe(now=clock.now()))
    new = next(c for c in ledger.live().clutches.values() if c.bin == "P1" and c.name != "T1")
    actions.record([entry(1, "count", clutch=new.name, quantity=900.0, unit="eggs")], actor=farm.HAND)
    found = gathered(ledger.live(), "mark", "eggs")
    assert found.way.tolist() == ["netted"]


def test_a_drawn_batch_of_substrate_comes_with_its_cycle(goto):
    out = entry(-2, "pull", clutch="T2", to_place="pine/9/1")
    new = entry(-2, "lay", 8.5, bin="P2", lot="B2", clutch="T3", tray_type="deep", substrate="mix-2", cycle=2)
    build([*farm.FIRST_WEEK, out, new])
    begin("substrate", {"P1": ["mix-1"], "P2": ["mix-2"]}, ["mix-1", "mix-2"])
    goto(1)
    got = sheet()
    assert (got["lay:P1"].prefill["substrate"], got["lay:P1"].prefill["cycle"]) == ("mix-1", "1")
    assert (got["lay:P2"].prefill["substrate"], got["lay:P2"].prefill["cycle"]) == ("mix-2", "2")
