"""The page of hours: pictures of the week, minutes on the way, and what limits the farm."""

from __future__ import annotations

import re

import pytest

from chirr.charts.hours import hours_by_deed, hours_otherwise
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


def test_the_pictures_are_drawn_by_the_chart_library_without_a_warning() -> None:
    """vl-convert: the same library as on the page, from Python."""
    import vl_convert

    week = hours_by_deed([("feed", 2.0), ("on the way", 0.4)])
    other = hours_otherwise([("as it is", 2.0, 0.4), ("bins 20", 4.0, 0.5)], now=2.4)
    for spec in (week, other):
        drawn = vl_convert.vegalite_to_svg({**spec, "width": 400})
        assert drawn.startswith("<svg")
    bars = other["data"]["values"]
    assert [(b["what"], b["part"], b["hours"]) for b in bars][:2] == [
        ("as it is", "at the bins", 2.0), ("as it is", "on the way", 0.4),
    ]  # fmt: skip
