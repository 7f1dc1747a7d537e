"""Minutes on the way learnt from gaps, and what limits a farm from its measures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.trials.durations import set_up_and_each
from chirr.engine.trials.limits import Measures, limiting, limits
from chirr.engine.trials.walking import Gap, ways_learnt


def walked(rng, *, room, stack, feed, water, rounds=40):
    """Gaps of rounds through two rooms of three stacks of two bins, each fed and watered."""
    out = []
    for _ in range(rounds):
        for r in range(2):
            for k in range(3):
                for b in range(2):
                    step, n = ("stack", 0) if b else ("stacks", 1) if k else ("room", 3)
                    way = {"stack": 0.0, "stacks": stack, "room": room}[step]
                    if r or k or b:
                        out.append(Gap(minutes=way + feed * rng.lognormal(0, 0.1), deed="feed", step=step, stacks=n))
                    out.append(Gap(minutes=water * rng.lognormal(0, 0.1), deed="water", step="bin"))
    return out


def test_the_way_is_what_the_work_leaves_of_a_gap():
    gaps = walked(np.random.default_rng(5), room=2.0, stack=0.4, feed=1.0, water=0.7)
    ways = ways_learnt(gaps, {"feed": 1.0, "water": 0.5}, room=1.0, stack=0.1)
    assert ways.stack.middle == pytest.approx(0.4, abs=0.03)
    assert ways.bin.middle == pytest.approx(0.0, abs=0.03)
    assert ways.room.n == 40
    assert ways.room.middle == pytest.approx((40 * 2.0 + 3 * 1.0) / 43, abs=0.05), "drawn a little to the usual minute"


def test_without_gaps_the_usual_ways_stand():
    ways = ways_learnt([], {}, room=1.0, stack=0.1)
    assert (ways.room.middle, ways.stack.middle) == pytest.approx((1.0, 0.1))
    assert ways.room.n == 0


def test_a_long_break_is_no_way():
    ways = ways_learnt([Gap(minutes=55, deed="feed", step="room")] * 30, {"feed": 1.0}, room=1.0, stack=0.1)
    assert ways.room.n == 0


def test_set_up_and_single_minutes_come_apart_in_visits_of_different_size():
    numbers = [2, 5, 9, 12, 3]
    assert set_up_and_each(numbers, [4 + 1.5 * n for n in numbers]) == pytest.approx((4, 1.5))


EASY = Measures(
    bins=20, empty_bins=8, lots=12, crowded_lots=1, nursery_density=0.1, knee=0.3, survival=0.6, survival_lots=20,
    band=(0.35, 0.84), hours=20, hours_there=40,
)  # fmt: skip


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({}, "eggs"), ({"empty_bins": 0}, "space"), ({"bins": 0, "empty_bins": 0}, "space"),
        ({"crowded_lots": 9}, "space"), ({"hours": 39.5}, "labour"), ({"survival": 0.2}, "survival"),
        ({"survival": 0.2, "empty_bins": 0}, "space"), ({"survival": 0.2, "survival_lots": 2}, "eggs"),
    ],
)  # fmt: skip
def test_what_is_tight_limits_the_farm_and_eggs_do_where_nothing_is(change, name):
    found = limits(replace(EASY, **change))
    assert limiting(found).name == name
    assert [x.name for x in found] == ["space", "labour", "survival", "eggs"]
    assert all(x.says for x in found)


def test_too_little_in_the_book_is_not_called_loose():
    found = {x.name: x for x in limits(replace(EASY, survival=None, survival_lots=0, hours_there=0))}
    assert found["survival"].tight is None
    assert found["labour"].tight is None
    assert "as far as the book tells" in found["eggs"].says


@given(st.integers(1, 500), st.floats(0, 1), st.floats(0.1, 100), st.floats(0.1, 100))
def test_more_empty_bins_or_more_hours_never_make_a_limit_tighter(bins, share, hours, there):
    empty = round(share * bins)
    m = replace(EASY, bins=bins, empty_bins=empty, hours=hours, hours_there=there)
    more = replace(m, empty_bins=min(empty + 1, bins), hours_there=there * 1.5)
    for before, after in zip(limits(m)[:2], limits(more)[:2], strict=True):
        assert not after.tight or before.tight
        assert after.load is not None
        assert before.load is not None
        assert after.load <= before.load + 1e-12
