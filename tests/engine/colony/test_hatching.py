"""The hatch of a clutch in closed form, against sampling and the general delay functions."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from chirr.engine.colony.hatching import log_speed_if_first_at, offset_of_share, reading_at_share, share_hatched

ONE = np.ones(1)
WINDOWS = st.floats(min_value=0.0, max_value=0.6)
SPEEDS = st.floats(min_value=0.7, max_value=1.4)


@given(WINDOWS, SPEEDS, st.sampled_from([0.01, 0.1, 0.5, 0.9]))
def test_the_reading_of_a_share_is_where_that_share_has_hatched(window: float, speed: float, share: float) -> None:
    s, w = ONE * speed, ONE * window
    at = reading_at_share(share, speed=s, window=w, cv=0.05)
    assert np.isclose(share_hatched(at, speed=s, window=w, cv=0.05)[0], share, atol=0.004)


def test_the_share_hatched_agrees_with_a_million_single_eggs() -> None:
    rng = np.random.default_rng(3)
    n, window, speed, cv = 1_000_000, 0.24, 1.1, 0.05
    hatch = rng.uniform(0, window, n) + stats.norm(1, cv).rvs(n, random_state=rng) / speed
    readings = np.quantile(hatch, [0.01, 0.2, 0.5, 0.8, 0.99])
    got = share_hatched(readings, speed=np.full(5, speed), window=np.full(5, window), cv=cv)
    np.testing.assert_allclose(got, [0.01, 0.2, 0.5, 0.8, 0.99], atol=4 * 0.5 / np.sqrt(n))


@given(st.floats(min_value=0.75, max_value=1.4), st.floats(min_value=0.0, max_value=0.4))
def test_the_speed_of_a_first_hatch_is_the_inverse_of_its_reading(speed: float, window: float) -> None:
    reading = reading_at_share(0.01, speed=ONE * speed, window=ONE * window, cv=0.05)
    assert np.isclose(np.exp(log_speed_if_first_at(reading, window=ONE * window, cv=0.05))[0], speed, rtol=2e-3)


def test_a_hatch_while_the_tray_is_still_being_laid_has_no_speed() -> None:
    assert np.isposinf(log_speed_if_first_at(ONE * 0.05, window=ONE * 0.3, cv=0.05))[0]


def test_a_longer_window_brings_the_first_pinheads_further_ahead_of_the_middle() -> None:
    short, long = (offset_of_share(0.01, speed=ONE, window=ONE * w, cv=0.05)[0] for w in (0.05, 0.4))
    assert long < short < 0
