"""Three people and an outsider at the doors of a small farm."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from builders import small_farm
from chirr.book import ledger
from chirr.desk import belief, clock

Who = Callable[[str], Client]


@pytest.fixture(autouse=True)
def _quick_and_clean(settings: object, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Cheap password hashes, the farm's clock standing still, nothing kept from the book of another test."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # type: ignore[attr-defined]
    monkeypatch.setattr(clock, "now", lambda: small_farm.NOW)
    # no thread works beside the transaction of a test
    monkeypatch.setattr(belief, "_beside", lambda key, *_: belief._busy.discard(key))
    ledger.forget()
    belief.forget()
    yield
    ledger.forget()
    belief.forget()


@pytest.fixture
def farm(db: None) -> None:
    """The small farm in the book."""
    small_farm.found()


@pytest.fixture
def who(farm: None) -> Who:
    """A browser for owner, hand, reader, stranger (signed in, not on the list) or outsider (not signed in)."""

    def browser(name: str) -> Client:
        client = Client()
        users = get_user_model().objects
        if name == "stranger":
            client.force_login(users.create_user(username="stranger"))
        elif name != "outsider":
            person = {"owner": small_farm.OWNER, "hand": small_farm.HAND, "reader": small_farm.READER}[name]
            client.force_login(users.get(username=person.person))
        return client

    return browser
