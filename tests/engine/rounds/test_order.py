"""The walk: clean before dirty, each stop once, and nothing overdue left for something optional."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.rounds.order import GROUPS, Pace, Stop, group_of, reach, walk, walking_minutes

work = st.lists(
    st.tuples(st.sampled_from(["overdue", "open", "due", "soon", "optional"]), st.floats(0.1, 12)),
    min_size=1,
    max_size=4,
).map(lambda items: tuple((u, 0.0 if u == "soon" else m) for u, m in items))


@st.composite
def many_stops(draw: st.DrawFn) -> list[Stop]:
    n = draw(st.integers(0, 25))
    return [
        Stop(key=f"k{i}", group=draw(st.sampled_from(GROUPS)), room=f"r{(r := draw(st.integers(0, 2)))}", room_rank=r,
             stack=draw(st.integers(1, 4)), level=draw(st.integers(1, 5)), work=draw(work))
        for i in range(n)
    ]  # fmt: skip


@given(many_stops())
def test_the_walk_comes_to_every_stop_once_and_never_goes_back_to_a_cleaner_group(stops: list[Stop]) -> None:
    walked = walk(stops)
    assert sorted(s.key for s in walked) == sorted(s.key for s in stops)
    groups = [GROUPS.index(s.group) for s in walked]
    assert groups == sorted(groups)
    for a, b in pairwise(walked):
        if a.group == b.group:
            assert (a.room_rank, a.stack, a.level) <= (b.room_rank, b.stack, b.level)


@given(many_stops(), st.integers(1, 3), st.floats(0, 120))
def test_nothing_overdue_is_left_for_something_due_nor_due_for_optional(stops: list[Stop], n: int, each: float) -> None:
    stops = walk(stops)
    got = reach(stops, n, each)
    rank = {"overdue": 0, "open": 1, "due": 1, "optional": 2}
    taken = [rank[s.work[i][0]] for s, done in zip(stops, got.done, strict=True) for i in done]
    left = [rank[u] for s, done in zip(stops, got.done, strict=True) for i, (u, _) in enumerate(s.work)
            if u in rank and i not in done]  # fmt: skip
    assert got.left_over(stops) == len(left)
    if taken and left:
        assert max(taken) <= min(left)
    assert got.minutes <= n * each + 1e-6


@given(many_stops(), st.floats(0, 90))
def test_more_people_or_more_time_never_leave_more_over(stops: list[Stop], each: float) -> None:
    stops = walk(stops)
    one = reach(stops, 1, each)
    assert reach(stops, 2, each).left_over(stops) <= one.left_over(stops)
    assert reach(stops, 1, each + 30).left_over(stops) <= one.left_over(stops)


@given(many_stops())
def test_with_time_enough_one_person_does_all_of_it_in_the_minutes_of_work_and_walk(stops: list[Stop]) -> None:
    stops = walk(stops)
    got = reach(stops, 1, 1e6)
    assert got.left_over(stops) == 0
    total = sum(m for s in stops for u, m in s.work if u != "soon") + walking_minutes(stops)
    assert got.minutes == pytest.approx(total)


def test_nobody_gets_nowhere() -> None:
    stop = Stop(key="a", group="nursery", room="r", room_rank=0, stack=1, level=1, work=(("due", 1.0),))
    assert reach([stop], 0, 60).left_over([stop]) == 1


def test_walking_counts_rooms_stacks_and_levels_out_of_reach() -> None:
    pace = Pace(room_minutes=1.0, stack_minutes=0.1, step_minutes=0.5, reach_level=3)

    def stop(room: str, stack: int, level: int, urgency: str = "due") -> Stop:
        return Stop(key=f"{room}{stack}{level}", group="grow-out", room=room, room_rank=0, stack=stack, level=level,
                    work=((urgency, 1.0),))  # fmt: skip

    walked = [stop("a", 1, 1), stop("a", 3, 4), stop("a", 9, 9, "soon"), stop("b", 1, 2)]
    assert walking_minutes(walked, pace) == pytest.approx(1.0 + (0.2 + 0.5) + 1.0)


def test_sickness_comes_before_duty_and_a_rack_is_hatching() -> None:
    assert group_of("nursery", sick=True, hatching=True) == "sick"
    assert group_of("grow-out", hatching=True) == "hatching"
    assert group_of(None) == "hatching"
    assert group_of("breeding") == "breeding"
