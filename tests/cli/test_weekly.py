"""A served farm grades its forecasts once a week at night, and no more often."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
import pytest

from builders import small_farm
from chirr.book import actions
from chirr.cli import weekly
from chirr.cli.weekly import DAY_S, Last, Weekly
from chirr.desk import kept_grade
from chirr.desk.grade_report import Grade

NOW = 1_800_000_000.0
LISBON = ZoneInfo("Europe/Lisbon")
"""Summer time begins there on Sunday 30 March 2031 at one in the night, when it becomes two at once, and ends on Sunday
26 October 2031 (the rule of the European Union, directive 2000/84/EC)."""


def asked(last: Last | None, *, hour: int) -> tuple[Weekly, list[int]]:
    runs: list[int] = []
    return Weekly(run=lambda: runs.append(1), last=lambda: last, hour=lambda _: hour), runs


@pytest.mark.parametrize(
    ("age_days", "hour", "graded"), [(3, 2, False), (8, 2, True), (8, 14, False), (8, 5, False), (15, 14, True)]
)
def test_it_is_graded_at_night_when_a_week_old_and_at_any_hour_when_two(
    age_days: float, hour: int, graded: bool
) -> None:
    one, runs = asked(Last(NOW - age_days * DAY_S, graded=True), hour=hour)
    assert one.look(NOW) is graded
    assert len(runs) == graded


@pytest.mark.parametrize(("days_long_enough", "hour", "graded"), [(0, 3, True), (0, 14, False), (15, 14, True)])
def test_the_first_grade_comes_in_the_first_night_or_two_weeks_later_at_any_hour(
    days_long_enough: float, hour: int, graded: bool
) -> None:
    one, _ = asked(Last(NOW - days_long_enough * DAY_S, graded=False), hour=hour)
    assert one.look(NOW) is graded


def test_a_book_that_is_too_short_is_not_graded() -> None:
    one, _ = asked(None, hour=2)
    assert not one.look(NOW)


def test_a_grade_that_cannot_be_made_is_tried_once_a_day() -> None:
    one, runs = asked(Last(NOW - 1, graded=False), hour=2)
    assert [one.look(NOW + minutes * 60) for minutes in (0, 15, 30, 23 * 60, 24 * 60)] == [
        True, False, False, False, True,
    ]  # fmt: skip
    assert len(runs) == 2


@dataclass
class Nights:
    """A server on a farm in Lisbon over some weeks. `on`: whether it runs at a time; a grade takes twenty minutes."""

    start: datetime
    days: int
    on: Callable[[datetime], bool] = lambda _: True
    made: list[datetime] = field(default_factory=list)
    last: Last | None = None

    def run(self, last: datetime) -> list[datetime]:
        """When it was graded."""
        self.last, now, up = Last(last.timestamp(), graded=True), self.start.timestamp(), None
        end = now + self.days * DAY_S
        while now < end:
            here = datetime.fromtimestamp(now, LISBON)
            if not self.on(here):
                up, now = None, now + 60
                continue
            if up is None:  # started: the first look comes a quarter of an hour later
                up, now = Weekly(run=lambda: None, last=lambda: self.last, hour=self._hour), now + 900
                continue
            if up.look(now):
                self.made.append(here)
                now += 1200
                self.last = Last(now, graded=True)
            now += 900
        return self.made

    @staticmethod
    def _hour(now: float) -> int:
        return datetime.fromtimestamp(now, LISBON).hour


def at(year: int, month: int, day: int, hour: int = 12, minute: int = 0) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=LISBON)


@pytest.mark.parametrize(
    ("start", "what"), [(at(2031, 3, 10), "into summer time"), (at(2031, 10, 6), "out of summer time")]
)
@pytest.mark.parametrize("minute", [0, 7, 14])
def test_it_is_graded_each_week_at_night_across_a_change_of_the_clocks(start: datetime, what: str, minute: int) -> None:
    for hour in (1, 2, 4):  # whatever the hour of the last one
        last = start.replace(hour=hour, minute=50)
        made = Nights(start.replace(minute=minute), days=42).run(last)
        assert all(m.hour in (1, 2, 3, 4) for m in made), what
        days = [(b.date() - a.date()).days for a, b in pairwise([last, *made])]
        assert set(days) <= {7, 8}, what
        assert len(made) >= 5


@pytest.mark.parametrize("started", [at(2031, 3, 29, 0, 50), at(2031, 3, 30, 0, 50), at(2031, 3, 30, 4, 40)])
def test_a_server_started_just_before_or_within_the_small_hours_grades_in_the_same_night(started: datetime) -> None:
    (made, *_) = Nights(started, days=2).run(at(2031, 3, 15))
    assert made.date() == started.date()


def test_one_started_at_their_very_end_grades_in_the_next_night() -> None:
    (made, *_) = Nights(at(2031, 3, 29, 4, 50), days=3).run(at(2031, 3, 20))
    assert (made.date(), made.hour) == (at(2031, 3, 30).date(), 2), "one in the night there is none that day"


def test_a_computer_that_is_off_at_night_grades_every_second_week_by_day() -> None:
    made = Nights(at(2031, 3, 1, 7), days=60, on=lambda t: 7 <= t.hour < 20).run(at(2031, 3, 1, 7))
    assert len(made) == 4
    assert all((b - a).days == 14 for a, b in pairwise(made))


@pytest.fixture
def book(db: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the small farm's grade is kept."""
    monkeypatch.setattr("django.db.connection.close", lambda: None)  # the test's own transaction
    path = tmp_path / "book.grade.json"
    monkeypatch.setattr(kept_grade, "kept_path", lambda: path)
    small_farm.found()
    return path


def test_a_book_of_thirty_days_is_too_short_and_one_of_ten_weeks_is_long_enough(book: Path) -> None:
    assert weekly._last() is None
    late = msgspec.structs.replace(small_farm.entries()[-1], id=small_farm.entry_id(90), at=small_farm.day(70))
    actions.record([late], actor=small_farm.HAND)
    assert weekly._last() == Last(small_farm.day(64), graded=False)


def test_a_grade_dated_far_ahead_by_a_mistaken_entry_is_as_old_as_its_file(book: Path) -> None:
    report = Grade(
        made_at=small_farm.NOW + 400 * DAY_S, farm="Low Barn", first_entry=kept_grade.first_entry_id(), asked=(),
        draws=400, kinds=(), drift=(),
    )  # fmt: skip
    book.write_bytes(msgspec.json.encode(report))
    os.utime(book, (NOW, NOW))
    assert weekly._last() == Last(NOW, graded=True)


def test_the_hour_is_that_of_the_clock_on_the_wall_of_the_farm(book: Path) -> None:
    dublin = datetime(2031, 3, 30, 2, 30, tzinfo=ZoneInfo("Europe/Dublin"))
    assert weekly._hour(dublin.timestamp()) == 2


def test_the_module_is_the_command(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "chirr", "--farm", str(tmp_path / "none.chirr"), "grade"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode != 0
    assert "none.chirr" in run.stderr
    assert "Traceback" not in run.stderr
