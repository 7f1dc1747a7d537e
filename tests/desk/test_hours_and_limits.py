"""The usual week from the book: minutes on the way, the week with one thing changed, and what limits the farm."""

from __future__ import annotations

import pytest

from chirr.book import actions, ledger
from chirr.desk import clock
from chirr.desk.limits import what_limits
from chirr.desk.timing import timing
from chirr.desk.trial_tables import TableFault
from chirr.desk.usual_week import _restacked
from chirr.desk.visits import gaps, spots, timed_visits
from chirr.engine.rounds.order import Stop
from desk import round_farm as farm
from desk.round_farm import at, believe, build, entry

pytestmark = pytest.mark.django_db


def fed(day, *, room_minutes=3.0, timed=False):
    """A feeding round: A1, then P1 and P2 in the other room, a minute each; the way into a room takes longer."""
    hour, out = 9.0, []
    for bin_, way in (("A1", 0.0), ("P1", room_minutes), ("P2", 0.0)):
        hour += (way + 1.0) / 60
        out.append(entry(day, "feed", hour, bin=bin_, minutes=way + 1.0 if timed else None))
    return out


@pytest.fixture
def fortnight(monkeypatch):
    """Fourteen days of feeding after the first week."""

    def make(**how):
        build([*farm.FIRST_WEEK, *(e for d in range(14) for e in fed(d, **how))])
        monkeypatch.setattr(clock, "now", lambda: at(14))
        return ledger.live()

    return make


def test_the_way_into_a_room_is_learnt_from_the_gaps(fortnight):
    fortnight()
    set_up = timing()["set_up"]
    assert set_up["room"]["timed"] >= 14
    assert set_up["room"]["middle"] == pytest.approx((14 * 3.0 + 3) / 17, abs=0.35)
    assert set_up["bin"]["middle"] == pytest.approx(0.0, abs=0.05)


def test_gaps_know_what_lies_between(fortnight):
    found = [x for x in spots(fortnight(), at(0), at(0, 23)) if x.deed == "feed"]
    assert [g.step for g in gaps(found)] == ["room", "stack"]


def test_a_visit_is_what_one_person_timed_in_one_room(fortnight):
    visits = timed_visits(spots(fortnight(timed=True), at(0), at(14)))
    assert {room: [len(v) for v in vs] for room, vs in visits.items()} == {"ash": [1] * 14, "pine": [2] * 14}


def test_the_week_otherwise_begins_with_the_week_as_it_is(fortnight):
    fortnight()
    found = timing()
    rows = {(x["what"], x["value"]): x for x in found["otherwise"]}
    base = rows["as it is", ""]
    assert base["hours"] == pytest.approx(found["week"][-1]["hours"], rel=0.01)
    assert rows["bins", "14"]["work_hours"] == pytest.approx(2 * base["work_hours"])
    assert rows["bins", "14"]["walking_hours"] < 2 * base["walking_hours"], "rooms are entered no more often"
    assert rows["order", "room by room"]["hours"] <= rows["order", "clean before dirty"]["hours"] + 1e-9
    assert {w for w, _ in rows} == {"as it is", "order", "stack height", "bins", "tray type"} - (
        set() if any(w == "tray type" for w, _ in rows) else {"tray type"}
    )


def test_lower_stacks_are_further_apart_and_high_ones_need_a_step(fortnight):
    fortnight()
    flat, now = (timing(levels=n)["otherwise"] for n in (1, 3))
    hours = [next(x for x in rows if x["what"] == "stack height")["walking_hours"] for rows in (flat, now)]
    assert hours[0] > hours[1]
    with pytest.raises(TableFault, match="1 to 20 bins high"):
        timing(levels=0)


def test_bins_are_stacked_anew_room_by_room(fortnight):
    s = fortnight()
    stop = Stop(key="P4", group="nursery", room="pine", room_rank=0, stack=2, level=4, work=(("due", 1.0),))
    assert [(x.stack, x.level) for x in _restacked(s, 4)([stop])] == [(1, 4)]
    assert [(x.stack, x.level) for x in _restacked(s, 2)([stop])] == [(2, 2)]
    rack = Stop(key="pine/9/1", group="hatching", room="pine", room_rank=0, stack=9, level=1)
    assert list(_restacked(s, 2)([rack])) == [rack], "a hatch rack stays where it is"


def test_what_limits_names_space_when_every_bin_is_full(fortnight):
    s = fortnight()
    answer = what_limits(beliefs=believe(s), people=2)
    assert answer["limit"] == "eggs"
    assert answer["figures"]["bins"] == 5
    full = [entry(13, "stock", 10 + n / 10, bin=b, lot=f"X{b}", quantity=500.0, unit="crickets", stage="pinhead",
                  age_days=1.0) for n, b in enumerate(("P3", "P4", "A2", "A3"))]  # fmt: skip
    actions.record(full, actor=farm.HAND)
    answer = what_limits(beliefs=believe(), people=2)
    assert answer["limit"] == "space"
    assert "0 of 5 nursery and grow-out bins are empty" in answer["why"]


def test_what_limits_names_labour_when_hands_are_few(fortnight):
    fortnight()
    answer = what_limits(people=1, hours_each=1)
    assert answer["limit"] == "eggs"
    hours = answer["figures"]["hours"]
    with pytest.raises(TableFault, match="from 1 to 168"):
        what_limits(hours_each=0)
    short = [entry(12, "clean", 12 + n / 100, bin="A1", minutes=60.0) for n in range(8)]
    actions.record(short, actor=farm.HAND)
    answer = what_limits(people=1, hours_each=1)
    assert answer["figures"]["hours"] > hours
    assert answer["limit"] == "labour"
