"""Calendar feeds: a secret address for one person's calendar program, which can be ended."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date

import pytest
from django.test import Client
from django.utils import translation
from icalendar import Calendar

from builders import small_farm
from chirr.book.models import FeedRow
from chirr.desk import people, turns
from pages.conftest import Who

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _in_english() -> Iterator[None]:
    """A page that was asked for in Spanish leaves the language of its thread behind."""
    with translation.override("en-gb"):
        yield


def make(client: Client, name: str = "my phone", **more: str) -> str:
    """Make a feed by the form and give the path of its address."""
    page = client.post("/calendars", {"name": name, **more}, follow=True).content.decode()
    found = re.search(r"http://testserver(/calendar/[\w-]{43}\.ics)", page)
    assert found is not None
    return found[1]


def read(path: str) -> Calendar:
    answer = Client().get(path)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    return Calendar.from_ical(answer.content)


def test_a_program_that_is_not_signed_in_reads_the_feed(who: Who) -> None:
    events = read(make(who("hand"))).walk("VEVENT")
    kinds = {str(e["summary"]).split(" ")[0].rstrip(":") for e in events}
    assert {"Hatch", "Harvest", "Swap", "Feed"} <= kinds


def test_hatch_and_harvest_stand_on_the_likeliest_day_with_their_band(who: Who) -> None:
    from chirr.desk import belief, clock

    by_name = {str(e["summary"]): e for e in read(make(who("hand"))).walk("VEVENT")}
    beliefs = belief.beliefs()
    lot = beliefs.lots["G1"].harvest_ready
    harvest = by_name["Harvest lot G1 in W1-1"]
    assert lot is not None
    assert harvest.decoded("dtstart") == clock.local(lot.mid).date()
    low, high = clock.local(lot.low), clock.local(lot.high)
    assert f"between {low:%a} {low.day} {low:%b} and {high:%a} {high.day} {high:%b}" in str(harvest["description"])
    assert "chances in ten" in str(harvest["description"])
    hatch = next(e for e in by_name.values() if "C3" in str(e["summary"]))
    assert hatch.decoded("dtstart") == clock.local(beliefs.clutches["C3"].first_pinheads.mid).date()
    assert "C3 in E1-1: first pinheads about" in str(hatch["description"])


def test_a_feed_is_in_the_language_that_it_was_made_for_whoever_reads_it(who: Who) -> None:
    """RFC 5545, 3.2.10: the LANGUAGE parameter, a tag of BCP 47, says in which language a text is."""
    client = who("hand")
    english, spanish = read(make(client)), read(make(client, "oficina", language="es"))
    told = {str(e["uid"]): e for e in spanish.walk("VEVENT")}
    assert len(told) == len(english.walk("VEVENT"))
    summaries = {str(e["summary"]) for e in told.values()}
    assert "Cosechar el lote G1 en W1-1" in summaries
    assert any(s.startswith("Eclosión: ") for s in summaries)
    for event in told.values():
        assert event["summary"].params["LANGUAGE"] == "es"
    english_days = sorted(e.decoded("dtstart") for e in english.walk("VEVENT"))
    assert sorted(e.decoded("dtstart") for e in told.values()) == english_days, "days are the same in any language"
    words = " ".join(str(e.get("description", "")) + str(e["summary"]) for e in told.values())
    assert not re.search(r"\b(about|between|pinheads|Swap|Feed|If every|Ready)\b", words)
    harvest = next(e for e in told.values() if str(e["summary"]).startswith("Cosechar"))
    assert re.search(r"\d,\d+ kg", str(harvest["description"])), "a decimal comma"


def test_a_feed_made_on_a_spanish_page_is_spanish_and_no_other_language_is_taken(who: Who) -> None:
    client = who("hand")
    client.cookies["language"] = "es"
    assert 'value="es" selected' in client.get("/calendars").content.decode()
    assert client.post("/calendars", {"name": "x", "language": "xx"}).status_code == 422
    make(client, "taller")
    assert FeedRow.objects.get().language == "es"


def test_a_tray_that_has_hatched_is_not_told_again(who: Who) -> None:
    from chirr.book import actions, ledger
    from chirr.desk import belief
    from chirr.records import Entry

    def told() -> str:
        return " ".join(" ".join((t.says, *t.more)) for t in turns.turns() if t.kind == "Hatch")

    assert "C2" in told()
    at = small_farm.NOW - 7200
    actions.record([Entry(id=small_farm.entry_id(80), at=at, person="Bram", deed="hatch", clutch="C2")],
                   actor=small_farm.HAND)  # fmt: skip
    ledger.forget()
    belief.forget()
    assert "C2" not in told()
    assert "C3" in told()


def test_swaps_stand_on_the_days_of_the_farms_turn(who: Who) -> None:
    """The farm swaps every third day; the tray of the small farm went in on its 27th day, a Sunday."""
    swaps = [t.day for t in turns.turns() if t.kind == "Swap trays"]
    assert swaps[0] == date(2027, 3, 31)
    assert swaps[1:4] == [date(2027, 4, 3), date(2027, 4, 6), date(2027, 4, 9)]


def test_an_event_keeps_its_uid_from_one_reading_to_the_next(who: Who) -> None:
    path = make(who("hand"))
    first, second = ({str(e["uid"]) for e in read(path).walk("VEVENT")} for _ in range(2))
    assert first == second
    assert len(first) == len(read(path).walk("VEVENT"))


def test_no_money_stands_in_a_feed(who: Who) -> None:
    for person in ("owner", "hand"):
        text = Client().get(make(who(person))).content.decode()
        assert "9,173" not in text
        assert "9173" not in text
        assert "EUR" not in text


def test_the_address_is_shown_once_and_kept_only_as_its_hash(who: Who) -> None:
    client = who("hand")
    path = make(client)
    token = path.removeprefix("/calendar/").removesuffix(".ics")
    assert token not in client.get("/calendars").content.decode()
    assert token not in str(list(FeedRow.objects.values_list()))


def test_an_ended_feed_answers_nobody_and_the_others_go_on(who: Who) -> None:
    client = who("hand")
    lost, kept = make(client, "lost phone"), make(client, "office")
    client.post("/calendars", {"do": "end", "feed": FeedRow.objects.get(name="lost phone").id})
    assert Client().get(lost).status_code == 404
    assert Client().get(kept).status_code == 200


def test_each_sees_their_own_feeds_and_the_owner_sees_and_ends_all(who: Who) -> None:
    hand, owner = who("hand"), who("owner")
    make(hand, "phone of Bram")
    make(owner, "desk of Aoife")
    assert "desk of Aoife" not in hand.get("/calendars").content.decode()
    other = FeedRow.objects.get(name="desk of Aoife").id
    assert hand.post("/calendars", {"do": "end", "feed": other}).status_code == 404
    assert "phone of Bram" in owner.get("/calendars").content.decode()
    owner.post("/calendars", {"do": "end", "feed": FeedRow.objects.get(name="phone of Bram").id})
    assert [f.name for f in FeedRow.objects.all()] == ["desk of Aoife"]


def test_a_reader_makes_none(who: Who) -> None:
    assert who("reader").post("/calendars", {"name": "x"}).status_code == 403
    assert not FeedRow.objects.exists()


def test_who_has_no_sign_in_any_more_or_became_a_reader_reads_no_more(who: Who) -> None:
    path = make(who("hand"))
    people.save_person("Bram", "reader", actor=small_farm.OWNER)
    assert Client().get(path).status_code == 404
    people.save_person("Bram", "hand", actor=small_farm.OWNER)
    assert Client().get(path).status_code == 200
    people.end_sign_in("Bram", actor=small_farm.OWNER)
    assert Client().get(path).status_code == 404


@pytest.mark.parametrize("token", ["x", "a" * 43, "..%2f"])
def test_a_made_up_address_is_not_found(farm: None, token: str) -> None:
    assert Client().get(f"/calendar/{token}.ics").status_code == 404


@pytest.mark.parametrize("name", ["", "   ", "x" * 61])
def test_a_feed_needs_a_name(who: Who, name: str) -> None:
    answer = who("hand").post("/calendars", {"name": name})
    assert answer.status_code == 422
    assert "Give a name" in answer.content.decode()
