"""When to harvest, on the page of a growing lot: everybody sees the kilograms, only the owner the money."""

from __future__ import annotations

import msgspec
import pytest

from builders import small_farm
from chirr.book import actions, shelf
from chirr.desk import belief
from chirr.desk.harvest import harvest, prices_of
from chirr.records import FarmCard
from pages.conftest import Who

PRICES = {"price_per_kg": 7123.25, "feed_price_per_kg": 6117.58, "bin_day_cost": 9375.31}


@pytest.fixture
def priced(farm: None) -> None:
    """The small farm with its prices on the card."""
    card = shelf.card()
    assert card is not None
    actions.set_card(msgspec.structs.replace(card, extra=PRICES), actor=small_farm.OWNER)
    belief.forget()


@pytest.mark.parametrize("person", ["owner", "hand", "reader"])
def test_without_prices_everybody_sees_what_a_day_more_gains_and_eats(who: Who, person: str) -> None:
    text = who(person).get("/lots/G1").content.decode()
    assert "Most kilograms for each day of its bin" in text
    assert "Worth," not in text
    assert ("farm’s card" in text or "the farm's card" in text) == (person == "owner")


def test_with_prices_the_owner_sees_the_margin_and_the_others_do_not(who: Who, priced: None) -> None:
    owner = who("owner").get("/lots/G1").content.decode()
    assert "Most margin for each day of its bin" in owner
    assert "Worth, EUR" in owner
    for person in ("hand", "reader"):
        text = who(person).get("/lots/G1").content.decode()
        assert "Most kilograms for each day of its bin" in text
        assert "Worth," not in text
        assert "margin" not in text


def test_no_price_is_shown_to_any_but_the_owner(who: Who, priced: None) -> None:
    for person in ("hand", "reader"):
        for path in ("/farm", "/lots/G1", "/bins/W1-1", "/ahead", "/trays/laying", "/ahead/breeders", "/book"):
            text = who(person).get(path).content.decode().replace(",", "")
            assert not any(str(price) in text for price in PRICES.values()), (person, path)


def test_breeders_are_not_grown_for_harvest(who: Who) -> None:
    assert harvest("B1", money=True) is None
    assert "When to harvest" not in who("owner").get("/lots/B1").content.decode()


def test_the_owner_gives_the_prices_on_the_card_and_takes_them_off_again(who: Who) -> None:
    form = {
        "name": "Low Barn", "species": "acheta-domesticus", "timezone": "Europe/Dublin", "currency": "EUR",
        "swap_by": "days", "swap_every": "3", "feed_by": "days", "feed_every": "3", "substrate_cycles": "3",
        "price_per_kg": "14.5", "feed_price_per_kg": "0.9", "bin_day_cost": "",
    }  # fmt: skip
    assert who("owner").post("/farm/card", form).status_code == 302
    card = shelf.card()
    assert card is not None
    assert card.extra == {"price_per_kg": 14.5, "feed_price_per_kg": 0.9}
    assert 'value="14.5"' in who("owner").get("/farm/card").content.decode()
    who("owner").post("/farm/card", form | {"price_per_kg": "", "feed_price_per_kg": ""})
    card = shelf.card()
    assert card is not None
    assert card.extra == {}


def test_a_price_below_nothing_is_refused_beside_its_field(who: Who) -> None:
    answer = who("owner").post("/farm/card", {"name": "x", "price_per_kg": "-3"})
    assert answer.status_code == 422
    assert 'id="e-price_per_kg"' in answer.content.decode()


@pytest.mark.parametrize("extra", [{}, {"price_per_kg": "dear"}, {"price_per_kg": 0}, {"feed_price_per_kg": 1.0}])
def test_without_a_selling_price_there_is_no_margin(extra: dict[str, object]) -> None:
    assert prices_of(FarmCard(name="x", extra=extra)) is None


def test_a_lot_that_is_not_there_is_said_so(who: Who) -> None:
    with pytest.raises(LookupError, match="No lot Z9 lives"):
        harvest("Z9", money=False)
