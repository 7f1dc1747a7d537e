"""The Labels page, what codes lead to, and the run sheet printed and typed in again."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import unquote

import pytest
from django.utils import translation

from builders import small_farm
from chirr.book import actions, ledger, papers
from chirr.desk import codes, photos, walk_sheet
from chirr.records import Bin
from pages.conftest import Who

LABELS = {"kind": ["bin", "lot"], "only": "new", "stock": "a4-3x8", "first": "1", "address": "https://barn.local:8765"}


def test_the_answer_to_the_filled_form_is_a_pdf_and_its_things_count_as_printed(who: Who) -> None:
    answer = who("hand").post("/farm/labels", LABELS)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    assert {kind for kind, _ in papers.latest_labels()} == {"bin", "lot"}


def test_names_alone_are_enough(who: Who) -> None:
    answer = who("owner").post("/farm/labels", LABELS | {"kind": [], "names": "E1-1\r\n\r\nC3\r\n", "only": "all"})
    assert answer.status_code == 200
    assert set(papers.latest_labels()) == {("bin", "E1-1"), ("tray", "C3")}


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"kind": []}, "Tick what gets labels"),
        ({"names": "Q9"}, "called Q9"),
        ({"first": "25"}, "24"),
        ({"stock": "a7"}, "does not fit here"),
        ({"address": "barn local"}, "not an address"),
        ({"address": ""}, "Give the address"),
        ({"since": "soon"}, "not a day"),
        ({"right": "50"}, "20"),
        ({"room": "moon"}, "does not fit here"),
    ],
)
def test_what_is_wrong_is_told_beside_its_field_and_nothing_is_printed(
    who: Who, wrong: dict[str, object], says: str
) -> None:
    answer = who("owner").post("/farm/labels", LABELS | wrong)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert papers.latest_labels() == {}


def test_the_address_offered_is_this_pages_own_unless_only_this_machine_can_open_it(who: Who, settings: object) -> None:
    settings.ALLOWED_HOSTS = ["barn.local", "127.0.0.1"]  # type: ignore[attr-defined]
    settings.LAN = {"pages": ["https://192.168.4.2:8765/", "https://shed.local:8765/"]}  # type: ignore[attr-defined]
    assert _address(who("owner").get("/farm/labels", headers={"host": "barn.local"})) == "http://barn.local"
    assert _address(who("owner").get("/farm/labels", headers={"host": "127.0.0.1"})) == "https://192.168.4.2:8765"


def test_an_address_that_no_phone_can_open_is_doubted_on_the_page(who: Who, settings: object) -> None:
    settings.ALLOWED_HOSTS = ["127.0.0.1"]  # type: ignore[attr-defined]
    settings.LAN = None  # type: ignore[attr-defined]
    answer = who("owner").get("/farm/labels", headers={"host": "127.0.0.1"})
    assert "phone itself" in answer.content.decode()


def _address(answer: object) -> str:
    found = re.search(r'name="address" value="([^"]*)"', answer.content.decode())  # type: ignore[attr-defined]
    assert found
    return found[1]


def test_the_page_of_a_thing_leads_to_its_label(who: Who) -> None:
    page = who("hand").get("/bins/W1-1").content.decode()
    assert "/farm/labels?name=W1-1" in page
    assert ">W1-1</textarea>" in who("hand").get("/farm/labels?name=W1-1").content.decode()
    assert "/farm/labels?name=" not in who("reader").get("/bins/W1-1").content.decode()


# --- what codes lead to ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "name", "page"),
    [
        ("bin", "W1-1", "/bins/W1-1"),
        ("lot", "G1", "/lots/G1"),
        ("clutch", "C3", "/clutches/C3"),
        ("substrate", "peat-1", "/trays#substrate_3apeat-1"),
    ],
)
def test_a_code_leads_to_the_page_of_its_thing(who: Who, kind: str, name: str, page: str) -> None:
    client = who("reader")
    for path in (codes.path_of(kind, name), f"/at/{kind}/{name}", f"/at/{kind}/{name.lower()}"):
        answer = client.get(path)
        assert (answer.status_code, answer["Location"]) == (302, page)
    if "#" in page:
        assert f'id="{page.split("#")[1]}"' in client.get("/trays").content.decode()


@pytest.mark.parametrize("name", ["a/b", "50% full", "Größe 2", "ถาด 12", "what? #1", "x" * 60])
def test_a_code_leads_to_bins_with_awkward_names(who: Who, name: str) -> None:
    client = who("owner")
    actions.set_bin(
        Bin(bin=name, room="east", stack=9, level=1, duty="nursery", floor_cm2=5200.0), actor=small_farm.OWNER
    )
    answer = client.get(codes.path_of("bin", name))
    assert answer.status_code == 302
    assert unquote(answer["Location"]) == f"/bins/{name}"
    assert client.get(answer["Location"]).status_code == 200


def test_where_two_names_differ_only_in_capitals_both_are_offered(who: Who) -> None:
    client = who("owner")
    for level, name in enumerate(("Pen", "PEN"), 1):
        actions.set_bin(
            Bin(bin=name, room="east", stack=9, level=level, duty="nursery", floor_cm2=5200.0), actor=small_farm.OWNER
        )
    answer = client.get("/AT/BIN/PEN")
    assert answer.status_code == 300
    assert "/bins/Pen" in answer.content.decode()
    assert "/bins/PEN" in answer.content.decode()
    assert client.get("/at/bin/Pen")["Location"] == "/bins/Pen"


def test_a_code_of_something_that_is_not_here_says_so_and_a_tray_to_come_can_be_laid(who: Who) -> None:
    answer = who("hand").get("/AT/CLUTCH/C99")
    assert answer.status_code == 404
    page = answer.content.decode()
    assert "The farm has no clutch called C99." in page
    spanish = who("hand").get("/AT/CLUTCH/C99", headers={"Accept-Language": "es"}).content.decode()
    assert "puesta" in spanish
    assert "clutch C99" not in spanish
    translation.activate("en-gb")
    assert "/book/add?deed=lay&amp;clutch=C99" in page


def test_who_is_not_signed_in_comes_to_the_thing_after_signing_in(who: Who) -> None:
    answer = who("outsider").get("/AT/BIN/W1-1")
    assert answer["Location"] == "/sign-in?next=/AT/BIN/W1-1"


# --- the run sheet -----------------------------------------------------------------------------------------------


@pytest.fixture
def code(who: Who) -> str:
    answer = who("hand").post("/round/print", {"day": "2027-03-31", "page": "a4"})
    assert answer.status_code == 302
    return str(answer["Location"].rsplit("/", 1)[1])


def test_a_sheet_made_on_the_page_is_printed_and_stands_in_the_list(who: Who, code: str) -> None:
    paper = who("hand").get(f"/round/sheets/{code}/paper")
    assert paper.headers["Content-Type"] == "application/pdf"
    assert paper.content == who("owner").get(f"/round/sheets/{code}/paper").content
    assert code in who("owner").get("/round/print").content.decode()


def test_the_lines_of_the_sheet_stand_on_the_page_in_the_same_order(who: Who, code: str) -> None:
    sheet, _ = walk_sheet.load(code)
    page = who("hand").get(f"/round/sheets/{code}").content.decode()
    assert re.findall(r'id="l(\d+[a-z]+)"', page) == [line.code for line in sheet.lines]
    for line in sheet.lines:
        assert f'name="{line.code}.tick"' in page


def test_what_is_ticked_is_written_and_then_shown_as_being_in_the_book(who: Who, code: str) -> None:
    sheet, _ = walk_sheet.load(code)
    feed = next(line for line in sheet.lines if line.deed == "feed")
    marks = {f"{feed.code}.tick": "on", "person": "Bram", "at": "08:00", "day": sheet.day}
    answer = who("hand").post(f"/round/sheets/{code}", marks, follow=True)
    page = answer.content.decode()
    assert "1 entry written." in page
    assert f'href="/book/{feed.entry}"' in page
    assert f'name="{feed.code}.tick"' not in page
    before = ledger.top_seq()
    who("owner").post(f"/round/sheets/{code}", marks)
    assert ledger.top_seq() == before


def test_a_line_that_is_held_back_keeps_its_marks_and_says_why(who: Who, code: str) -> None:
    sheet, _ = walk_sheet.load(code)
    feed = next(line for line in sheet.lines if line.deed == "feed")
    page = who("hand").post(f"/round/sheets/{code}", {f"{feed.code}.tick": "on"}, follow=True).content.decode()
    assert "Give a time" in page
    assert re.search(rf'name="{feed.code}.tick" checked', page)


def test_a_wrong_time_of_the_whole_sheet_is_told_and_the_marks_stay_on_the_page(who: Who, code: str) -> None:
    sheet, _ = walk_sheet.load(code)
    mark = f"{sheet.lines[0].code}.tick"
    answer = who("hand").post(f"/round/sheets/{code}", {mark: "on", "at": "99"})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "is not a time" in page
    assert re.search(rf'name="{mark}" checked', page)


def test_a_reader_looks_at_a_sheet_and_types_nothing_in(who: Who, code: str) -> None:
    page = who("reader").get(f"/round/sheets/{code}").content.decode()
    assert ".tick" not in page
    assert who("reader").post(f"/round/sheets/{code}", {"at": "08:00"}).status_code == 403


def test_a_photograph_of_the_sheet_stands_beside_the_lines(
    who: Who, code: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pages.test_counting import upload

    monkeypatch.setattr(photos, "folder", lambda: tmp_path / "photos")
    answer = who("hand").post(f"/round/sheets/{code}/photo", {"photo": upload()}, follow=True)
    found = re.search(r'src="(/count/[^"]+/picture)"', answer.content.decode())
    assert found
    assert who("reader").get(found[1]).content.startswith(b"\xff\xd8")
    assert "Take or choose" in who("hand").post(f"/round/sheets/{code}/photo", follow=True).content.decode()


def test_a_day_on_which_nothing_is_due_is_told(who: Who) -> None:
    answer = who("hand").post("/round/print", {"day": "2029-01-01"}, follow=True)
    assert "31 days off" in answer.content.decode()


def test_the_code_on_the_sheet_opens_it(who: Who, code: str) -> None:
    assert who("hand").get(codes.path_of("sheet", code))["Location"] == f"/round/sheets/{code}"
