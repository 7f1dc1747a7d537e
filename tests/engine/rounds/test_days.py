"""The turns of the farm: every job at least as often as asked, never twice on a day."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.rounds.days import (
    WEEKDAYS,
    BadDays,
    Days,
    due,
    first_falls,
    in_words,
    longest_gap_days,
    next_due,
)

MONDAY = date(2031, 3, 3)
MWF = ("mon", "wed", "fri")

turns = st.one_of(
    st.integers(1, 14),
    st.sets(st.sampled_from(WEEKDAYS), min_size=1).map(lambda names: tuple(sorted(names, key=WEEKDAYS.index))),
)
a_day = st.dates(date(2030, 1, 1), date(2033, 1, 1))


def kept(days: Days, start: date, n: int) -> list[date]:
    """Days on which the job is done by somebody who does it whenever it is due."""
    done: list[date] = []
    for day in (start + timedelta(days=i) for i in range(n)):
        if due(days, done[-1] if done else None, day):
            done.append(day)
    return done


@given(turns, a_day)
def test_a_job_kept_in_turn_comes_at_least_as_often_as_asked(days: Days, start: date) -> None:
    done = kept(days, start, 60)
    gaps = [(b - a).days for a, b in pairwise(done)]
    assert max(gaps) <= longest_gap_days(days)
    assert min(gaps) >= 1
    if isinstance(days, int):
        assert set(gaps) == {days}


@given(turns, a_day)
def test_a_job_done_today_is_not_due_again_today(days: Days, day: date) -> None:
    assert due(days, day, day) is None


@given(turns, a_day, st.integers(0, 40))
def test_a_missed_job_stays_due_and_grows_later_day_by_day(days: Days, last: date, wait: int) -> None:
    day = next_due(days, last) + timedelta(days=wait)
    turn = due(days, last, day)
    assert turn is not None
    assert turn.late_days == wait
    assert turn.on == next_due(days, last)


@given(turns, a_day, st.integers(0, 40), st.integers(0, 30))
def test_the_day_to_come_is_the_one_that_keeping_every_turn_leads_to(
    days: Days, last: date, since: int, ahead: int
) -> None:
    today = last + timedelta(days=since)
    done = last
    for day in (today + timedelta(days=i) for i in range(ahead)):
        if due(days, done, day):
            done = day
    asked = today + timedelta(days=ahead)
    foreseen = due(days, last, asked, kept_from=today)
    walked = due(days, done, asked)
    assert (foreseen is None) == (walked is None)
    if foreseen is not None and ahead > 0:
        assert foreseen.again == (done != last)


def test_with_monday_wednesday_friday_the_weekend_stays_free() -> None:
    done = kept(MWF, MONDAY, 28)
    assert {day.strftime("%a").lower() for day in done} == set(MWF)
    assert len(done) == 12


def test_every_third_day_drifts_into_weekends() -> None:
    assert {day.weekday() for day in kept(3, MONDAY, 28)} & {5, 6}


def test_a_missed_wednesday_is_late_on_thursday() -> None:
    turn = due(MWF, MONDAY, date(2031, 3, 6))
    assert turn is not None
    assert turn.late_days == 1


def test_a_job_never_done_is_due_at_once() -> None:
    turn = due(MWF, None, date(2031, 3, 8))
    assert turn is not None
    assert turn.late_days == 0


@pytest.mark.parametrize("bad", [0, -3, (), ("monday",), ("mon", "weds")])
def test_a_turn_that_says_nothing_is_refused_in_a_plain_sentence(bad: Days) -> None:
    for ask in (lambda: due(bad, None, MONDAY), lambda: next_due(bad, MONDAY), lambda: longest_gap_days(bad)):
        with pytest.raises(BadDays, match="does not say how often"):
            ask()


def test_a_turn_of_one_weekday_is_said_without_and() -> None:
    assert in_words(("tue",)) == "on Tuesday"


@given(a_day, a_day, st.integers(0, 60))
def test_a_job_for_one_occasion_stands_on_exactly_one_list_to_come(on: date, today: date, ahead: int) -> None:
    future = [today + timedelta(days=i) for i in range(1, 3000)] if on > today else []
    if future:
        assert sum(first_falls(on, day, today) for day in future) == 1
        assert not first_falls(on, today, today)
    else:
        assert first_falls(on, today, today)
        assert not first_falls(on, today + timedelta(days=ahead + 1), today)
