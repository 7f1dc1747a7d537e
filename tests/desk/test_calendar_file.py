"""The calendar file, parsed back by the icalendar library and measured against RFC 5545 (and 7986)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from chirr.desk.calendar_file import Turn, as_icalendar

FEED = UUID("6f1f1f0e-6a52-4a0e-9b0b-2a4f0f6a7d11")
STAMP = datetime(2027, 3, 31, 8, 0, tzinfo=UTC)
HATCH = Turn(
    key="hatch 2027-04-02", kind="Hatch", day=date(2027, 4, 2), says="Hatch: C2, C3", path="/trays",
    more=("C2 in W1-1: first pinheads about Fri 2 Apr; eight chances in ten between Thu 1 Apr and Sat 3 Apr.", "C3"),
)  # fmt: skip


def file(*turns: Turn, name: str = "Low Barn", base: str = "") -> bytes:
    return as_icalendar(turns, name=name, feed=FEED, stamp=STAMP, base=base)


def test_what_must_be_there_is_there() -> None:
    """RFC 5545, 3.6: VERSION and PRODID once each; 3.6.1: UID and DTSTAMP in each event."""
    parsed = Calendar.from_ical(file(HATCH))
    assert parsed["version"] == "2.0"
    assert parsed["prodid"]
    [event] = parsed.walk("VEVENT")
    assert event["uid"]
    assert event.decoded("dtstamp") == STAMP
    assert event["dtstamp"].to_ical() == b"20270331T080000Z"  # 3.8.7.2: in UTC


def test_a_day_is_a_date_and_ends_the_day_after() -> None:
    """RFC 5545, 3.6.1 and 3.8.2.2: with DTSTART a DATE, DTEND is a DATE too, and not part of the event."""
    raw = file(HATCH)
    assert b"DTSTART;VALUE=DATE:20270402\r\n" in raw
    assert b"DTEND;VALUE=DATE:20270403\r\n" in raw
    assert b"TZID" not in raw, "dates and UTC only, so no VTIMEZONE is needed (3.2.19)"


def test_the_same_turn_keeps_its_uid_when_its_day_moves_and_another_calendar_has_another() -> None:
    def uid(turn: Turn, feed: UUID = FEED) -> str:
        raw = as_icalendar([turn], name="x", feed=feed, stamp=STAMP)
        return str(Calendar.from_ical(raw).walk("VEVENT")[0]["uid"])

    lot = Turn(key="harvest G1", day=date(2027, 5, 1), says="Harvest lot G1")
    moved = Turn(key="harvest G1", day=date(2027, 5, 3), says="Harvest lot G1")
    assert uid(lot) == uid(moved)
    assert uid(lot) != uid(HATCH)
    assert uid(lot) != uid(lot, UUID(int=7))


def test_lines_are_folded_as_the_standard_says() -> None:
    """RFC 5545, 3.1: at most 75 octets without the line break; CRLF and one space begin what is carried on."""
    long = Turn(key="k", day=date(2027, 4, 2), says="x" * 80, more=("å虫" * 60,))
    raw = file(long)
    assert b"\n" not in raw.replace(b"\r\n", b"")
    lines = raw.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)
    [event] = Calendar.from_ical(raw).walk("VEVENT")
    assert event["summary"] == "x" * 80
    assert event["description"] == "å虫" * 60


def test_signs_that_mean_something_in_the_file_are_escaped() -> None:
    """RFC 5545, 3.3.11: backslash, semicolon, comma and line break."""
    raw = file(Turn(key="k", day=date(2027, 4, 2), says="a,b;c\\d", more=("one", "two")))
    assert b"SUMMARY;LANGUAGE=en:a\\,b\\;c\\\\d\r\n" in raw
    assert b"DESCRIPTION;LANGUAGE=en:one\\ntwo\r\n" in raw


TEXT = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1, max_size=120)


@given(TEXT, TEXT, st.dates(date(2000, 1, 1), date(2199, 12, 30)))
def test_whatever_things_are_called_comes_back_as_it_went_in(says: str, more: str, day: date) -> None:
    raw = file(Turn(key="k", day=day, says=says, more=(more,)), name=says)
    parsed = Calendar.from_ical(raw)
    [event] = parsed.walk("VEVENT")
    assert (str(event["summary"]), str(event["description"])) == (says, more)
    assert event.decoded("dtstart") == day
    assert event.decoded("dtend") - day == timedelta(days=1)
    assert max(len(line) for line in raw.split(b"\r\n")) <= 75


def test_an_event_leads_to_its_page_and_makes_nobody_busy() -> None:
    [event] = Calendar.from_ical(file(HATCH, base="https://hazel.local:8765/")).walk("VEVENT")
    assert event["url"] == "https://hazel.local:8765/trays"
    assert event["transp"] == "TRANSPARENT"


def test_an_empty_calendar_is_still_one() -> None:
    assert Calendar.from_ical(file()).walk("VEVENT") == []


def test_programs_are_told_to_look_again_in_some_hours() -> None:
    assert b"REFRESH-INTERVAL;VALUE=DURATION:PT6H" in file()  # RFC 7986, 5.7
