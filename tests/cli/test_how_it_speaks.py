"""Figures, bands and tables as the command prints them."""

from __future__ import annotations

import pytest

from chirr.cli import say
from chirr.cli.asking import amount_of_minutes
from chirr.cli.moving import _lines

Q = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (0.1234, "0.12"),
        (12.34, "12.3"),
        (123.4, "123"),
        (1234.0, "1,230"),
        (98765.0, "98,800"),
        (float("nan"), "?"),
    ],
)
def test_a_figure_has_no_more_digits_than_it_can_bear(value: float, text: str) -> None:
    assert say.amount(value) == text


def test_a_band_is_the_middle_with_eight_chances_in_ten() -> None:
    assert say.band([1, 2, 3, 4, 5, 6, 7], Q) == "4.00 (2.00 to 6.00)"
    assert say.band(None, Q) == ""


def test_a_window_beyond_the_days_looked_at_is_left_open() -> None:
    times = [f"2031-05-0{d}T10:00+02:00" for d in (1, 2, 3, 4, 5)] + [None, None]
    assert say.window(times[3:4] * 7, Q) == "Sun 04 May", "a window within one day is that day"
    assert say.window(times, Q) == "Sun 04 May (02 May to ...)"


def test_a_table_off_a_terminal_is_aligned_plain_text(capsys: pytest.CaptureFixture[str]) -> None:
    say.table("Bins", ("bin", "min"), [("A1", "2.5"), ("B12", "10.0")], right=("min",))
    assert capsys.readouterr().out == "Bins\n  bin   min\n  A1    2.5\n  B12  10.0\n\n"


def test_minutes_become_hours_when_there_are_many() -> None:
    assert (amount_of_minutes(45.4), amount_of_minutes(125.0)) == ("45 min", "2 h 05 min")


def test_runs_of_lines_are_joined() -> None:
    assert _lines([3, 7, 8, 9, 12]) == "3, 7-9, 12"
