"""How soon an entry shows in what is believed of the lot it touches, on the timed farm, beside believing all anew.

Counts of living lots, one after the other, each a little below what is believed. Nothing else is believed meanwhile.
"""

from __future__ import annotations

import os
import shutil
import statistics
import time

from farm import HERE, book

COPY = HERE / "entry.chirr"
ENTRIES = 12

shutil.copy(book(), COPY)
os.environ["CHIRR_FARM"] = str(COPY)

from chirr.cli.farm import open_farm, remove_book  # noqa: E402

open_farm()

import numpy as np  # noqa: E402
from uuid_utils.compat import uuid7  # noqa: E402

from chirr.book import actions, ledger, shelf  # noqa: E402
from chirr.desk import belief, clock  # noqa: E402
from chirr.records import Entry, Person  # noqa: E402

_SINCE = time.time() - (ledger.last_at() or 0) - 3600
clock.now = lambda: int(time.time() - _SINCE)  # the hour after the farm's last entry
belief._beside = lambda key, *_: belief._busy.discard(key)  # the whole is believed anew here, when asked


def main() -> None:
    who = Person(person=shelf.people()[0].person, role="owner")
    before = belief.foresight()
    before.ground.place  # noqa: B018 - worked out with the whole, not with the first entry
    lots = [name for name, b in before.beliefs.lots.items() if not b.waiting and b.alive.mid > 200]
    took, busy = [], []
    for lot in np.random.default_rng(1).permutation(lots)[:ENTRIES].tolist():
        quantity = round(0.9 * before.beliefs.lots[lot].alive.mid)
        count = Entry(
            id=str(uuid7()), at=clock.now(), deed="count", person=who.person, lot=lot, quantity=quantity,
            unit="crickets", cv=0.15,
        )  # fmt: skip
        actions.record([count], actor=who)
        ledger.live()
        start, cpu = time.perf_counter(), time.process_time()
        after = belief.beliefs().lots[lot].alive.mid
        took.append(time.perf_counter() - start)
        busy.append(time.process_time() - cpu)
        assert after != before.beliefs.lots[lot].alive.mid
    start, cpu = time.perf_counter(), time.process_time()
    belief.foresee()
    whole, whole_cpu = time.perf_counter() - start, time.process_time() - cpu
    print(
        f"an entry to what is believed of its lot, {ENTRIES} counts | {statistics.median(took) * 1000:.0f} ms in the"
        f" middle, {max(took) * 1000:.0f} at worst; processor {statistics.median(busy) * 1000:.0f} | under 200 ms"
    )
    print(
        f"believing the whole farm anew | {whole:.1f} s, processor {whole_cpu:.1f} s:"
        f" {whole_cpu / statistics.median(busy):.0f} times as long |"
    )


if __name__ == "__main__":
    try:
        main()
    finally:
        remove_book(COPY)
