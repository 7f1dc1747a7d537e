"""The hand-over sheet of the small farm: what is due, what is odd, what was noted."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from builders import small_farm
from chirr.book import actions
from chirr.desk.hand_over import MOST_DAYS, hand_over
from chirr.desk.round import NONE_YET, round_sheet
from chirr.records import Entry

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("small_farm_now")]
TODAY = date(2027, 3, 31)


def note(number: int, text: str, days_ago: float = 1) -> None:
    at = int(small_farm.NOW - days_ago * 86400)
    entry = Entry(id=small_farm.entry_id(number), at=at, person="Bram", deed="note", bin="E1-2", note=text)
    actions.record([entry], actor=small_farm.HAND)


def test_each_day_tells_what_its_round_will_tell() -> None:
    sheet = hand_over(TODAY, TODAY + timedelta(days=6))
    assert [d.day for d in sheet.days] == [TODAY + timedelta(days=n) for n in range(7)]
    for day in sheet.days:
        deeds = {i.deed for s in round_sheet(day.day).stops for i in s.items if i.urgency not in ("soon", "optional")}
        words = " ".join(line.what for line in day.lines)
        assert ("Feed and water" in words) is bool(deeds & {"feed", "water"})
        assert ("Swap trays" in words) is bool(deeds & {"pull", "lay"})
        assert ("Look for pinheads" in words) is ("hatch" in deeds)
    assert any("W1-1" in line.where for day in sheet.days for line in day.lines)


def test_what_is_late_stands_under_what_is_odd_with_its_reason() -> None:
    late = [i for s in round_sheet().stops for i in s.items if i.urgency == "overdue"]
    odd = hand_over(TODAY, TODAY).odd
    assert late, "the small farm has something overdue"
    for item in late:
        assert any(x.what == item.what and item.why in x.where for x in odd)


def test_notes_of_people_are_there_and_those_of_the_round_and_of_trials_are_not() -> None:
    note(50, "the fan rattles")
    note(51, NONE_YET)
    note(52, 'trial {"trial": "x"}')
    note(53, "too long ago", days_ago=20)
    said = " ".join(x.says for x in hand_over(TODAY, TODAY).notes)
    assert "the fan rattles" in said
    assert "latch is loose" in said
    assert NONE_YET not in said
    assert "trial {" not in said
    assert "too long ago" not in said


def test_rooms_stand_with_their_set_points_and_how_many_bins_are_lived_in() -> None:
    sheet = hand_over(TODAY, TODAY)
    assert [(r.room, r.set_temperature_c) for r in sheet.rooms] == [("east", 30.0), ("west", 31.0)]
    assert sheet.humidity_pct == {"east": 55.0}
    assert sheet.bins["east"] == (2, 1)


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [(0, -1, "last day lies before"), (-1, 3, "begins today or later"), (0, MOST_DAYS, "21 days at most")],
)
def test_days_that_will_not_do_are_told_in_words(first: int, last: int, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        hand_over(TODAY + timedelta(days=first), TODAY + timedelta(days=last))


def test_a_sheet_of_one_day_and_of_the_most_days_can_be_made() -> None:
    assert len(hand_over(TODAY, TODAY).days) == 1
    assert len(hand_over(TODAY, TODAY + timedelta(days=MOST_DAYS - 1)).days) == MOST_DAYS
