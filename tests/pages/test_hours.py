"""The page of hours: pictures of the week, minutes on the way, and what limits the farm."""

from __future__ import annotations

import re

import pytest

from pages.conftest import Who


@pytest.mark.parametrize("person", ["owner", "hand", "reader"])
def test_everybody_of_the_farm_sees_where_the_hours_go(who: Who, person: str) -> None:
    page = who(person).get("/round/hours")
    text = page.content.decode()
    assert page.status_code == 200
    assert "hours of a usual week go" in text
    assert "What the week would take otherwise" in text
    assert "What limits the farm:" in text
    assert '<a href="/round" aria-current="page">' in text
    assert not re.search(r"\sstyle=", text)


def test_strangers_do_not(who: Who) -> None:
    assert who("outsider").get("/round/hours").status_code in (302, 303)
