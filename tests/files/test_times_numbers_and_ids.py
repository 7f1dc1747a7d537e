"""How single cells are understood."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chirr.files.entries import made_id
from chirr.files.faults import Wrong
from chirr.files.folder import read_folder
from chirr.files.kinds import Number, Setting, Time, number_text, time_text

NEW_YORK = Setting(zone=ZoneInfo("America/New_York"))


def utc(*parts):
    return int(datetime(*parts, tzinfo=UTC).timestamp())


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("2030-05-01T08:00", utc(2030, 5, 1, 12)),
        ("2030-05-01 08:00", utc(2030, 5, 1, 12)),
        ("2030-05-01T08:00:30", utc(2030, 5, 1, 12, 0, 30)),
        ("2030-05-01T08:00:30.75", utc(2030, 5, 1, 12, 0, 30)),
        ("2030-05-01T08:00Z", utc(2030, 5, 1, 8)),
        ("2030-05-01T08:00-05:00", utc(2030, 5, 1, 13)),
        ("2030-05-01 08:00 +05:45", utc(2030, 5, 1, 2, 15)),
        ("2030-05-01T08:00+0545", utc(2030, 5, 1, 2, 15)),
        ("20300501T0800", utc(2030, 5, 1, 12)),
    ],
)
def test_times_of_iso_8601_are_read_in_the_farms_zone_or_by_their_offset(text, at):
    assert Time().reader(NEW_YORK)(text) == at


def test_the_hour_that_comes_twice_is_the_first_and_the_hour_that_is_skipped_a_fault():
    # US law, 15 U.S.C. 260a: clocks go forward on the second Sunday of March at 2:00, back on the first of November.
    read = Time().reader(NEW_YORK)
    assert read("2030-11-03T01:30") == utc(2030, 11, 3, 5, 30)
    assert read("2030-11-03T01:30-05:00") == utc(2030, 11, 3, 6, 30)
    skipped = read("2030-03-10T02:30")
    assert isinstance(skipped, Wrong)
    assert "the clocks in America/New_York skipped" in skipped.expected
    assert read("2030-03-10T03:30") == utc(2030, 3, 10, 7, 30)


def test_a_sensors_second_reading_in_the_doubled_hour_is_an_hour_later(put, sound):
    rows = "".join(
        f"2030-11-03T{hour}:30,loft,1,{t},\n" for hour, t in (("00", 29), ("01", 28), ("01", 28), ("02", 27))
    )
    reading = read_folder(put({"readings.csv": "at,room,level,temperature_c,humidity_pct\n" + rows}))
    assert reading.faults == []
    assert [r.at for r in reading.folder.readings] == [utc(2030, 11, 3, h, 30) for h in (4, 5, 6, 7)]


@given(
    at=st.integers(631_152_000, 7_258_118_399),
    zone=st.sampled_from(["Asia/Kathmandu", "America/Lima", "Europe/London"]),
)
def test_a_written_time_reads_as_itself(at, zone):
    setting = Setting(zone=ZoneInfo(zone))
    assert Time().reader(setting)(time_text(at, setting.zone)) == at


def test_seconds_are_written_only_when_there_are_any():
    zone = ZoneInfo("Asia/Kathmandu")
    assert time_text(utc(2030, 5, 1, 2, 15), zone) == "2030-05-01T08:00+05:45"
    assert time_text(utc(2030, 5, 1, 2, 15, 7), zone) == "2030-05-01T08:00:07+05:45"


@given(st.floats(-1e12, 1e12))
def test_a_written_number_reads_as_itself_and_bears_no_needless_fraction(number):
    text = number_text(number)
    assert Number(-1e12, 1e12).reader(NEW_YORK)(text) == number
    assert not text.endswith(".0")


@pytest.mark.parametrize(("text", "value"), [("1", 1), ("1.0", 1), ("+3", 3), ("1e1", 10)])
def test_whole_numbers_may_come_with_a_fraction_of_nought(text, value):
    result = Number(1, 50, whole=True).reader(NEW_YORK)(text)
    assert (result, type(result)) == (value, int)


def test_a_decimal_comma_counts_only_where_the_comma_separates_nothing():
    semicolons = Setting(zone=NEW_YORK.zone, decimal_comma=True)
    assert Number(0, 9).reader(semicolons)("1,5") == 1.5
    assert isinstance(Number(0, 9).reader(NEW_YORK)("1,5"), Wrong)
    assert isinstance(Number(0, 9999).reader(semicolons)("1.200,5"), Wrong)


@given(at=st.integers(631_152_000, 7_258_118_399), content=st.binary(max_size=20), twin=st.integers(0, 3))
def test_a_made_id_is_a_version_8_uuid_of_rfc_9562_led_by_its_time(at, content, twin):
    made = uuid.UUID(made_id(at, content, twin))
    assert (made.version, made.variant) == (8, uuid.RFC_4122)
    assert made.int >> 80 == at * 1000


ROWS = ",2030-05-02T08:00,moss,feed,L2,,,,200,g,,,,,1,,\n"


def test_rows_without_ids_get_the_same_ids_at_every_reading_and_twins_get_their_own(put, sound):
    first = read_folder(put({"entries.csv": sound["entries.csv"] + ROWS + ROWS})).folder.entries
    again = read_folder(put({"entries.csv": sound["entries.csv"] + ROWS + ROWS})).folder.entries
    assert [e.id for e in first] == [e.id for e in again]
    assert len({e.id for e in first}) == 5


def test_a_made_id_does_not_hang_on_how_the_row_is_spelt(put, sound):
    spelt = "at,deed,bin,quantity,unit,minutes,person\n2030-05-02 12:00Z, Feed ,L2,200.0,G,1.0,moss\n"
    plain = read_folder(put({"entries.csv": sound["entries.csv"].splitlines()[0] + "\n" + ROWS})).folder.entries
    other = read_folder(put({"entries.csv": spelt})).folder.entries
    assert plain == other


@pytest.mark.parametrize(
    "text",
    [
        "01C0DF05-11C0-7025-9E37-79B97F4A7C15",
        "01c0df0511c070259e3779b97f4a7c15",
        "{01c0df05-11c0-7025-9e37-79b97f4a7c15}",
    ],
)
def test_uuids_of_any_spelling_are_kept_in_small_letters(put, sound, text):
    row = ROWS.replace(",", f"{text},", 1)
    reading = read_folder(put({"entries.csv": sound["entries.csv"] + row}))
    assert reading.folder.entries[-1].id == "01c0df05-11c0-7025-9e37-79b97f4a7c15"


def test_names_that_look_alike_are_alike(put, sound):
    composed, decomposed = "bo\u00eete", "boi\u0302te"
    bins = sound["bins.csv"] + f"{composed},loft,1,3,nursery,8000,\n"
    row = ROWS.replace("L2", decomposed)
    reading = read_folder(put({"bins.csv": bins, "entries.csv": sound["entries.csv"] + row}))
    assert reading.faults == []
    assert reading.folder.entries[-1].bin == composed
