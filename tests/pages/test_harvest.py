"""When to harvest, on the page of a growing lot: everybody sees the kilograms, only the owner the money."""

from __future__ import annotations

import msgspec
import pytest

from builders import small_farm
from chirr.book import actions, shelf
from chirr.desk import belief
from chirr.desk.harvest import harvest, harvests, prices_of
from chirr.records import FarmCard, SizeClass
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
    assert prices_of(FarmCard(name="x", extra=extra), (SizeClass(name="all", from_mg=0.0),)) is None


def with_class_prices(**of_class: dict[str, float]) -> None:
    """The small farm, its size classes at prices of their own."""
    card = shelf.card()
    assert card is not None
    classes = tuple(msgspec.structs.replace(c, **of_class.get(c.name, {})) for c in card.size_classes)
    actions.set_card(msgspec.structs.replace(card, size_classes=classes), actor=small_farm.OWNER)
    belief.forget()


def test_a_class_sells_at_its_own_price_and_the_others_at_the_cards(farm: None) -> None:
    with_class_prices(middling={"price_per_thousand": 31.0}, big={"price_per_kg": 9.0})
    card = shelf.card()
    assert card is not None
    prices = prices_of(msgspec.structs.replace(card, extra={"price_per_kg": 14.0}), card.size_classes)
    assert prices is not None
    assert prices.per_kg.tolist() == [14.0, 0.0, 9.0]
    assert prices.per_cricket.tolist() == [0.0, 0.031, 0.0]


def test_prices_of_classes_alone_are_enough_for_a_margin_and_move_the_day(farm: None) -> None:
    with_class_prices(big={"price_per_kg": 12.0})
    late = harvest("G1", money=True)
    with_class_prices(middling={"price_per_kg": 12.0}, big={"price_per_kg": 0.0})
    early = harvest("G1", money=True)
    assert late is not None
    assert early is not None
    assert early.by == late.by == "margin"
    assert early.best.mid < late.best.mid


def test_a_lots_size_classes_add_up_to_its_crickets_now_and_grow_by_its_best_day(who: Who) -> None:
    view = harvest("G1", money=False)
    alive = belief.beliefs().lots["G1"].alive.mid
    assert view is not None
    assert [r.size_class for r in view.sizes] == ["tiny", "middling", "big"]
    assert sum(r.crickets.mid for r in view.sizes) == pytest.approx(alive, rel=0.05)
    assert view.sizes[-1].crickets_then.mid > view.sizes[-1].crickets.mid
    assert "On its best day" in who("reader").get("/lots/G1").content.decode()


def test_the_owner_gives_prices_by_size_class_and_hands_never_see_them(who: Who) -> None:
    form = {
        "name_1": "tiny", "from_mg_1": "0", "price_1": "8123.5", "price_by_1": "thousand",
        "name_2": "fat", "from_mg_2": "120", "price_2": "8177.25", "price_by_2": "kg",
        "name_3": "huge", "from_mm_3": "24",
    }  # fmt: skip
    assert who("owner").post("/farm/size-classes", form).status_code == 302
    card = shelf.card()
    assert card is not None
    tiny, fat, huge = card.size_classes
    assert (tiny.price_per_thousand, tiny.price_per_kg) == (8123.5, None)
    assert (fat.price_per_thousand, fat.price_per_kg) == (None, 8177.25)
    assert (huge.price_per_thousand, huge.price_per_kg, huge.from_mm) == (None, None, 24.0)
    page = who("owner").get("/farm/size-classes").content.decode()
    assert 'value="8123.5"' in page
    assert "8,177.25 a kilogram" in who("owner").get("/farm").content.decode()
    for person in ("hand", "reader"):
        assert who(person).get("/farm/size-classes").status_code in (302, 403)
        for path in ("/farm", "/lots/G1", "/bins/W1-1", "/ahead", "/ahead/breeders", "/trays/laying", "/book"):
            text = who(person).get(path).content.decode().replace(",", "")
            assert "8123.5" not in text, (person, path)
            assert "8177.25" not in text, (person, path)


def test_a_price_of_a_class_below_nothing_or_without_a_class_is_told_beside_its_field(who: Who) -> None:
    below = who("owner").post("/farm/size-classes", {"name_1": "tiny", "from_mg_1": "0", "price_1": "-2"})
    assert below.status_code == 422
    assert 'id="e-price_1"' in below.content.decode()
    alone = who("owner").post("/farm/size-classes", {"price_1": "2"})
    assert alone.status_code == 422
    assert 'id="e-name_1"' in alone.content.decode()


def test_a_lot_that_is_not_there_is_said_so(who: Who) -> None:
    with pytest.raises(LookupError, match="No lot Z9 lives"):
        harvest("Z9", money=False)


def test_a_lot_says_on_its_own_page_what_the_list_of_all_says_of_it(farm: None) -> None:
    listed = {v.lot: v for v in harvests(money=True)}
    assert listed
    assert all(harvest(name, money=True) == view for name, view in listed.items())
