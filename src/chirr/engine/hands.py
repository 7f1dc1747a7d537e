"""Work shared among the machine's processors: by processes where that is safe and cheap, else by threads.

NumPy works outside the interpreter's lock, but on arrays that fit a processor's cache a thread spends as long waiting
for that lock as working. A copy of the process has a lock of its own. It is made by `fork`, which takes next to no time
and carries everything over, and which is safe only while a process has no other thread: so for a command on Linux, not
for a server.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")

AT_MOST = 4
"""More hands than this would need more memory than they save time."""

_at_hand: list[Callable[[], Any]] = []
"""What the copies of this process are to work on; they find it here."""


def count() -> int:
    """How many hands there are."""
    usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return max(min(usable, AT_MOST), 1)


def share(pieces: Sequence[Callable[[], T]]) -> list[T]:
    """Do all pieces of work, as many at once as there are hands; what each gives, in order.

    A piece must not change anything that others see. What it gives may have to be pickled.
    """
    hands = min(count(), len(pieces))
    if hands < 2 or multiprocessing.parent_process() is not None:
        return [piece() for piece in pieces]
    if not _may_fork():
        with ThreadPoolExecutor(hands) as pool:
            return list(pool.map(lambda piece: piece(), pieces))
    _at_hand[:] = pieces
    try:
        with ProcessPoolExecutor(hands, mp_context=multiprocessing.get_context("fork")) as copies:
            return list(copies.map(_do, range(len(pieces))))
    finally:
        _at_hand.clear()


def _may_fork() -> bool:
    return sys.platform == "linux" and threading.active_count() == 1


def _do(number: int) -> Any:
    return _at_hand[number]()
