"""While the pages are served, the forecasts are graded once a week in the small hours, so that drift is told unasked.

A process of its own does it, at low priority, so that nobody at the pages waits for it.
"""

from __future__ import annotations

import atexit
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

DAY_S = 86400
SMALL_HOURS = range(1, 5)
EACH_S, LATEST_S, AGAIN_S = 7 * DAY_S, 14 * DAY_S, DAY_S
"""Graded when the last grade is so old and it is night; at any hour from the second on, for a computer that is off at
night; tried again no sooner than the third."""
_LOOK_S = 900


@dataclass(frozen=True, slots=True)
class Last:
    """When the forecasts were last graded, or since when they could have been but never were [epoch s]."""

    at: float
    graded: bool


@dataclass(slots=True)
class Weekly:
    """When to grade. run: does it; last: None while the book is too short; hour: that of a time on the farm's clock."""

    run: Callable[[], None]
    last: Callable[[], Last | None]
    hour: Callable[[float], int]
    tried: float = field(default=0.0)

    def look(self, now: float) -> bool:
        """Grade if it is time; whether it was."""
        if now - self.tried < AGAIN_S:
            return False
        last = self.last()
        if last is None:
            return False
        age = now - last.at
        if age < LATEST_S and not (self.hour(now) in SMALL_HOURS and (age >= EACH_S or not last.graded)):
            return False
        self.tried = now
        self.run()
        return True


def grade_weekly(book: Path) -> None:
    """Watch over the grades of a book from now on, beside the server; needs no thanks and never fails it."""
    weekly = Weekly(run=lambda: _run(book), last=_last, hour=_hour)
    threading.Thread(target=_watch, args=(weekly,), name="weekly grade", daemon=True).start()


def _watch(weekly: Weekly) -> None:
    while True:
        time.sleep(_LOOK_S)
        try:
            weekly.look(time.time())
        except Exception as error:  # noqa: BLE001 - a grade that cannot be made now must not end the watch
            print(f"The weekly grade could not be made: {error}", file=sys.stderr)  # noqa: T201


def _last() -> Last | None:
    from django.db import connection

    from chirr.desk.kept_grade import kept, kept_path, long_enough_since

    try:
        report, path = kept(), kept_path()
        if report is None or path is None:
            since = long_enough_since()
            return None if since is None else Last(since, graded=False)
        # it is dated by the book's clock, which a mistaken entry may have put far ahead
        return Last(min(float(report.made_at), path.stat().st_mtime), graded=True)
    finally:
        connection.close()


def _hour(now: float) -> int:
    from django.db import connection

    from chirr.desk import clock

    try:
        return clock.local(now).hour
    finally:
        connection.close()


def _run(book: Path) -> None:
    """Grade, and wait until it is done; the grade ends with the server."""
    command = [sys.executable, "-m", "chirr", "--farm", str(book), "grade"]
    if os.name == "posix":
        command = ["nice", "-n", "15", *command]
    nowhere = subprocess.DEVNULL
    going = subprocess.Popen(command, stdin=nowhere, stdout=nowhere, stderr=nowhere)  # noqa: S603 - our own command
    atexit.register(going.terminate)
    going.wait()
    atexit.unregister(going.terminate)
