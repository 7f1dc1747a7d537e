"""The reasons behind figures in the browser, and the entries that count for little."""

from __future__ import annotations

import math

import numpy as np
import pytest

from builders import small_farm
from chirr.book import actions
from chirr.desk import belief, browse, clock
from chirr.desk.round import round_sheet
from chirr.desk.why import AT_MOST, why
from chirr.records import Entry
from pages.conftest import Who

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("farm")]


def write(number: int, deed: str, **columns: object) -> None:
    entry = Entry(id=small_farm.entry_id(number), at=small_farm.NOW - 60, person="Bram", deed=deed, **columns)  # type: ignore[arg-type]
    actions.record([entry], actor=small_farm.OWNER)
    belief.forget()


def test_a_lot_names_the_facts_that_moved_its_figures() -> None:
    answer = why("lot", "G1")
    said = [m.says for f in answer.figures for m in f.moved]
    assert any(s.startswith("The weighing of 29 March (60 crickets, 21.7 mg each) made it ") for s in said)
    assert all(len(f.moved) <= 3 for f in answer.figures)
    assert [f.title for f in answer.figures][-1] == "Crickets alive in lot G1"
    for figure in answer.figures:
        sizes = [abs(m.by) for m in figure.moved]
        assert sizes == sorted(sizes, reverse=True)


def test_a_clutch_on_the_rack_is_explained_and_its_eggs_are_to_be_counted() -> None:
    answer = why("clutch", "C2")
    assert {f.title for f in answer.figures} == {"Pinheads of clutch C2", "First pinheads of clutch C2"}
    (advice,) = answer.advice
    assert (advice.deed, advice.clutch) == ("count", "C2")
    assert advice.then < advice.now


def test_what_is_advised_narrows_the_band_that_is_shown_about_as_far_as_it_said() -> None:
    """The count advised is written down at the middle of the band, and the page asked again."""
    advice = next(a for a in why("lot", "G1").advice if a.deed == "count")
    there = belief.beliefs().lots["G1"].alive
    write(90, "count", lot="G1", bin="W1-1", quantity=round(there.mid), unit="crickets", cv=0.10)
    f = belief.foresight()
    a = next(x for x in f.ahead.lots if f.gathered.lots[x.lot] == "G1")
    day = int(np.clip(round((a.ready_h[3] - f.belief.history.now_h) / 24), 0, f.days))
    got = math.sinh(math.log(a.kg[day][5] / a.kg[day][1]) / 2)
    assert advice.then < 0.85 * advice.now
    assert got == pytest.approx(advice.then, rel=0.3)


def test_the_round_offers_the_weighing_that_narrows_most_and_says_how_far() -> None:
    assert belief.beliefs().sharpen == {}, "it was weighed two days ago"
    write(92, "correct", replaces=small_farm.entry_id(11), note="the scale was not level")
    items = [i for stop in round_sheet(clock.today()).stops for i in stop.items if i.deed == "weigh"]
    seen = belief.beliefs()
    assert 0 < len(seen.sharpen) <= AT_MOST
    assert [i.why for i in items if i.lot in seen.sharpen] == list(seen.sharpen.values())
    assert all("shrinks from ±" in words for words in seen.sharpen.values())


def test_the_page_loads_its_reasons_by_itself_and_without_scripts_by_a_link(who: Who) -> None:
    reader = who("reader")
    assert 'hx-get="/why/lot/G1"' in reader.get("/lots/G1").content.decode()
    part = reader.get("/why/lot/G1", headers={"HX-Request": "true"}).content.decode()
    assert "<h2>Why</h2>" in part
    assert "<html" not in part
    assert "Write it down" not in part
    assert "Write it down" in who("hand").get("/why/lot/G1").content.decode()


@pytest.mark.parametrize("address", ["/why/lot/nothing", "/why/room/east", "/why/bin/G1"])
def test_what_is_not_there_is_not_found(who: Who, address: str) -> None:
    assert who("owner").get(address).status_code == 404


def test_an_empty_bin_has_nothing_to_explain(who: Who) -> None:
    assert "Nothing is foreseen of it." in who("owner").get("/why/bin/W1-2").content.decode()


def test_an_outlying_count_is_found_in_the_book_and_named_beside_the_figure(who: Who) -> None:
    write(91, "count", lot="G1", bin="W1-1", quantity=900_000.0, unit="crickets", cv=0.05)
    lines = browse.search(odd=True).lines
    assert [line.id for line in lines] == [small_farm.entry_id(91)]
    assert "counts for little" in lines[0].doubt
    page = who("reader").get("/book?odd=1").content.decode()
    assert "usual errors above what all other facts say" in page
    assert "1 entry of the farm left out, or counting for little" in who("reader").get("/why/lot/G1").content.decode()


def test_without_odd_entries_the_search_for_them_finds_nothing() -> None:
    assert browse.search(odd=True).total == 0
