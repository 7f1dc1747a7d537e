"""The Book in the browser: searching, writing, mending, what stays visible."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from builders import small_farm
from chirr.book import actions, ledger
from chirr.desk import browse
from chirr.records import Entry
from pages.conftest import Who

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("farm")]


def found(**asked: object) -> list[str]:
    return [line.id for line in browse.search(**asked).lines]  # type: ignore[arg-type]


def test_entries_come_newest_first() -> None:
    ats = [line.at for line in browse.search().lines]
    assert ats == sorted(ats, reverse=True)
    assert len(ats) == len(small_farm.entries())


@pytest.mark.parametrize(
    ("asked", "numbers"),
    [
        ({"text": "latch"}, [12]),
        ({"text": "LATCH loose"}, [12]),
        ({"text": "latch W1-1"}, []),
        ({"text": "peat-1"}, [4, 2]),
        ({"deed": "count"}, [5]),
        ({"deed": "no such deed"}, list(range(12, 0, -1))),
        ({"person": "Aoife"}, [8, 7, 1]),
        ({"bin_": "W1-1"}, [11, 9, 8, 7, 3]),
        ({"lot": "G1"}, [11, 3]),
        ({"clutch": "C2"}, [6, 4]),
        ({"since": date(2027, 3, 28)}, [12, 11, 10]),
        ({"until": date(2027, 3, 1)}, [2, 1]),
        ({"since": date(2027, 3, 4), "until": date(2027, 3, 4), "deed": "lay"}, [4]),
        ({"text": "100%_"}, []),
    ],
)
def test_a_search_finds_what_meets_every_condition(asked: dict[str, object], numbers: list[int]) -> None:
    assert found(**asked) == [small_farm.entry_id(n) for n in numbers]


def test_a_page_beyond_the_last_is_the_last() -> None:
    page = browse.search(page=99, size=5)
    assert (page.page, page.pages, len(page.lines)) == (3, 3, 2)


def test_a_withdrawn_entry_stays_struck_through_with_a_link_to_what_withdrew_it(who: Who) -> None:
    hand, old = who("hand"), small_farm.entry_id(12)
    assert "Write why the entry is wrong." in hand.post(f"/book/{old}/correct", {"note": ""}).content.decode()
    hand.post(f"/book/{old}/correct", {"note": "it was E1-1"})
    line = browse.line(old)
    assert line.standing == "withdrawn"
    assert browse.entry(line.by or "").note == "it was E1-1"
    html = hand.get("/book").content.decode()
    assert "<s>Noted for bin E1-2: latch is loose.</s>" in html
    assert f"/book/{line.by}" in html


def test_withdrawing_the_withdrawal_brings_the_entry_back(who: Who) -> None:
    hand, old = who("hand"), small_farm.entry_id(12)
    hand.post(f"/book/{old}/correct", {"note": "wrong bin"})
    hand.post(f"/book/{browse.line(old).by}/correct", {"note": "it was right"})
    assert browse.line(old).standing == ""


def test_a_replaced_entry_points_to_the_new_one(who: Who) -> None:
    hand, old = who("hand"), small_farm.entry_id(5)
    html = hand.get(f"/book/{old}/replace").content.decode()
    assert 'value="2100"' in html
    assert 'value="20"' in html  # 20 %, kept as 0.2
    answer = hand.post(
        f"/book/{old}/replace",
        {"deed": "count", "way": "1", "clutch": "C1", "quantity": "1900", "unit": "eggs", "at": "2027-03-04T08:00"},
    )
    assert answer.status_code == 302
    line = browse.line(old)
    assert line.standing == "replaced"
    assert browse.entry(line.by or "").quantity == 1900
    assert ledger.live() == ledger.replayed()


def test_an_entry_that_does_not_fit_says_why() -> None:
    odd = Entry(id=small_farm.entry_id(500), at=small_farm.NOW, deed="hatch", clutch="C77", person="Bram")
    actions.record([odd], actor=small_farm.HAND, strict=False)
    assert browse.line(odd.id).standing.startswith("does not fit: clutch C77; expected a clutch")


def test_a_form_with_faults_comes_back_filled_as_it_was(who: Who) -> None:
    answer = who("hand").post(
        "/book/add", {"deed": "weigh", "lot": "G1", "sample": "50", "quantity": "lots", "unit": "g", "note": "cold"}
    )
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "“lots” is not a number" in html
    for kept in ('value="50"', 'value="lots"', "cold</textarea>"):
        assert kept in html


def test_writing_from_a_page_leads_back_to_it(who: Who) -> None:
    answer = who("hand").post("/book/add", {"deed": "clean", "bin": "W1-2", "next": "/bins/W1-2"})
    assert answer["Location"] == "/bins/W1-2"
    assert browse.search(deed="clean").lines[0].says == "Cleaned bin W1-2."


def test_what_is_typed_is_shown_as_text_never_as_markup(who: Who) -> None:
    who("hand").post("/book/add", {"deed": "note", "bin": "W1-1", "note": "<script>alert(1)</script>"})
    for path in ("/book", "/bins/W1-1"):
        assert "<script>alert" not in who("hand").get(path).content.decode()


def test_the_book_asks_the_database_the_same_few_questions_however_long_it_is(who: Who) -> None:
    client = who("reader")

    def questions() -> int:
        client.get("/book")
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert client.get("/book").status_code == 200
        return len(asked)

    few = questions()
    more = [
        Entry(id=small_farm.entry_id(1000 + i), at=small_farm.day(29) + i, deed="feed", bin="W1-1", person="Bram")
        for i in range(300)
    ]
    actions.record(more, actor=small_farm.HAND)
    assert 0 < questions() <= few <= 20


def test_the_export_is_a_zip_named_after_the_farm(who: Who) -> None:
    answer = who("owner").get("/book/export")
    assert answer.content[:2] == b"PK"
    assert answer.headers["Content-Disposition"].startswith('attachment; filename="low-barn-')


@pytest.mark.parametrize("number", range(1, 13))
def test_every_deed_makes_one_sentence(number: int) -> None:
    says = browse.line(small_farm.entry_id(number)).says
    assert says[0].isupper()
    assert says.endswith(".")
    assert "None" not in says
