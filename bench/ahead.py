"""How long looking ahead takes: some 300 occupied bins, 90 days, 1,000 draws; and how near that is to bare numpy.

It is asked half an hour after the farm's last entry, when belief has been learnt from all before. The command is timed
as a whole, from the shell's call to its last line; the answer alone, in a process that has loaded everything.

The yardstick is the time numpy takes to write one array of as many float64 as the answer rests on: alive and mean
mass of every lot on every day in every draw.
"""

from __future__ import annotations

import os
import subprocess
import sys

from farm import book
from stopwatch import Stopwatch

os.environ["CHIRR_FARM"] = str(book())

from chirr.cli.farm import open_farm

open_farm()

import numpy as np  # noqa: E402

from chirr.book import ledger  # noqa: E402
from chirr.desk import clock  # noqa: E402
from chirr.desk.ahead import ahead_json  # noqa: E402

DAYS, DRAWS, TIMES = 90, 1000, 5
COMMAND = "import time; time.time = lambda: {now}.0; from chirr.cli import main; main()"
OPTIONS = ("ahead", "--json", "--days", str(DAYS), "--draws", str(DRAWS))


def main() -> None:
    now = (ledger.last_at() or 0) + 1800
    clock.now = lambda: now
    ahead_json(None, days=DAYS, draws=DRAWS)  # learns, and leaves what it learnt for the command
    took = []
    for _ in range(TIMES):
        with Stopwatch() as once:
            answer = ahead_json(None, days=DAYS, draws=DRAWS)
        took.append(once)
    best = min(took, key=lambda once: once.wall)
    lots = len(answer["lots"])
    print(
        f"ahead: {lots} lots, {len(answer['clutches'])} clutches, {DAYS} days, {DRAWS:,} draws"
        f" | {best.wall:.2f} s, processor {best.cpu:.2f} s | under 2 s"
    )
    whole = []
    for _ in range(TIMES):
        command = [sys.executable, "-c", COMMAND.format(now=now), *OPTIONS]
        with Stopwatch() as once:
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        whole.append(once.wall)
    print(f"chirr ahead as a command, its start and the reading of the book included | {min(whole):.2f} s |")
    size, bare = lots * (DAYS + 1) * DRAWS * 2, []
    for _ in range(TIMES):
        with Stopwatch() as once:
            np.empty(size).fill(1.0)
        bare.append(once.wall)
    ratio = best.wall / min(bare)
    print(f"ahead beside numpy writing {size:,} numbers in {min(bare) * 1000:.0f} ms | {ratio:,.0f} times |")


if __name__ == "__main__":
    main()
