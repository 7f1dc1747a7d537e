"""The page of the hand-over sheet: for everybody with a sign-in, without money, with the cautions."""

from __future__ import annotations

import pytest

from pages.conftest import Who

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("person", ["owner", "hand", "reader"])
def test_everybody_may_print_it_and_nobody_finds_money_on_it(who: Who, person: str) -> None:
    answer = who(person).get("/round/hand-over?away=Aoife&first=2027-03-31&last=2027-04-06")
    html = answer.content.decode()
    assert answer.status_code == 200
    assert "Aoife is away." in html
    assert "9,173" not in html
    assert "EUR" not in html
    for word in ("asthma", "carbon dioxide", "shellfish", "two people", "electrician", "open from inside"):
        assert word in html


@pytest.mark.parametrize(
    ("query", "words"),
    [("first=2027-04-09&last=2027-04-01", "Give the first day first"), ("first=soon", "is not a day"),
     ("first=2027-03-31&last=2027-09-01", "21 days at most"), ("first=2020-01-01", "today or later")],
)  # fmt: skip
def test_days_that_will_not_do_get_one_sentence(who: Who, query: str, words: str) -> None:
    answer = who("hand").get(f"/round/hand-over?{query}")
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_a_name_is_shown_as_it_was_typed_and_does_nothing(who: Who) -> None:
    html = who("hand").get("/round/hand-over?away=<script>x</script>").content.decode()
    assert "<script>x" not in html
    assert "&lt;script&gt;x" in html
