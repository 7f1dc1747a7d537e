"""The pages of what was just entered, which is believed in at once and looked ahead at some seconds later."""

from __future__ import annotations

import pytest

from builders import small_farm
from chirr.book import actions
from chirr.desk import belief
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
