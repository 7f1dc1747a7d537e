"""Wage, prices, currency and margin are the owner's: every page and every file for machines, as each person."""

from __future__ import annotations

import re
from collections.abc import Iterator

import msgspec
import pytest
from django.test import Client

from builders import small_farm
from chirr.book import actions, shelf
from chirr.desk import devices, people
from chirr.records import Entry
from pages.conftest import Who
from pages.test_doors import GETS

pytestmark = pytest.mark.django_db
MONEY = {"wage": 9173.61, "price_per_kg": 7741.37, "feed_price_per_kg": 6612.29, "bin_day_cost": 5358.83}
TELLING = re.compile(rb"9[,.  ]?173[.,]61|7[,.  ]?741[.,]37|6[,.  ]?612[.,]29|5[,.  ]?358[.,]83|4[,.  ]?242[.,]42|XTS")
"""The farm's figures in any way of writing them, with more digits than a forecast has, so that none of them is one by
chance; and its currency: XTS is kept for tests by ISO 4217."""


@pytest.fixture(autouse=True)
def prices(farm: None) -> None:
    """The small farm with prices on its card, and an entry with a price in a column of the farm's own."""
    card = shelf.card()
    assert card is not None
    extra = {k: v for k, v in MONEY.items() if k != "wage"}
    actions.set_card(msgspec.structs.replace(card, currency="XTS", extra=extra), actor=small_farm.OWNER)
    bought = Entry(
        id=small_farm.entry_id(70), at=small_farm.NOW - 3600, person="Aoife", deed="note", bin="W1-1", note="feed came",
        extra={"paid": "4242.42"},
    )  # fmt: skip
    actions.record([bought], actor=small_farm.OWNER)


def addresses() -> Iterator[str]:
    for path, _ in GETS.values():
        yield path
    yield f"/book/{small_farm.entry_id(70)}"
    yield f"/book/{small_farm.entry_id(70)}/replace"
    yield "/ahead/promise?amount=10&unit=kg&size_class=big&day=2027-04-10"
    yield "/lots/B1"
    yield "/round?day=2027-04-03&all=1"


def test_the_owner_sees_the_money_so_that_this_test_could_fail(who: Who) -> None:
    seen = who("owner").get("/farm/card").content + who("owner").get("/farm").content
    for figure in (b"9173.61", b"7741.37", b"6612.29", b"5358.83", b"XTS"):
        assert figure in seen
    assert b"XTS" in who("owner").get("/lots/G1").content


@pytest.mark.parametrize("person", ["hand", "reader"])
def test_no_page_and_no_file_shows_money_to(who: Who, person: str) -> None:
    client = who(person)
    looked = 0
    for path in addresses():
        answer = client.get(path)
        if answer.status_code != 200:
            continue
        looked += 1
        body = answer.getvalue()
        found = TELLING.search(body)
        assert found is None, (person, path, found)
    assert looked > 25


def test_nor_to_an_owner_who_came_in_by_pin(farm: None) -> None:
    owner = small_farm.OWNER
    people.set_password(owner.person, small_farm.PASSWORD, actor=owner)
    devices.set_pin(owner, "8302", "8302")
    client = Client()
    client.post("/sign-in", {"name": owner.person, "password": small_farm.PASSWORD})
    client.post("/sign-out")
    assert client.post("/switch", {"person": owner.person, "pin": "8302"}).status_code == 302
    for path in addresses():
        answer = client.get(path)
        assert answer.status_code != 500
        assert TELLING.search(b"" if answer.streaming else answer.content) is None, path


def test_nor_in_a_calendar_that_anybody_with_the_address_reads(who: Who) -> None:
    page = who("owner").post("/calendars", {"name": "office"}, follow=True).content.decode()
    path = re.search(r"/calendar/[\w-]{43}\.ics", page)[0]  # type: ignore[index]
    assert TELLING.search(Client().get(path).content) is None
