"""Work shared among the machine's processors by copies of the process.

Threads would gain little: NumPy works outside the interpreter's lock, but on arrays that fit a processor's cache a
thread spends as long waiting for that lock as working. A copy has a lock of its own. It is made by `fork`, which takes
next to no time and carries everything over, and which is safe only while a process has no other thread: so for a
command on Linux. A server, and other systems, work with one hand.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")

AT_MOST = 4
"""More hands than this would need more memory than they save time."""

_at_hand: list[Callable[[], Any]] = []
"""What the copies of this process are to work on; they find it here."""


def count() -> int:
    """How many hands there are now: 1 where work cannot be shared."""
    if sys.platform != "linux" or threading.active_count() > 1 or multiprocessing.parent_process() is not None:
        return 1
    return max(min(len(os.sched_getaffinity(0)), AT_MOST), 1)


def share(pieces: Sequence[Callable[[], T]]) -> list[T]:
    """Do all pieces of work, as many at once as there are hands; what each gives, in order.

    A piece must not change anything that others see. What it gives may have to be pickled.
    """
    hands = min(count(), len(pieces))
    if hands < 2:
        return [piece() for piece in pieces]
    _at_hand[:] = pieces
    try:
        with ProcessPoolExecutor(hands, mp_context=multiprocessing.get_context("fork")) as copies:
            return list(copies.map(_do, range(len(pieces))))
    finally:
        _at_hand.clear()


def _do(number: int) -> Any:
    return _at_hand[number]()
