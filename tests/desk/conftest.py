"""Every test of the desk begins with nothing kept in memory from the book of another."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from chirr.book import ledger


@pytest.fixture(autouse=True)
def _forget_the_book(request: pytest.FixtureRequest) -> Iterator[None]:
    if "db" in request.fixturenames or "transactional_db" in request.fixturenames:
        ledger.forget()
    yield
    if "db" in request.fixturenames or "transactional_db" in request.fixturenames:
        ledger.forget()
