"""Minutes: the default until the farm has timed its own, then its own."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.rounds.minutes import DEFAULT_MINUTES, learn

MINUTES = st.floats(0.1, 60)


def test_without_timed_entries_the_defaults_hold() -> None:
    assert learn([]).of("clean") == DEFAULT_MINUTES["clean"]


def test_feed_and_water_of_a_bin_and_a_swap_lie_in_the_ranges_they_stand_for() -> None:
    # common practice, no published source: feed and water 1-2 minutes a bin, a tray swap 2-4, a bin cleaned 10-20
    assert 1 <= DEFAULT_MINUTES["feed"] + DEFAULT_MINUTES["water"] <= 2
    assert 2 <= DEFAULT_MINUTES["pull"] + DEFAULT_MINUTES["lay"] <= 4
    assert 10 <= DEFAULT_MINUTES["clean"] <= 20


@given(MINUTES, st.integers(1, 200))
def test_the_learnt_minutes_lie_between_the_default_and_the_farms_own(own: float, n: int) -> None:
    default = DEFAULT_MINUTES["split"]
    got = learn([("split", own, None)] * n).of("split")
    assert min(own, default) * 0.999 <= got <= max(own, default) * 1.001


def test_many_timed_entries_outweigh_the_default() -> None:
    assert learn([("feed", 3.0, None)] * 300).of("feed") == pytest.approx(3.0, rel=0.02)


def test_one_forgotten_clock_changes_nothing() -> None:
    sure = [("feed", 2.0, None)] * 20
    assert learn([*sure, ("feed", 300.0, None)]).of("feed") == pytest.approx(learn(sure).of("feed"), rel=0.02)


def test_minutes_that_cannot_be_are_left_out() -> None:
    odd = [("feed", 0.0, None), ("feed", -4.0, None), ("feed", 9000.0, None), ("feed", float("nan"), None)]
    assert learn(odd).of("feed") == DEFAULT_MINUTES["feed"]


def test_a_tray_type_gets_minutes_of_its_own_once_it_has_been_timed_enough() -> None:
    wide, slim = [("pull", 4.0, "wide")], [("pull", 1.0, "slim")]
    few = learn(wide * 3 + slim * 3)
    assert few.of("pull", "wide") == few.of("pull", "slim")
    many = learn(wide * 30 + slim * 30)
    assert many.of("pull", "slim") < many.of("pull") < many.of("pull", "wide")
    assert many.of("feed", "wide") == DEFAULT_MINUTES["feed"]
