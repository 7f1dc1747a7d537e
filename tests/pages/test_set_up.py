"""The first run: a farm from a short form, only from the machine itself, only once."""

from __future__ import annotations

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from chirr.book import ledger
from chirr.desk import farm, people

pytestmark = pytest.mark.django_db

FORM = {
    "name": "Windy Hollow",
    "species": "gryllodes-sigillatus",
    "timezone": "America/Bogota",
    "currency": "cop",
    "room_1": "north",
    "temperature_1": "30",
    "stacks_1": "2",
    "levels_1": "3",
    "duty_1": "breeding",
    "room_2": "nook",
    "temperature_2": "31.5",
    "stacks_2": "1",
    "levels_2": "2",
    "duty_2": "nursery",
    "floor_breeding": "5000",
    "hides_breeding": "15000",
    "floor_nursery": "4000",
    "hides_nursery": "",
    "floor_grow-out": "4000",
    "swap_by": "weekdays",
    "swap_mon": "on",
    "swap_wed": "on",
    "swap_fri": "on",
    "feed_by": "days",
    "feed_every": "2",
    "owner": "Noor",
    "password": "crickets-at-nine",
    "password_again": "crickets-at-nine",
    "do": "found",
}


def test_with_no_farm_every_page_leads_to_the_set_up() -> None:
    for path in ("/", "/round", "/farm", "/sign-in"):
        assert Client().get(path, follow=True).redirect_chain[-1][0] == "/set-up"
    assert "A new farm" in Client().get("/set-up").content.decode()


def test_the_filled_form_makes_the_farm_and_signs_its_owner_in() -> None:
    client = Client()
    assert client.post("/set-up", FORM)["Location"] == "/racks"
    card = farm.card()
    assert card is not None
    assert (card.name, card.species, card.timezone, card.currency) == (
        "Windy Hollow",
        "gryllodes-sigillatus",
        "America/Bogota",
        "COP",
    )
    assert (card.swap_days, card.feed_days) == (("mon", "wed", "fri"), 2)
    assert [b.bin for b in ledger.bins()] == ["N1-1", "N1-2", "N1-3", "N2-1", "N2-2", "N2-3", "NO1-1", "NO1-2"]
    assert {b.duty for b in ledger.bins() if b.room == "nook"} == {"nursery"}
    assert people.everybody()[0][0].role == "owner"
    for path in ("/round", "/racks", "/trays", "/ahead", "/book", "/farm", "/bins/N1-1"):
        assert client.get(path).status_code == 200, path


def test_the_set_up_is_shut_once_there_is_a_farm() -> None:
    Client().post("/set-up", FORM)
    assert Client().get("/set-up").status_code == 302
    Client().post("/set-up", FORM | {"name": "Mine now", "owner": "Mallory"})
    assert farm.card().name == "Windy Hollow"  # type: ignore[union-attr]
    assert Client().post("/set-up/drawing", FORM).status_code == 403


def test_from_another_machine_the_code_of_the_server_is_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    away = {"REMOTE_ADDR": "192.0.2.7"}
    assert Client().get("/set-up", **away).status_code == 403
    assert Client().get("/set-up?code=", **away).status_code == 403
    assert Client().post("/set-up", FORM, **away).status_code == 403
    monkeypatch.setenv("CHIRR_SETUP_CODE", "amber-17")
    asked = Client().get("/", follow=True, **away)
    assert asked.status_code == 403
    assert "The farm's computer shows a code" in asked.content.decode()
    assert 'name="code"' in asked.content.decode()
    assert "This is not the code" not in asked.content.decode()
    guessed = Client().get("/set-up?code=guess", **away)
    assert guessed.status_code == 403
    assert "This is not the code" in guessed.content.decode()
    assert Client().get("/set-up?code=%20Amber-17", **away).status_code == 200, "as a phone writes it"
    assert 'value="amber-17"' in Client().get("/set-up?code=amber-17", **away).content.decode()
    assert Client().post("/set-up", FORM | {"code": "amber-17"}, **away).status_code == 302


def test_the_racks_are_drawn_before_anything_is_founded() -> None:
    html = Client().post("/set-up", FORM | {"do": "show", "owner": "", "password": ""}).content.decode()
    assert "NO1-2" in html
    assert "8 bins" in html
    assert farm.card() is None
    part = Client().post("/set-up/drawing", FORM).content.decode()
    assert part.strip().startswith('<div id="drawing"')


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"name": ""}, "Give the farm a name."),
        ({"timezone": "Bogota"}, "“Bogota” is not a time zone."),
        ({"currency": "€"}, "Write the currency as three letters"),
        ({"room_1": "", "room_2": ""}, "Name at least one room."),
        ({"room_2": "north"}, "Give each room a name of its own"),
        ({"stacks_1": "0"}, "The least that makes sense here is 1."),
        ({"levels_1": "400"}, "the most that makes sense here is 12"),
        ({"temperature_1": ""}, "Give the temperature it is set to."),
        ({"floor_breeding": ""}, "Give the floor surface of a bin for this duty."),
        ({"swap_mon": "", "swap_wed": "", "swap_fri": ""}, "Tick at least one weekday."),
        ({"owner": ""}, "Give your name."),
        ({"password": "short", "password_again": "short"}, "This password is too short."),
        ({"password_again": "another"}, "The two passwords differ."),
    ],
)
def test_each_gap_in_the_set_up_gets_one_sentence_and_no_farm_is_made(change: dict[str, str], words: str) -> None:
    from html import unescape

    answer = Client().post("/set-up", FORM | change)
    assert answer.status_code == 422
    assert words in unescape(answer.content.decode())
    assert farm.card() is None


@given(st.dictionaries(st.sampled_from(sorted(FORM)), st.text(max_size=20)))
def test_whatever_is_typed_the_racks_can_be_drawn(change: dict[str, str]) -> None:
    plan, faults = farm.plan_from_form(FORM | change)
    assert all(words.endswith(".") for words in faults.values())
    names = [b.bin for b in plan.bins]
    assert len(names) == len(set(names))
