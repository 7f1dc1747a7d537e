"""A clutch that should have hatched: each page that names it says so in the same words, and no day to hatch."""

from __future__ import annotations

from datetime import date

import pytest
from django.utils import translation

from chirr.desk.overdue import overdue_words
from pages.conftest import Who

LATE = "verdue: expected by"


@pytest.mark.parametrize("path", ["/clutches/C2", "/trays", "/ahead"])
def test_a_page_with_the_clutch_says_that_it_is_overdue(who: Who, path: str) -> None:
    """C2 of the small farm was laid 27 days ago and no pinhead of it was ever written down."""
    assert LATE in who("hand").get(path).content.decode()


def test_its_own_page_names_no_day_on_which_it_would_hatch(who: Who) -> None:
    text = who("hand").get("/clutches/C2").content.decode()
    assert "Half hatched" not in text
    assert "What comes next" not in text


def test_one_still_to_hatch_has_its_days(who: Who) -> None:
    text = who("hand").get("/clutches/C3").content.decode()
    assert LATE not in text
    assert "Half hatched" in text
    assert "First pinheads of clutch C3" in text, "what comes next"


def test_it_is_said_in_the_language_of_the_reader(who: Who) -> None:
    hand = who("hand")
    hand.cookies["language"] = "es"
    text = hand.get("/clutches/C2").content.decode()
    assert "trasada: se esperaba para el" in text


def test_the_words_name_the_day() -> None:
    with translation.override("en-gb"):
        assert overdue_words(date(2027, 3, 20)) == "overdue: expected by Sat 20 Mar, may have failed"
