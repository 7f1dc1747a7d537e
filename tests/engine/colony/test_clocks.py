"""Clocks: what passed at a place is a difference of two readings, and a move never sets a clock back."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.biology.species import SPECIES, species
from chirr.engine.colony.clocks import EGG, NYMPH, invert_rows, make_clocks, path_readings
from engine.colony.small_farm import HOUSE, steady

DEGREES = st.floats(min_value=20.0, max_value=33.0)


@given(st.sampled_from(SPECIES), DEGREES, st.floats(min_value=0.0, max_value=5.0))
def test_a_warmer_place_never_runs_slower(key: str, temp_c: float, warmer: float) -> None:
    two = make_clocks(np.array([[temp_c] * 240, [min(temp_c + warmer, 33.0)] * 240]), species(key))
    assert (two.sums[[EGG, NYMPH], 1, -1] >= two.sums[[EGG, NYMPH], 0, -1] - 1e-12).all()


@given(st.lists(st.tuples(st.floats(min_value=1.0, max_value=90.0), st.integers(0, 2)), max_size=5))
def test_moving_a_clutch_never_resets_its_clock(moves: list[tuple[float, int]]) -> None:
    clocks = make_clocks(np.array([[25.0] * 1000, [29.0] * 1000, [32.0] * 1000]), species(HOUSE))
    steps = np.cumsum([gap for gap, _ in moves])
    starts = np.array([10.0, *(10.0 + steps)])
    places = np.array([0, *(place for _, place in moves)])
    knots = np.linspace(10.0, 900.0, 400)[None, :]
    read = path_readings(clocks, EGG, [starts], [places], knots)[0]
    assert read[0] == 0.0
    assert (np.diff(read) > 0).all()


def test_standing_in_two_equal_places_is_as_standing_in_one() -> None:
    clocks = make_clocks(np.full((2, 600), 29.0), species(HOUSE))
    knots = np.linspace(0.0, 500.0, 80)[None, :]
    stayed = path_readings(clocks, EGG, [np.array([0.0])], [np.array([0])], knots)
    moved = path_readings(clocks, EGG, [np.array([0.0, 130.5])], [np.array([0, 1])], knots)
    np.testing.assert_allclose(moved, stayed, rtol=1e-12)


@given(
    st.lists(st.floats(min_value=0.001, max_value=0.1), min_size=5, max_size=40),
    st.floats(min_value=0.01, max_value=0.99),
)
def test_inverting_a_row_gives_back_where_it_was_read(steps: list[float], share: float) -> None:
    row = np.concatenate([[0.0], np.cumsum(steps)])[None, :]
    wanted = share * row[0, -1]
    at = invert_rows(row, np.array([7.0]), 6.0, np.array([[wanted]]))[0, 0]
    assert np.isclose(np.interp(at, 7.0 + 6.0 * np.arange(row.shape[1]), row[0]), wanted)


def test_a_reading_beyond_the_grid_follows_the_last_slope_and_a_stopped_clock_never_gets_there() -> None:
    going, stopped = np.linspace(0, 1, 11)[None, :], np.r_[np.linspace(0, 1, 6), np.ones(10)][None, :]
    assert np.isclose(invert_rows(going, np.zeros(1), 1.0, np.array([[1.5]]))[0, 0], 15.0)
    assert np.isinf(invert_rows(stopped, np.zeros(1), 1.0, np.array([[1.5]]))[0, 0])


def test_a_cold_room_nearly_stops_the_clock_of_eggs_and_nymphs() -> None:
    cold, warm = steady(14.0, 10), steady(30.0, 10)
    assert cold.sums[EGG, 0, -1] == 0.0
    assert cold.sums[NYMPH, 0, -1] < 0.02 * warm.sums[NYMPH, 0, -1]
