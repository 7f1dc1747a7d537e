"""Hourly temperature of every place from readings as they come."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.climate.places import WHOLE_ROOM, PlaceClimate, Readings, hourly_temperature


def climate(
    rows: list[tuple[float, int, int, float]], *, places: list[tuple[int, int]], now_h: float = 100.0, hours: int = 200
) -> PlaceClimate:
    hour, room, level, temp = (np.array(c) for c in zip(*rows, strict=True)) if rows else (np.zeros(0),) * 4
    return hourly_temperature(
        Readings(
            hour=hour.astype(float), room=room.astype(np.int64), level=level.astype(np.int64), temp_c=temp.astype(float)
        ),
        room=np.array([p[0] for p in places]),
        level=np.array([p[1] for p in places]),
        set_c=np.full(len(places), 30.0),
        hours=hours,
        now_h=now_h,
    )


def test_without_readings_the_set_point_stands_in_and_nothing_is_called_measured() -> None:
    got = climate([], places=[(0, 1)])
    assert (got.temp_c == 30.0).all()
    assert not got.measured.any()


def test_short_gaps_are_bridged_and_long_ones_are_not() -> None:
    got = climate([(10, 0, 1, 20.0), (20, 0, 1, 30.0), (90, 0, 1, 25.0)], places=[(0, 1)])
    assert np.isclose(got.temp_c[0, 15], 25.0)
    assert not got.measured[0, 55]
    assert got.temp_c[0, 55] == 30.0


def test_a_level_without_a_thermometer_lies_between_its_neighbours() -> None:
    rows = [(float(h), 0, level, 26.0 + 2 * level) for h in range(100) for level in (1, 3)]
    got = climate(rows, places=[(0, 2), (0, 4), (0, 1)])
    assert np.allclose(got.temp_c[:, 50], [30.0, 32.0, 28.0])


def test_a_reading_of_the_whole_room_speaks_for_every_level() -> None:
    got = climate([(float(h), 0, WHOLE_ROOM, 27.0) for h in range(100)], places=[(0, 1), (0, 5), (1, 1)])
    assert np.allclose(got.temp_c[:, 50], [27.0, 27.0, 30.0])


def test_the_days_to_come_follow_the_usual_hours_of_the_day_and_are_not_measured() -> None:
    rows = [(float(h), 0, 1, 28.0 + (h % 24 >= 12) * 4.0) for h in range(100)]
    got = climate(rows, places=[(0, 1)])
    assert got.temp_c[0, 24 * 6 + 3] == 28.0
    assert got.temp_c[0, 24 * 6 + 15] == 32.0
    assert not got.measured[0, 101:].any()


def test_readings_after_now_are_not_known_yet() -> None:
    rows = [(float(h), 0, 1, 28.0) for h in range(100)] + [(150.0, 0, 1, 5.0)]
    assert (climate(rows, places=[(0, 1)]).temp_c[0, 110:] == 28.0).all()


@given(st.lists(st.tuples(st.floats(0, 99), st.integers(0, 1), st.integers(-1, 4), st.floats(15, 35)), max_size=30))
def test_temperature_stays_within_what_was_measured_or_set(rows: list[tuple[float, int, int, float]]) -> None:
    got = climate(rows, places=[(0, 1), (0, 3), (1, 2)])
    known = [30.0, *(r[3] for r in rows)]
    assert np.isfinite(got.temp_c).all()
    assert min(known) - 1e-9 <= got.temp_c.min()
    assert got.temp_c.max() <= max(known) + 1e-9
