"""Three people and an outsider at every door: each address, each person, what they get."""

from __future__ import annotations

import pytest
from django.urls import get_resolver

from builders import small_farm
from pages.conftest import Who

SEE = {"owner": 200, "hand": 200, "reader": 200}
WORK = {"owner": 200, "hand": 200, "reader": 403}
OWNER = {"owner": 200, "hand": 403, "reader": 403}
HOME = {"owner": 302, "hand": 302, "reader": 302, "outsider": 302, "stranger": 302}
ENTRY = small_farm.entry_id(12)

GETS: dict[str, tuple[str, dict[str, int]]] = {
    "home": ("/", HOME),
    "sign-in": ("/sign-in", {"owner": 302, "hand": 302, "reader": 302, "outsider": 200, "stranger": 302}),
    "me": ("/me", SEE),
    "round": ("/round", SEE),
    "racks": ("/racks", SEE),
    "bin": ("/bins/W1-1", SEE),
    "lot": ("/lots/G1", SEE),
    "clutch": ("/clutches/C2", SEE),
    "why": ("/why/lot/G1", SEE),
    "ahead": ("/ahead", SEE),
    "promise": ("/ahead/promise?amount=10&unit=crickets&size_class=big&day=2027-04-10", SEE),
    "breeders": ("/ahead/breeders", SEE),
    "grade": ("/ahead/grade", SEE),
    "trays": ("/trays", SEE),
    "laying": ("/trays/laying?adults=600", SEE),
    "trials": ("/trials", SEE),
    "trial": ("/trials/none-such", dict.fromkeys(SEE, 404)),
    "trial-labels": ("/trial-labels/none-such", dict.fromkeys(SEE, 404)),
    "hours": ("/round/hours", SEE),
    "count": ("/count", WORK),
    "count-sample": ("/count/sample", WORK),
    "count-marks": ("/count/none-such", {"owner": 404, "hand": 404, "reader": 403}),
    "count-picture": ("/count/none-such/picture", dict.fromkeys(SEE, 404)),
    "book": ("/book", SEE),
    "add": ("/book/add", WORK),
    "book-export": ("/book/export", OWNER),
    "entry": (f"/book/{ENTRY}", SEE),
    "correct": (f"/book/{ENTRY}/correct", WORK),
    "replace": (f"/book/{ENTRY}/replace", WORK),
    "farm": ("/farm", SEE),
    "farm-card": ("/farm/card", OWNER),
    "farm-size-classes": ("/farm/size-classes", OWNER),
    "farm-room-new": ("/farm/rooms/", OWNER),
    "farm-room": ("/farm/rooms/east", OWNER),
    "farm-bin-new": ("/farm/bins/", OWNER),
    "farm-bin": ("/farm/bins/W1-1", OWNER),
    "farm-tray-type-new": ("/farm/tray-types/", OWNER),
    "farm-tray-type": ("/farm/tray-types/slim", OWNER),
    "farm-person-new": ("/farm/people/", OWNER),
    "farm-person": ("/farm/people/Bram", OWNER),
    "cautions": ("/cautions", SEE),
    "at": ("/at/bin/W1-1", dict.fromkeys(SEE, 302)),
    "farm-labels": ("/farm/labels", WORK),
    "farm-strips": ("/farm/strips", SEE),
    "round-print": ("/round/print", WORK),
    "round-sheet": ("/round/sheets/NONE", dict.fromkeys(SEE, 404)),
    "round-paper": ("/round/sheets/NONE/paper", {"owner": 404, "hand": 404, "reader": 403}),
    "phone-pocket": ("/phone/pocket", SEE),
    "phone-waiting": ("/phone/waiting", SEE),
    "settle": ("/settle", SEE),
    "hand-over": ("/round/hand-over", SEE),
    "farm-phone": ("/farm/phone", SEE),
    "farm-devices": ("/farm/devices", OWNER),
    "calendars": ("/calendars", WORK),
    "calendar": ("/calendar/none-such.ics", dict.fromkeys((*HOME,), 404)),
    "switch": ("/switch", HOME),
    "set-up": ("/set-up", dict.fromkeys((*HOME,), 302)),
}
"""What each person gets by looking; else an outsider is sent to sign in and a stranger refused."""

POSTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "round-do": ("/round/do", ("owner", "hand")),
    "round-undo": ("/round/undo", ("owner", "hand")),
    "round-clock": ("/round/clock", ("owner", "hand")),
    "count": ("/count", ("owner", "hand")),
    "farm-labels": ("/farm/labels", ("owner", "hand")),
    "round-print": ("/round/print", ("owner", "hand")),
    "round-sheet-photo": ("/round/sheets/NONE/photo", ("owner", "hand")),
    "add": ("/book/add", ("owner", "hand")),
    "correct": (f"/book/{ENTRY}/correct", ("owner", "hand")),
    "replace": (f"/book/{ENTRY}/replace", ("owner", "hand")),
    "farm-card": ("/farm/card", ("owner",)),
    "farm-size-classes": ("/farm/size-classes", ("owner",)),
    "farm-room-new": ("/farm/rooms/", ("owner",)),
    "farm-room": ("/farm/rooms/east", ("owner",)),
    "farm-bin-new": ("/farm/bins/", ("owner",)),
    "farm-bin": ("/farm/bins/W1-1", ("owner",)),
    "farm-tray-type-new": ("/farm/tray-types/", ("owner",)),
    "farm-tray-type": ("/farm/tray-types/slim", ("owner",)),
    "farm-person-new": ("/farm/people/", ("owner",)),
    "farm-person": ("/farm/people/Bram", ("owner",)),
    "phone-entries": ("/phone/entries", ("owner", "hand")),
    "settle-give-way": ("/settle/give-way", ("owner", "hand")),
    "settle-both": ("/settle/both", ("owner", "hand")),
    "pin": ("/me/pin", ("owner", "hand", "reader")),
    "calendars": ("/calendars", ("owner", "hand")),
    "farm-devices": ("/farm/devices", ("owner",)),
    "me": ("/me", ("owner", "hand", "reader")),
}
ANYBODY = {"sign-out", "look", "sign-in", "set-up", "set-up-drawing", "worker", "manifest", "phone-shell", "phone-now"}
PEOPLE = ("owner", "hand", "reader", "stranger", "outsider")


def test_every_address_of_the_pages_is_tried_here() -> None:
    names = {p.name for p in get_resolver().url_patterns[0].url_patterns}
    assert names == set(GETS) | set(POSTS) | ANYBODY


@pytest.mark.parametrize("name", GETS)
def test_each_person_looks_and_gets_what_their_role_allows(who: Who, name: str) -> None:
    path, expected = GETS[name]
    got = {person: who(person).get(path) for person in PEOPLE}
    assert {p: r.status_code for p, r in got.items()} == {"stranger": 403, "outsider": 302} | expected
    if "outsider" not in expected:
        assert got["outsider"]["Location"].startswith("/sign-in")


@pytest.mark.parametrize("name", POSTS)
def test_only_those_who_may_write_get_past_the_door(who: Who, name: str) -> None:
    path, allowed = POSTS[name]
    for person in PEOPLE:
        answer = who(person).post(path)
        if person in allowed:
            assert answer.status_code in (200, 302, 422), person
        elif person == "outsider":
            assert answer.status_code == 302
            assert answer["Location"] == "/sign-in"
        else:
            assert answer.status_code == 403, person


def test_a_refused_writer_leaves_the_book_as_it_was(who: Who) -> None:
    from chirr.book import ledger

    before = ledger.top_seq()
    who("reader").post("/book/add", {"deed": "clean", "bin": "W1-1"})
    who("outsider").post("/book/add", {"deed": "clean", "bin": "W1-1"})
    who("reader").post("/round/do", {"key": "feed:W1-1"})
    assert ledger.top_seq() == before


def test_only_the_owner_sees_the_wage(who: Who) -> None:
    assert "9,173.61" in who("owner").get("/farm").content.decode()
    for person in ("hand", "reader"):
        for path, allowed in GETS.values():
            if allowed is SEE:
                assert b"9,173.61" not in who(person).get(path).content, (person, path)


def test_a_part_of_a_page_asked_for_after_the_session_ended_takes_the_whole_page_to_sign_in(who: Who) -> None:
    answer = who("outsider").post("/round/do", {"key": "feed:W1-1"}, headers={"HX-Request": "true"})
    assert answer.headers["HX-Redirect"] == "/sign-in"


def test_a_view_without_a_declared_door_is_shut(who: Who) -> None:
    from django.test import RequestFactory

    from chirr.pages.access import door_of
    from chirr.pages.middleware import _refusal

    request = RequestFactory().get("/x")
    request.person, request.card = small_farm.OWNER, None  # type: ignore[attr-defined]
    request.user = who("owner").get("/me").wsgi_request.user
    assert door_of(lambda _: None) is None
    assert _refusal(request, None).status_code == 403  # type: ignore[union-attr]


@pytest.mark.parametrize(
    "path",
    [
        "/bins/nowhere",
        "/lots/none",
        "/clutches/none",
        f"/book/{small_farm.entry_id(99)}",
        "/farm/rooms/none",
        "/farm/people/nobody",
        "/nothing",
    ],
)
def test_what_the_farm_does_not_have_is_not_found(who: Who, path: str) -> None:
    assert who("owner").get(path).status_code == 404


def test_every_answer_carries_the_strict_policy_and_no_inline_script_or_style(who: Who) -> None:
    import re

    for path, allowed in GETS.values():
        if allowed.get("owner") != 200 or path.endswith("export"):
            continue
        answer = who("owner").get(path)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'self'" in policy
        assert "unsafe" not in policy
        if "html" not in answer.headers["Content-Type"]:
            continue
        html = answer.content.decode()
        scripts = re.findall(r"<script(?![^>]*\bsrc=)([^>]*)>", html)
        assert all('type="application/json"' in attributes for attributes in scripts), path
        assert not re.search(r"\sstyle=|\son[a-z]+=|javascript:|hx-on|hx-vals=.js", html), path
