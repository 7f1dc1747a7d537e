"""The Farm: its owner changes things, each slip one sentence."""

from __future__ import annotations

from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from chirr.desk import farm, people
from pages.conftest import Who

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("farm")]
CARD = {
    "name": "Low Barn",
    "species": "acheta-domesticus",
    "timezone": "Europe/Dublin",
    "currency": "EUR",
    "substrate_cycles": "3",
}


def test_trays_can_be_swapped_on_monday_wednesday_and_friday(who: Who) -> None:
    days = {
        "swap_by": "weekdays",
        "swap_mon": "on",
        "swap_wed": "on",
        "swap_fri": "on",
        "feed_by": "days",
        "feed_every": "2",
    }
    who("owner").post("/farm/card", CARD | days)
    card = farm.card()
    assert card is not None
    assert (card.swap_days, card.feed_days) == (("mon", "wed", "fri"), 2)
    assert [c.name for c in card.size_classes] == ["tiny", "middling", "big"]  # kept though not on this form
    assert "on Mon, Wed and Fri" in who("reader").get("/farm").content.decode()


def test_size_classes_are_kept_in_order_of_mass(who: Who) -> None:
    who("owner").post(
        "/farm/size-classes", {"name_1": "large", "from_mg_1": "300", "name_2": "small", "from_mg_2": "0"}
    )
    assert [(c.name, c.from_mg) for c in farm.card().size_classes] == [("small", 0.0), ("large", 300.0)]  # type: ignore[union-attr]


def test_a_room_a_bin_and_a_tray_type_are_added_and_changed(who: Who) -> None:
    owner = who("owner")
    owner.post("/farm/rooms/", {"room": "annex", "set_temperature_c": "29", "set_humidity_pct": "60"})
    owner.post("/farm/rooms/annex", {"set_temperature_c": "29.5"})
    assert (farm.room("annex").set_temperature_c, farm.room("annex").set_humidity_pct) == (29.5, None)
    owner.post(
        "/farm/bins/",
        {"bin": "A1-1", "room": "annex", "stack": "1", "level": "1", "duty": "grow-out", "floor_cm2": "5000"},
    )
    owner.post("/farm/bins/A1-1", {"room": "annex", "stack": "2", "level": "1", "duty": "nursery", "floor_cm2": "5100"})
    assert (farm.bin_("A1-1").stack, farm.bin_("A1-1").duty) == (2, "nursery")
    owner.post("/farm/tray-types/", {"tray_type": "wide", "length_cm": "30", "width_cm": "20", "depth_cm": "6"})
    assert farm.tray_type("wide").depth_cm == 6


def test_a_bin_that_the_book_speaks_of_is_carried_by_an_entry_not_by_the_form(who: Who) -> None:
    owner = who("owner")
    assert "carry this bin" in owner.get("/farm/bins/W1-1").content.decode()
    owner.post("/farm/bins/W1-1", {"room": "east", "stack": "9", "level": "1", "duty": "nursery", "floor_cm2": "5200"})
    assert (farm.bin_("W1-1").room, farm.bin_("W1-1").stack) == ("west", 1)


@pytest.mark.parametrize(
    ("path", "values", "words"),
    [
        ("/farm/rooms/", {"room": "east", "set_temperature_c": "30"}, "There is a room east already."),
        ("/farm/rooms/", {"room": "a/b", "set_temperature_c": "30"}, "Leave the stroke (/) out of the name"),
        ("/farm/rooms/", {"room": "oven", "set_temperature_c": "300"}, "300 cannot be right"),
        (
            "/farm/bins/",
            {"bin": "X", "room": "west", "stack": "1", "level": "1", "duty": "nursery", "floor_cm2": "90"},
            "Bin W1-1 stands there already.",
        ),
        (
            "/farm/bins/",
            {"bin": "X", "room": "west", "stack": "5", "level": "1", "duty": "attic", "floor_cm2": "90"},
            "Choose breeding, nursery or grow-out.",
        ),
        (
            "/farm/tray-types/",
            {"tray_type": "slim", "length_cm": "1", "width_cm": "1", "depth_cm": "1"},
            "There is a tray type slim already.",
        ),
        ("/farm/size-classes", {"name_1": "small"}, "Say from which mass or length it begins."),
        (
            "/farm/size-classes",
            {"name_1": "a", "from_mg_1": "1", "name_2": "a", "from_mg_2": "2"},
            "There are two classes called a.",
        ),
        ("/farm/card", CARD | {"swap_by": "weekdays"}, "Tick at least one weekday."),
        ("/farm/card", CARD | {"wage_per_hour": "lots"}, "“lots” is not a number."),
        ("/farm/people/", {"person": "Bram", "role": "hand"}, "There is already somebody called Bram."),
        ("/farm/people/", {"person": "Eve", "role": "queen"}, "Choose owner, hand or reader."),
        ("/farm/people/", {"person": "Eve", "role": "hand", "password": "123"}, "This password is too short."),
        ("/farm/people/Aoife", {"role": "owner", "do": "end"}, "You cannot take away your own sign-in."),
    ],
)
def test_each_slip_gets_one_sentence(who: Who, path: str, values: dict[str, str], words: str) -> None:
    answer = who("owner").post(path, values)
    assert answer.status_code == 422
    assert words in unescape(answer.content.decode())


def test_a_person_refused_for_a_weak_password_is_not_half_added(who: Who) -> None:
    who("owner").post("/farm/people/", {"person": "Eve", "role": "hand", "password": "123"})
    assert "Eve" not in [p.person for p, _ in people.everybody()]


@pytest.mark.parametrize(
    ("path", "most"), [("/racks", 30), ("/trays", 30), ("/farm", 20), ("/bins/W1-1", 40), ("/ahead", 30)]
)
def test_each_page_asks_the_database_a_bounded_number_of_questions(who: Who, path: str, most: int) -> None:
    client = who("owner")
    client.get(path)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(path).status_code == 200
    assert 0 < len(asked) <= most


def test_the_cautions_name_what_can_hurt(who: Who) -> None:
    html = who("reader").get("/cautions").content.decode().lower()
    for word in (
        "asthma",
        "shellfish",
        "carbon dioxide",
        "ammonia",
        "from inside",
        "lift",
        "residual-current",
        "escape",
        "fertiliser",
        "law",
    ):
        assert word in html


def test_a_size_class_may_begin_at_a_length_and_keeps_it(who: Who) -> None:
    """16 mm is about 190 mg in the trade's size chart: common practice, no published source."""
    form = {"name_1": "tiny", "from_mg_1": "0", "name_2": "fat", "from_mm_2": "16"}
    assert who("owner").post("/farm/size-classes", form).status_code == 302
    card = farm.card()
    assert card is not None
    tiny, fat = card.size_classes
    assert tiny.extra == {}
    assert fat.from_mm == 16.0
    assert 150 < fat.from_mg < 230
    page = who("owner").get("/farm/size-classes").content.decode()
    assert 'name="from_mm_2" value="16"' in page
    assert "(16 mm)" in who("reader").get("/farm").content.decode()
