"""Degree-days against published tables and hand arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.engine.biology.degree_days import heating_degree_days, simple_average, single_sine, single_triangle
from chirr.engine.biology.rate_models import threshold_and_degree_days
from chirr.engine.errors import EngineError

# Published: TrenchR package test data, degree-days-single-sine.csv and degree-days-single-triangle.csv (output of the
# University of California Statewide IPM Program's calculator, station OJAI.C, 2016), rounded to 2 decimals. Lower 12,
# upper 33 degC, horizontal cutoff: confirmed by all 366 rows. The year totals (sine 2095.87, triangle 2026.74) need the
# whole files, which are not kept here; every row quoted is checked.
OJAI_2016 = [
    # date, min, max, sine, triangle
    ("2016-01-01", 7.8, 19.4, 2.72, 2.36),
    ("2016-01-02", 4.4, 22.2, 3.51, 2.92),
    ("2016-01-03", 3.3, 18.9, 2.05, 1.53),
    ("2016-01-04", 10.0, 21.7, 4.21, 4.02),
    ("2016-01-05", 6.1, 15.0, 0.77, 0.51),
    ("2016-02-05", 15.0, 23.9, 7.45, 7.45),
    ("2016-02-06", 16.1, 26.1, 9.10, 9.10),
    ("2016-02-07", 18.3, 28.9, 11.60, 11.60),
    ("2016-02-08", 3.9, 20.0, 2.54, 1.99),
    ("2016-04-06", 10.6, 34.4, 10.50, 10.50),
    ("2016-09-26", 14.4, 39.4, 13.49, 14.08),
]

# Computed from the closed form (numpy 2.4.6); the horizontal values of the first, second, third, fifth and sixth row
# are also published to 2 decimals (TrenchR package tests). Its 5 for the sine of (35, 40) is a fault there: 21.
SIX_POSITIONS = [
    # min, max, (sine horizontal, intermediate), (triangle horizontal, intermediate); thresholds 12 and 33
    (7, 14, (0.4681, 0.4681), (0.2857, 0.2857)),
    (7, 10, (0, 0), (0, 0)),
    (13, 14, (1.5, 1.5), (1.5, 1.5)),
    (7, 20, (2.8744, 2.8744), (2.4615, 2.4615)),
    (13, 40, (12.9443, 11.3887), (13.5926, 12.6852)),
    (7, 40, (10.9397, 9.5402), (11.1364, 10.3939)),
    (35, 40, (21.0, 16.5), (21.0, 16.5)),
    (33, 40, (21.0, 17.5), (21.0, 17.5)),
    (12, 33, (10.5, 10.5), (10.5, 10.5)),
    (0, 12, (0, 0), (0, 0)),
]


@pytest.mark.parametrize(("date", "low", "high", "sine", "triangle"), OJAI_2016)
def test_a_day_at_ojai_matches_the_uc_ipm_calculator(date, low, high, sine, triangle):
    assert single_sine(low, high, 12, 33) == pytest.approx(sine, abs=0.0051)
    assert single_triangle(low, high, 12, 33) == pytest.approx(triangle, abs=0.0051)


def test_hot_days_at_ojai_tell_the_cutoffs_apart():
    """The same data: on days above 33 degC only the horizontal cutoff reproduces the calculator."""
    assert single_sine(14.4, 39.4, 12, 33) == pytest.approx(13.49, abs=0.0051)
    for cutoff in ("intermediate", "none"):
        assert abs(single_sine(14.4, 39.4, 12, 33, cutoff=cutoff) - 13.49) > 0.5


@pytest.mark.parametrize(("low", "high", "sine", "triangle"), SIX_POSITIONS)
def test_every_position_of_the_thresholds_matches_the_closed_form(low, high, sine, triangle):
    for i, cutoff in enumerate(("horizontal", "intermediate")):
        assert single_sine(low, high, 12, 33, cutoff=cutoff) == pytest.approx(sine[i], abs=0.0005)
        assert single_triangle(low, high, 12, 33, cutoff=cutoff) == pytest.approx(triangle[i], abs=0.0005)


def test_cricket_like_thresholds_match_the_closed_form():
    """Lower 16, upper 38 degC; computed from the closed form (numpy 2.4.6) that reproduced the table above."""
    low, high = [24, 10, 28, 10], [32, 26, 41, 41]
    np.testing.assert_allclose(single_sine(low, high, 16, 38), [12.0, 3.6265, 17.8731, 10.2434], atol=5e-4)
    np.testing.assert_allclose(single_triangle(low, high, 16, 38), [12.0, 3.1250, 18.1538, 9.9355], atol=5e-4)


def test_a_fine_sum_over_a_sine_wave_agrees_with_the_closed_form():
    """A second method: the mean over 200,000 moments of the day itself."""
    moments = np.sin(2 * np.pi * (np.arange(200_000) + 0.5) / 200_000)
    for low, high in [(7, 14), (13, 40), (7, 40), (24, 32)]:
        temp = (low + high) / 2 + (high - low) / 2 * moments
        assert single_sine(low, high, 12, 33) == pytest.approx(np.clip(temp - 12, 0, 21).mean(), abs=1e-6)


def test_simple_average_matches_the_citrus_table():
    """64 degF less a threshold of 53 degF is 11 degF-days (University of California Statewide IPM Program)."""
    assert simple_average(64.0, 64.0, 53.0) == 11.0
    assert simple_average(56.0, 72.0, 53.0) == 11.0


def test_heating_degree_days_follow_the_rules_of_the_irish_weather_service():
    """Base 15.5 degC; rule published (Met Eireann, degree days; minus signs restored from memory), values by hand."""
    low, high = [4, 8, 5, 14, 16], [12, 18, 17, 20, 25]
    np.testing.assert_array_equal(heating_degree_days(low, high), [7.5, 3.125, 4.875, 0.375, 0.0])


def test_straight_lines_give_the_published_thresholds():
    """Parameters: Hilbert & Logan 1983; Jarosik et al. 2011 from Gregg 1983 (both in the devRate package data)."""
    assert threshold_and_degree_days(-0.05368, 0.00244) == pytest.approx((22.0, 409.8), abs=0.05)
    assert threshold_and_degree_days(-0.042608696, 0.002173913) == pytest.approx((19.60, 460.0), abs=0.05)


temps = st.floats(-10, 50).map(lambda t: round(t, 2))


@given(temps, temps)
def test_a_day_between_the_thresholds_is_its_mean_less_the_lower_one(a, b):
    low, high = sorted((12 + abs(a) % 21, 12 + abs(b) % 21))
    for method in (single_sine, single_triangle):
        assert method(low, high, 12, 33) == pytest.approx((low + high) / 2 - 12, abs=1e-9)


@given(temps, temps)
def test_sine_is_never_below_triangle_when_only_the_lower_threshold_is_crossed(a, b):
    low, high = sorted((a, min(b, 33)))
    if high <= 33:
        assert single_sine(low, high, 12, 33) >= single_triangle(low, high, 12, 33) - 1e-9


@given(temps, temps)
def test_cutoffs_are_areas_above_the_thresholds(a, b):
    low, high = sorted((a, b))
    for method in (single_sine, single_triangle):
        above_lower, above_upper = method(low, high, 12, 99, cutoff="none"), method(low, high, 33, 99, cutoff="none")
        assert method(low, high, 12, 33) == pytest.approx(above_lower - above_upper, abs=1e-9)
        expected = max(above_lower - 2 * above_upper, 0)
        assert method(low, high, 12, 33, cutoff="intermediate") == pytest.approx(expected, abs=1e-9)


@given(temps, temps)
def test_a_degree_warmer_never_gives_fewer_degree_days(a, b):
    low, high = sorted((a, b))
    for method in (single_sine, single_triangle):
        assert method(low + 1, high + 1, 12, 33) >= method(low, high, 12, 33) - 1e-9


def test_missing_temperatures_stay_missing():
    for value in (single_sine(np.nan, 20, 12, 33), single_triangle(8, np.nan, 12, 33), heating_degree_days(np.nan, 9)):
        assert np.isnan(value)


def test_swapped_temperatures_are_refused_in_plain_words():
    with pytest.raises(EngineError, match=r"at \[1\] is 20 and the highest 10. Check whether they are swapped"):
        single_sine([5, 20], [9, 10], 12, 33)
