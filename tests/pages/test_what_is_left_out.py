"""Records that cannot be: named by their id, left out of learning until corrected, one click from every forecast."""

from __future__ import annotations

import pytest

from builders import small_farm
from chirr.book import actions
from chirr.desk import belief, remarks
from chirr.desk.breeders import breeders, breeders_json
from chirr.desk.harvest import harvest_json, harvests
from chirr.desk.laying import laying, laying_json
from chirr.records import Entry
from pages.conftest import Who

TOO_HEAVY = small_farm.entry_id(77)
FORECASTS = (
    "/ahead", "/ahead/breeders", "/ahead/grade", "/trays/laying", "/lots/G1", "/clutches/C3", "/bins/E1-1",
    "/why/lot/G1", "/why/clutch/C3",
)  # fmt: skip


@pytest.fixture
def odd(farm: None) -> None:
    """A weighing of sixty half-grown crickets that gives five grams for each."""
    heavy = Entry(
        id=TOO_HEAVY, at=small_farm.day(29), person="Bram", deed="weigh", lot="G1", sample=60, quantity=300.0, unit="g"
    )
    actions.record([heavy], actor=small_farm.HAND)
    belief.forget()


@pytest.mark.parametrize("path", FORECASTS)
def test_the_list_is_one_click_from_every_forecast(who: Who, odd: None, path: str) -> None:
    page = who("hand").get(path)
    assert page.status_code == 200
    assert "?odd=1" in page.content.decode()


def test_the_list_names_the_entry_and_says_why(who: Who, odd: None) -> None:
    text = who("hand").get("/book?odd=1").content.decode()
    assert TOO_HEAVY in text
    assert "usual errors above what all other facts say, so it counts for little" in text


def test_it_counts_for_little_and_for_nothing_once_it_is_corrected(who: Who, odd: None) -> None:
    believed = belief.beliefs().lots["G1"].mean_mg
    assert believed.high < 200
    back = Entry(
        id=small_farm.entry_id(78),
        at=small_farm.day(29, 1),
        person="Bram",
        deed="correct",
        replaces=TOO_HEAVY,
        note="typo",
    )
    actions.record([back], actor=small_farm.HAND)
    belief.forget()
    assert belief.beliefs().lots["G1"].mean_mg.mid == pytest.approx(believed.mid, rel=0.1)
    assert TOO_HEAVY not in remarks.odd_entries(belief.foresight())


def test_the_json_of_every_forecast_names_it(odd: None) -> None:
    for answer in (breeders_json(breeders()), harvest_json(harvests(money=False)), laying_json(laying())):
        assert TOO_HEAVY in [o["entry"] for o in answer["left_out"]]
