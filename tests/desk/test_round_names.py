"""Names for new clutches and lots follow the farm's own, and are never taken twice."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.desk.one_tap import Names

DAY = date(2031, 3, 5)


@pytest.mark.parametrize(
    ("so_far", "then"),
    [
        (["C11", "C12"], "C13"),
        (["C8", "C9"], "C10"),
        (["t-007", "t-008"], "t-009"),
        (["099", "100"], "101"),
        (["2/a", "3/a"], "4/a"),
        (["C12", "C7"], "C13"),
        (["C1"], "C2"),
        ([], "20310305-1"),
        (["red", "blue", "green"], "20310305-1"),
        (["x1y", "p5q", "m9n"], "20310305-1"),
        (["20310304-1", "20310304-2", "20310304-3"], "20310304-4"),
    ],
)
def test_the_next_name_counts_on_from_the_farms_own(so_far: list[str], then: str) -> None:
    assert Names(so_far, set(so_far)).next(DAY, None) == then


def test_a_bin_with_a_row_of_names_of_its_own_keeps_it() -> None:
    so_far = ["A-1", "B-1", "A-2", "B-2", "B-3"]
    assert Names(so_far, set(so_far)).next(DAY, "A-2") == "A-3"


def test_a_name_used_today_already_is_passed_over() -> None:
    assert Names(["C1", "C2"], {"C1", "C2", "C3"}).next(DAY, None) == "C4"


@given(st.lists(st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=8), unique=True))
def test_no_name_is_ever_given_twice_whatever_the_farm_calls_things(names: list[str]) -> None:
    given_names = Names(names, set(names))
    new = [given_names.next(DAY, None) for _ in range(5)]
    assert len(set(new)) == 5
    assert not set(new) & set(names)


@given(st.integers(1, 30), st.integers(0, 29))
def test_names_of_the_stops_left_over_do_not_change_when_another_is_done_first(n: int, which: int) -> None:
    before = ["C1", "C2"]
    names = Names(before, set(before))
    planned = [names.next(DAY, None) for _ in range(n)]
    done = planned[which % n]
    again = Names(before, {*before, done})
    assert [again.next(DAY, None) for _ in range(n - 1)] == [name for name in planned if name != done]
