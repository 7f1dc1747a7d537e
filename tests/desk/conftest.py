"""Every test of the desk begins with nothing kept in memory from the book of another."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from builders import small_farm
from chirr.book import ledger
from chirr.desk import belief, clock


@pytest.fixture(autouse=True)
def _forget_the_book(request: pytest.FixtureRequest) -> Iterator[None]:
    if "db" in request.fixturenames or "transactional_db" in request.fixturenames:
        ledger.forget()
    yield
    if "db" in request.fixturenames or "transactional_db" in request.fixturenames:
        ledger.forget()


@pytest.fixture
def small_farm_now(db: None, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The small farm at its own hour; nothing is believed anew beside the tests."""
    monkeypatch.setattr(clock, "now", lambda: small_farm.NOW)
    monkeypatch.setattr(belief, "_beside", lambda key, *_: belief._busy.discard(key))
    belief.forget()
    small_farm.found()
    yield
    belief.forget()
