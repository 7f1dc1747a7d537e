"""How much work a page of that farm is for its computer: processor time in one process, on the morning after its last
day, for eight weeks later everything would be overdue.

The middle of many visits is that of a page asked for again while nothing was written; "after an entry" is that of
visits each of which follows one, so that standing and round are worked out anew. Processor time, because the time on
the wall tells how busy the machine was.
"""

from __future__ import annotations

import os
import shutil
import statistics
import tempfile
import time
from pathlib import Path

from farm import book

folder = tempfile.TemporaryDirectory()
copy = Path(folder.name) / "farm.chirr"
for part in ("", ".learnt"):
    if book().with_name(book().name + part).exists():
        shutil.copy(book().with_name(book().name + part), copy.with_name(copy.name + part))
os.environ["CHIRR_FARM"] = str(copy)

from chirr.cli.farm import open_farm  # noqa: E402 - after the book is named

open_farm()

from django.conf import settings  # noqa: E402
from django.test import Client  # noqa: E402
from uuid_utils.compat import uuid7  # noqa: E402

from chirr.book import actions, ledger  # noqa: E402
from chirr.book.models import PersonRow  # noqa: E402
from chirr.desk import clock, people  # noqa: E402
from chirr.records import Entry, Person  # noqa: E402

TIMES, ENTRIES = 40, 10
PAGES = ("/round", "/racks", "/ahead", "/book")

settings.ALLOWED_HOSTS = ["testserver"]
real, since = time.time, time.time() - (ledger.last_at() or 0) - 10 * 3600
time.time = lambda: real() - since
owner = PersonRow.objects.filter(role="owner").first()
assert owner is not None
client = Client()
client.force_login(people.ensure_user(owner.name))


def visit(page: str) -> float:
    """ms of processor time for one visit."""
    start = time.process_time()
    answer = client.get(page)
    assert answer.status_code == 200, (page, answer.status_code)
    return 1000 * (time.process_time() - start)


def write() -> None:
    """An entry of a round: a bin is fed."""
    bin_ = next(iter(ledger.live().bins))
    fed = Entry(id=str(uuid7()), at=clock.now(), deed="feed", bin=bin_, person=owner.name)
    actions.record([fed], actor=Person(person=owner.name, role="owner"))


def after_an_entry(page: str) -> float:
    write()
    return visit(page)


for page in PAGES:
    first = visit(page)
    rest = sorted(visit(page) for _ in range(TIMES))
    fresh = statistics.median(after_an_entry(page) for _ in range(ENTRIES))
    print(
        f"{page}: p50 {statistics.median(rest):.0f} ms, after an entry {fresh:.0f} ms, first visit {first:,.0f} ms"
        f" | p95 {rest[int(0.95 * TIMES)]:.0f} ms | under 200 ms"
    )
