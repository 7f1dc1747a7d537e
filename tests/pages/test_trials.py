"""The pages of trials: a list, and one trial on one sheet for the wall."""

from __future__ import annotations

import re

import pytest

from builders import small_farm
from chirr.book import actions, ledger
from chirr.pages.views.trials import picture
from chirr.records import Entry
from pages.conftest import Who

NOTE = (
    'trial {"trial":"slim or wide","by":"tray_type","ways":["slim","wide"],"outcome":"eggs","bins":{"E1-1":["slim"],'
    '"E1-2":["wide","slim"]},"start":"2027-03-01","weeks":8,"period_weeks":4,"clutches":40}'
)


@pytest.fixture
def planned(farm):
    """The small farm with a trial written in its book."""
    entry = Entry(id="t1", at=small_farm.NOW - 60, deed="note", person="Aoife", note=NOTE)
    actions.record([entry], actor=small_farm.OWNER)


@pytest.mark.parametrize("person", ["owner", "hand", "reader"])
def test_everybody_of_the_farm_sees_a_trial(who: Who, planned, person: str) -> None:
    page = who(person).get("/trials/slim%20or%20wide")
    text = page.content.decode()
    assert page.status_code == 200
    assert "slim against wide, by eggs a clutch" in text
    assert "A loss of 10 % would matter" in text
    assert "Not known: there are 0 of wide: too few to judge by." in text or "too few to judge by" in text
    assert "<b>E1-2</b> wide, then slim" in text
    assert "Each turn lasts 4 weeks." in text
    assert not re.search(r"\sstyle=", text)


def test_the_list_links_to_each_trial_and_says_how_far_it_has_come(who: Who, planned) -> None:
    text = who("hand").get("/trials").content.decode()
    assert 'href="/trials/slim%20or%20wide"' in text
    assert "slim 1, wide 0" in text


def test_a_farm_without_trials_says_how_to_plan_one(who: Who) -> None:
    assert "chirr trial plan --ways A,B --keep NAME" in who("reader").get("/trials").content.decode()


def test_a_trial_that_is_not_there_is_not_found(who: Who, planned) -> None:
    assert who("owner").get("/trials/other").status_code == 404


def test_somebodys_own_words_that_begin_alike_are_no_trial(who: Who, farm) -> None:
    entry = Entry(id="t2", at=small_farm.NOW - 60, deed="note", person="Aoife", note="trial {of patience}")
    actions.record([entry], actor=small_farm.OWNER)
    assert ledger.how_many("deed = 'note' AND note LIKE 'trial %%'") == 1
    assert who("owner").get("/trials").status_code == 200


def test_the_picture_stands_in_order_along_its_axis() -> None:
    drawn = picture({"interval": [0.85, 1.02], "margin": [0.9, 1 / 0.9], "ratio": 0.93})
    assert drawn is not None
    assert 0 < drawn["low"] < drawn["margin_x"] < drawn["mid"] < drawn["one"] < drawn["high"]
    assert drawn["high"] < drawn["margin_x"] + drawn["margin_width"] < 600
    assert "ratio 93.0 %" in drawn["says"]
    assert picture({"interval": None, "margin": [0.9, 1.1], "ratio": None}) is None


def test_each_bin_of_a_trial_gets_a_label_with_its_turns(who: Who, planned) -> None:
    page = who("hand").get("/trial-labels/slim%20or%20wide")
    text = page.content.decode()
    assert page.status_code == 200
    assert text.count('class="bin-name"') == 2
    assert "<b>tray wide</b> <span>1 Mar 2027 to 28 Mar 2027</span>" in text
    assert "<b>tray slim</b> <span>29 Mar 2027 to 25 Apr 2027</span>" in text
    assert "east · stack 1 · level 2" in text
    assert who("hand").get("/trial-labels/other").status_code == 404


def test_trials_are_found_from_the_trays(who: Who, planned) -> None:
    assert 'href="/trials"' in who("reader").get("/trays").content.decode()
    text = who("reader").get("/trials/slim%20or%20wide").content.decode()
    assert '<a href="/trays" aria-current="page">' in text
    assert 'href="/trial-labels/slim%20or%20wide"' in text
