"""The most memory that a process and its copies held at once, pages held in common counted once (Linux)."""

from __future__ import annotations

import os
import select
import subprocess
import sys
from pathlib import Path

EVERY_S = 0.2


class MostMemory:
    """`with MostMemory() as held: ...` leaves `held.gb`; another process looks on, for a thread would keep this one
    from sharing its work."""

    gb = 0.0

    def __enter__(self) -> MostMemory:
        pipe = subprocess.PIPE
        self._watch = subprocess.Popen([sys.executable, __file__, str(os.getpid())], stdin=pipe, stdout=pipe)
        return self

    def __exit__(self, *_: object) -> None:
        told, _ = self._watch.communicate(b"end\n")
        self.gb = float(told)


def held_kb(process: int) -> int:
    """Its part of the memory in use [kB]: pages of its own, and its share of those in common."""
    try:
        lines = Path(f"/proc/{process}/smaps_rollup").read_text().splitlines()
    except OSError:  # it has ended
        return 0
    return next((int(line.split()[1]) for line in lines if line.startswith("Pss:")), 0)


def children(process: int) -> list[int]:
    try:
        return [int(n) for n in Path(f"/proc/{process}/task/{process}/children").read_text().split()]
    except OSError:
        return []


def watch(process: int) -> None:
    """Look on until something is written to standard input, then print the most [GB]."""
    most, me = 0, os.getpid()
    while not select.select([sys.stdin], [], [], EVERY_S)[0]:
        family = [process, *(c for c in children(process) if c != me)]
        most = max(most, sum(held_kb(p) for p in family))
    print(most / 1e6)


if __name__ == "__main__":
    watch(int(sys.argv[1]))
