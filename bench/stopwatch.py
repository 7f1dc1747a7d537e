"""What a piece of work takes: seconds on the wall, and processor seconds of this process and the copies it made."""

from __future__ import annotations

import os
import time
from types import TracebackType


class Stopwatch:
    """`with Stopwatch() as took: ...` leaves `took.wall` and `took.cpu` in seconds."""

    wall = cpu = 0.0

    def __enter__(self) -> Stopwatch:
        self._wall, self._cpu = time.perf_counter(), sum(os.times()[:4])
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.wall, self.cpu = time.perf_counter() - self._wall, sum(os.times()[:4]) - self._cpu
