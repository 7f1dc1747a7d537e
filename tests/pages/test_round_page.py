"""The Round in the browser: a tap, a whole bin, undo, the clock."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from html import unescape

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from builders import small_farm
from chirr.book import ledger
from chirr.desk import browse, clock
from chirr.desk.shapes import RoundItem
from chirr.pages.roundclock import LONGEST_GAP_MIN, RoundClock
from pages.conftest import Who

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("farm")]
WRITTEN = len(small_farm.entries())


def keys(client: Client, kind: str = "") -> list[str]:
    html = client.get("/round").content.decode()
    return [k for k in re.findall(r'name="key" value="([^"]+)"', html) if k.startswith(kind)]


def test_one_tap_writes_the_entry_and_undo_takes_it_back(who: Who) -> None:
    hand = who("hand")
    key = keys(hand, "feed:")[0]
    hand.post("/round/do", {"key": key, "says": "Feed"})
    line = browse.search().lines[0]
    assert (line.deed, line.person, line.at) == ("feed", "Bram", small_farm.NOW)
    assert key not in keys(hand)
    assert "Undo" in hand.get("/round").content.decode()
    hand.post("/round/undo")
    assert browse.line(line.id).standing == "withdrawn"
    assert key in keys(hand)
    assert "Undo" not in hand.get("/round").content.decode()


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ("day=2031-99-99", "The day “2031-99-99” was not understood; today is shown."),
        ("day=1999-01-01", "The round reaches 400 days back and ahead; today is shown."),
        ("hands=abc", "The number of people “abc” was not understood; 1 is taken."),
        ("hands=²", "The number of people “²” was not understood; 1 is taken."),
        ("each=7", "The minutes “7” for each were not understood; 240 is taken."),
    ],
)
def test_what_the_address_asks_and_does_not_get_is_told(who: Who, asked: str, told: str) -> None:
    html = unescape(who("hand").get(f"/round?{asked}").content.decode())
    assert told in html
    assert html.count("was not understood") + html.count("were not understood") + html.count("reaches 400") == 1
    assert "Today’s round" in html


def test_an_address_that_is_understood_is_told_nothing(who: Who) -> None:
    day = clock.today() + timedelta(days=2)
    html = who("hand").get(f"/round?day={day.isoformat()}&hands=2&each=60").content.decode()
    assert "understood" not in html
    assert "understood" not in who("hand").get("/round?day=&hands=&each=").content.decode()


def test_the_same_tap_twice_writes_once(who: Who) -> None:
    hand = who("hand")
    key = keys(hand, "feed:")[0]
    hand.post("/round/do", {"key": key})
    answer = hand.post("/round/do", {"key": key}, follow=True)
    assert "That was done already." in answer.content.decode()
    assert ledger.top_seq() == WRITTEN + 1


def test_a_whole_bin_is_one_tap_and_one_undo(who: Who) -> None:
    hand = who("hand")
    together = [k for k in keys(hand) if k.endswith(":W1-1")]
    together = list(dict.fromkeys(k for k in together if k.split(":")[0] in ("feed", "water")))
    assert len(together) == 2
    hand.post("/round/do", {"key": together})
    assert ledger.top_seq() == WRITTEN + 2
    hand.post("/round/undo")
    assert {line.standing for line in browse.search().lines[:4] if line.deed != "correct"} <= {"withdrawn", ""}
    assert set(together) <= set(keys(hand))


def test_the_button_of_a_whole_bin_names_what_it_does_and_says_so_with_the_way_back_to_the_stop(who: Who) -> None:
    hand = who("hand")
    html = hand.get("/round").content.decode()
    asked = next(v for v in re.findall(r'name="whole" value="([^"]+)"', html) if ":W1-1" in v)
    answer = hand.post("/round/do", {"whole": unescape(asked)})
    written = ledger.top_seq() - WRITTEN
    assert written == len(json.loads(unescape(asked))) > 1
    assert answer.headers["Location"] == "/round#bin_3aW1-1"
    assert f"W1-1: {written} things done" in hand.get("/round").content.decode()


def test_a_button_that_no_page_of_ours_has_writes_nothing_and_says_so(who: Who) -> None:
    answer = who("hand").post("/round/do", {"whole": "W1-1: 2 things done"}, follow=True)
    assert "nothing was written. Open the page afresh" in answer.content.decode()
    assert ledger.top_seq() == WRITTEN


def stops(html: str) -> list[str]:
    return re.findall(r'<article class="stop[^"]*" id="([^"]+)"', html)


def test_the_page_has_the_first_stops_and_tells_where_the_others_are(who: Who, monkeypatch: pytest.MonkeyPatch) -> None:
    hand = who("hand")
    whole = hand.get("/round").content.decode()
    assert "data-further" not in whole, "few stops come at once"
    monkeypatch.setattr("chirr.pages.views.round.FIRST", 2)
    first = hand.get("/round").content.decode()
    (where,) = re.findall(r'data-further="([^"]+)"', first)
    others = hand.get(unescape(where)).content.decode()
    assert "<html" not in others
    assert (len(stops(first)), stops(first) + stops(others)) == (2, stops(whole))
    headings = r'<h2 class="group">.*?</h2>'
    assert re.findall(headings, first) + re.findall(headings, others) == re.findall(headings, whole)
    assert stops(hand.get("/round", headers={"HX-Request": "true", "HX-Target": "round"}).content.decode()) == stops(
        whole
    )
    # without scripts the link leads to all of them, which then stay
    assert 'href="/round?all=1"' in first
    assert stops(hand.get("/round?all=1").content.decode()) == stops(whole)
    assert stops(hand.get("/round").content.decode()) == stops(whole)


def test_the_other_stops_follow_though_the_last_one_of_the_page_was_done_meanwhile(
    who: Who, monkeypatch: pytest.MonkeyPatch
) -> None:
    hand = who("hand")
    whole = stops(hand.get("/round").content.decode())
    monkeypatch.setattr("chirr.pages.views.round.FIRST", 2)
    assert stops(hand.get("/round?after=bin:gone").content.decode()) == whole[2:]


def test_a_running_clock_gives_the_minutes_since_the_last_tap_to_the_entries(
    who: Who, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = [1_000_000.0]
    monkeypatch.setattr("chirr.pages.views.round.time.time", lambda: now[0])
    hand = who("hand")
    hand.post("/round/clock", {"do": "start"})
    now[0] += 6 * 60
    pair = list(dict.fromkeys(k for k in keys(hand) if k in ("feed:W1-1", "water:W1-1")))
    hand.post("/round/do", {"key": pair})
    entries = [browse.entry(line.id) for line in browse.search().lines[:2]]
    assert sum(e.minutes or 0 for e in entries) == pytest.approx(6.0, abs=0.02)
    now[0] += 3 * 60 * 60
    key = keys(hand, "feed:")[0]
    hand.post("/round/do", {"key": key})
    assert browse.entry(browse.search().lines[0].id).minutes == LONGEST_GAP_MIN


def test_without_the_clock_no_minutes_are_made_up(who: Who) -> None:
    hand = who("hand")
    hand.post("/round/do", {"key": keys(hand, "feed:")[0]})
    assert browse.entry(browse.search().lines[0].id).minutes is None


def test_half_an_hour_later_the_undo_button_is_gone(who: Who, monkeypatch: pytest.MonkeyPatch) -> None:
    now = [1_000_000.0]
    monkeypatch.setattr("chirr.pages.views.round.time.time", lambda: now[0])
    hand = who("hand")
    hand.post("/round/do", {"key": keys(hand, "feed:")[0]})
    now[0] += 31 * 60
    assert "Undo" not in hand.get("/round").content.decode()
    hand.post("/round/undo")
    assert browse.search().lines[0].standing == ""


def test_htmx_gets_only_the_sheet_and_the_words_with_it(who: Who) -> None:
    hand = who("hand")
    answer = hand.post("/round/do", {"key": keys(hand, "feed:")[0]}, headers={"HX-Request": "true"}).content.decode()
    assert answer.lstrip().startswith('<div id="round">')
    assert "<html" not in answer


def test_a_reader_sees_the_round_and_no_button_to_do_it(who: Who) -> None:
    html = who("reader").get("/round").content.decode()
    assert "/round/do" not in html
    assert "feed" in html.lower()


def test_another_day_is_a_look_and_not_to_be_ticked(who: Who) -> None:
    hand = who("hand")
    tomorrow = clock.today() + timedelta(days=1)
    html = hand.get(f"/round?day={tomorrow}").content.decode()
    assert "A look ahead" in html
    assert "/round/do" not in html
    assert hand.get("/round?day=yesterday").status_code == 200


def test_a_few_people_in_little_time_get_to_a_line_that_says_so(who: Who) -> None:
    small_farm_hand = who("hand")
    html = small_farm_hand.get("/round?hands=2&each=30").content.decode()
    assert "2 people for 30 min" in html
    assert "2 people for 30 min" in small_farm_hand.get("/round").content.decode()  # kept for the session


def test_an_item_that_asks_for_something_opens_its_form_filled_as_far_as_known(who: Who) -> None:
    from chirr.pages.views.round import _form_of, how

    item = RoundItem(
        key="weigh:G1",
        deed="weigh",
        what="weigh lot G1",
        why="a week ago",
        minutes=4.0,
        urgency="due",
        bin="W1-1",
        lot="G1",
        prefill={"unit": "g"},
        asks=("sample", "quantity"),
    )
    assert how(item, live=True) == "form"
    html = who("hand").get(_form_of(item)).content.decode()
    assert 'name="next" value="/round#weigh_3aG1"' in html
    assert '<option value="G1" selected>' in html
    assert '<option value="W1-1" selected>' in html


def test_the_sheet_asks_the_database_a_bounded_number_of_questions(who: Who) -> None:
    hand = who("hand")
    hand.get("/round")
    with CaptureQueriesContext(connection) as asked:
        hand.get("/round")
    assert 0 < len(asked) <= 30


def test_breaks_do_not_count_in_the_clock() -> None:
    clock = RoundClock().start(0).pause(600).start(10_000)
    assert clock.minutes(10_060) == 11
    assert clock.stop().minutes(20_000) == 0
    assert RoundClock().since_last_tap(50) is None
    assert RoundClock.of({"round_clock": {"began": "noon"}}) == RoundClock()
