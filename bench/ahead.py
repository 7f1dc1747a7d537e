"""How long looking ahead takes: some 300 occupied bins, 90 days, 1,000 draws; and how near that is to bare numpy.

The yardstick is the time numpy takes to write one array of as many float64 as the answer rests on: alive and mean
mass of every lot on every day in every draw.
"""

from __future__ import annotations

import os
import time

from farm import book

os.environ["CHIRR_FARM"] = str(book())

from chirr.cli.farm import open_farm

open_farm()

import numpy as np  # noqa: E402

from chirr.book import ledger  # noqa: E402
from chirr.desk.ahead import ahead_json  # noqa: E402

DAYS, DRAWS = 90, 1000

start = time.perf_counter()
ledger.live()
print(f"the farm as it stands, the book just opened | {time.perf_counter() - start:.2f} s |")

start, cpu = time.perf_counter(), time.process_time()
answer = ahead_json(None, days=DAYS, draws=DRAWS)
took, cpu = time.perf_counter() - start, time.process_time() - cpu
lots = len(answer["lots"])
print(
    f"ahead: {lots} lots, {len(answer['clutches'])} clutches, {DAYS} days, {DRAWS:,} draws"
    f" | {took:.2f} s, processor {cpu:.2f} s | under 2 s"
)

size = lots * (DAYS + 1) * DRAWS * 2
best = float("inf")
for _ in range(5):
    start = time.perf_counter()
    np.empty(size).fill(1.0)
    best = min(best, time.perf_counter() - start)
print(f"ahead beside numpy writing {size:,} numbers in {best * 1000:.0f} ms | {took / best:,.0f} times |")
