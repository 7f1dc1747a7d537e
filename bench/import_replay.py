"""How long an import of 200,000 entries and 200,000 readings takes, and a replay of the book from its first entry."""

from __future__ import annotations

import os
import time

from farm import BOOK, folder

source = folder()
for ending in ("", "-wal", "-shm", ".key"):
    BOOK.with_name(BOOK.name + ending).unlink(missing_ok=True)
os.environ["CHIRR_FARM"] = str(BOOK)

from chirr.cli.farm import open_farm  # noqa: E402 - after the book is named

open_farm(create=True)

from chirr.book import ledger  # noqa: E402
from chirr.desk.transfer import import_folder  # noqa: E402

start, cpu = time.perf_counter(), time.process_time()
report = import_folder(source)
took, cpu = time.perf_counter() - start, time.process_time() - cpu
assert report.written, report.faults[:3]
print(
    f"import of {report.new_entries:,} entries and {report.new_readings:,} readings"
    f" | {took:.1f} s, processor {cpu:.1f} s | under 30 s"
)

start, cpu = time.perf_counter(), time.process_time()
standing = ledger.replayed()
took, cpu = time.perf_counter() - start, time.process_time() - cpu
occupied = sum(1 for b in standing.bins.values() if b.lots)
print(
    f"replay of {standing.entries:,} entries ({occupied} bins occupied at the end)"
    f" | {took:.1f} s, processor {cpu:.1f} s |"
)
