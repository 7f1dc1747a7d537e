"""How long a page takes on that farm, in one process: the middle one of many, and the 95th of a hundred."""

from __future__ import annotations

import os
import statistics
import time

from farm import book

os.environ["CHIRR_FARM"] = str(book())

from chirr.cli.farm import open_farm

open_farm()

from django.conf import settings  # noqa: E402
from django.test import Client  # noqa: E402

from chirr.book.models import PersonRow  # noqa: E402
from chirr.desk import people  # noqa: E402

TIMES = 40
PAGES = ("/round", "/racks", "/ahead", "/book")

settings.ALLOWED_HOSTS = ["testserver"]
owner = PersonRow.objects.filter(role="owner").first()
assert owner is not None
client = Client()
client.force_login(people.ensure_user(owner.name))

for page in PAGES:
    took = []
    for _ in range(TIMES + 1):
        start = time.perf_counter()
        answer = client.get(page)
        took.append(1000 * (time.perf_counter() - start))
        assert answer.status_code == 200, (page, answer.status_code)
    first, rest = took[0], sorted(took[1:])
    p95 = rest[int(0.95 * len(rest))]
    print(
        f"{page}: p50 {statistics.median(rest):.0f} ms, first visit {first:,.0f} ms | p95 {p95:.0f} ms | under 200 ms"
    )
