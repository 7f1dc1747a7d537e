"""The pages of what was just entered, which is believed in at once and looked ahead at some seconds later."""

from __future__ import annotations

import pytest

from builders import small_farm
from chirr.book import actions
from chirr.desk import belief, just_entered
from chirr.records import Entry
from pages.conftest import Who


@pytest.fixture
def stocked(farm: None) -> None:
    """Two lots stocked after the last look ahead, one to grow and one to breed."""
    belief.foresight()
    for number, bin_, lot, stage in ((60, "W1-2", "G60", "nymph"), (61, "E1-2", "B61", "adult")):
        entry = Entry(
            id=small_farm.entry_id(number), at=small_farm.NOW - 60 + number, person="Bram", deed="stock", bin=bin_,
            lot=lot, quantity=500.0, unit="crickets", stage=stage, age_days=5.0,
        )  # fmt: skip
        actions.record([entry], actor=small_farm.HAND)


@pytest.mark.parametrize("path", ["/lots/G60", "/bins/W1-2", "/lots/B61", "/bins/E1-2", "/ahead/breeders", "/trays"])
def test_its_pages_open(who: Who, stocked: None, path: str) -> None:
    page = who("owner").get(path)
    assert page.status_code == 200
    if "60" in path or "61" in path:
        assert "Something was just entered" in page.content.decode()


@pytest.mark.parametrize("path", ["/why/lot/G60", "/why/bin/W1-2"])
def test_why_it_is_so_is_not_known_yet_and_no_fault(who: Who, stocked: None, path: str) -> None:
    answer = who("hand").get(path, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert "Nothing is foreseen of it" in answer.content.decode()


WAITS = "touches very many lots at once"
PAGES = ("/round", "/racks", "/trays", "/lots/G1", "/bins/W1-1")


@pytest.mark.parametrize("path", PAGES)
def test_what_touches_too_many_lots_is_said_to_wait_for_the_whole_farm(
    who: Who, farm: None, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    belief.foresight()
    hand = who("hand")
    assert WAITS not in hand.get(path).content.decode()
    before = belief.beliefs().lots["G1"].alive
    monkeypatch.setattr(just_entered, "TOO_MANY", 1)
    counted = Entry(
        id=small_farm.entry_id(62), at=small_farm.NOW - 30, person="Bram", deed="count", lot="G1", quantity=150.0,
        unit="crickets",
    )  # fmt: skip
    actions.record([counted], actor=small_farm.HAND)
    text = hand.get(path).content.decode()
    assert WAITS in text
    assert "has it already" not in text
    assert belief.beliefs().lots["G1"].alive == before, "and so it is"
    belief.foresight(fresh=True)
    assert WAITS not in hand.get(path).content.decode()
    assert belief.beliefs().lots["G1"].alive.mid < 0.8 * before.mid


def test_the_weeks_ahead_say_that_they_do_not_have_it_yet(who: Who, stocked: None) -> None:
    hand, words = who("hand"), "that the weeks ahead do not have yet"
    assert words in hand.get("/ahead").content.decode()
    belief.foresight(fresh=True)
    assert words not in hand.get("/ahead").content.decode()
