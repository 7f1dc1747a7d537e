"""A served farm grades its forecasts once a week at night, and no more often."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from chirr.cli.weekly import DAY_S, Weekly

NOW = 1_800_000_000.0


def weekly(*, age_days: float | None, hour: int) -> tuple[Weekly, list[int]]:
    runs: list[int] = []
    last = None if age_days is None else NOW - age_days * DAY_S
    return Weekly(run=lambda: runs.append(1), last=lambda: last, hour=lambda: hour), runs


@pytest.mark.parametrize(
    ("age_days", "hour", "graded"),
    [(3, 2, False), (8, 2, True), (8, 14, False), (15, 14, True), (None, 3, True), (None, 14, False)],
)
def test_it_is_graded_at_night_when_a_week_old_and_at_any_hour_when_two(
    age_days: float | None, hour: int, graded: bool
) -> None:
    one, runs = weekly(age_days=age_days, hour=hour)
    assert one.look(NOW) is graded
    assert len(runs) == graded


def test_a_grade_that_cannot_be_made_is_tried_once_a_day() -> None:
    one, runs = weekly(age_days=None, hour=2)
    assert [one.look(NOW + minutes * 60) for minutes in (0, 15, 30, 23 * 60, 24 * 60)] == [
        True, False, False, False, True,
    ]  # fmt: skip
    assert len(runs) == 2


def test_the_module_is_the_command(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "chirr", "--farm", str(tmp_path / "none.chirr"), "grade"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode != 0
    assert "none.chirr" in run.stderr
    assert "Traceback" not in run.stderr
