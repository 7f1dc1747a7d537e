"""The page that says how long to leave a tray in."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest

from builders import small_farm
from chirr.book import actions
from chirr.desk.laying import laying
from chirr.desk.laying_words import number_caution
from chirr.engine.planning.choice import Best
from chirr.engine.planning.tray_choice import TraysJudged
from pages.conftest import Who


@pytest.mark.parametrize("person", ["owner", "hand", "reader"])
def test_everybody_of_the_farm_sees_the_curve_of_each_tray_type(who: Who, person: str) -> None:
    page = who(person).get("/trays/laying")
    text = page.content.decode()
    assert page.status_code == 200
    assert "Most eggs for each breeder and day: 1 day" in text
    assert "Most eggs for each minute of labour" in text
    assert "slim <small>" in text
    assert ", 1 counted," in text
    assert text.count("<figure") == 1
    assert "corrected by 1 counted tray of this farm" in text


def test_more_adults_in_the_bin_mean_more_eggs_in_the_tray(who: Who) -> None:
    few, many = (laying(adults=n).types[0].days[2].eggs.mid for n in (200, 2000))
    assert many > 2 * few


def test_a_number_of_adults_that_makes_no_sense_is_told_beside_its_field(who: Who) -> None:
    page = who("hand").get("/trays/laying?adults=-4")
    assert page.status_code == 422
    assert 'id="e-adults"' in page.content.decode()


def test_a_farm_with_no_tray_and_no_fact_answers_from_published_values(db: None) -> None:
    actions.found(msgspec.structs.replace(small_farm.folder(), entries=[], readings=[]), actor=small_farm.OWNER)
    view = laying()
    assert "No tray has been counted yet" in view.remarks[0]
    assert view.adults_say == "supposed, since no adults are in a breeding bin now"
    assert all(d.eggs.low < 0.7 * d.eggs.mid for d in view.types[0].days)


def test_the_trays_page_leads_there(who: Who) -> None:
    assert 'href="/trays/laying"' in who("reader").get("/trays").content.decode()


def test_where_the_law_and_not_the_counts_decides_the_page_says_so_and_what_would_tell(who: Who) -> None:
    (slim,) = laying().types
    assert slim.best_days[0].days == 1
    assert "Only how much better is learnt" in slim.days_caution
    assert slim.best_number == 1
    assert "has not given two at once" in slim.number_caution
    text = who("hand").get("/trays/laying").content.decode()
    assert slim.days_caution in text
    assert slim.number_caution in text


def test_where_one_tray_is_full_more_are_advised_and_no_caution_is_given() -> None:
    full = judged(best=2.0)
    assert number_caution(full, 1.0) == ""
    assert "beside others with two" in number_caution(judged(best=1.0), 2.0)


def judged(*, best: float) -> TraysJudged:
    """One to three trays, of which so many are best."""
    none = np.zeros((3, 4))
    won = Best(at=best, ways=np.full(4, best), value=np.ones(4), gain=np.ones(4), chance=0.5)
    return TraysJudged(numbers=np.arange(1.0, 4.0), total=none, extra=none, minutes=np.ones(3), best=won)
