"""Deed forms: what is missing or cannot be gets one plain sentence beside its field, and nothing is written."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from builders import small_farm
from chirr.book import ledger
from chirr.book.actions import NotAllowed
from chirr.deeds import DEEDS
from chirr.desk import forms
from chirr.desk.forms import FormFaults, Sheet, add_entry, entry_from_form, values_of
from chirr.records import Entry

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("farm")]
NOW = small_farm.NOW


def read(**values: str) -> Entry:
    return entry_from_form(values, actor=small_farm.HAND, now=NOW)


def faults(**values: str) -> dict[str, str]:
    with pytest.raises(FormFaults) as caught:
        add_entry(values, actor=small_farm.HAND, now=NOW)
    return caught.value.faults


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({}, "deed", "Choose what was done."),
        ({"deed": "bake"}, "deed", "Choose what was done."),
        ({"deed": "clean"}, "bin", "Say which bin."),
        ({"deed": "clean", "bin": "Z9"}, "bin", "Bin Z9 does not fit here; expected a bin that the farm has."),
        ({"deed": "hatch"}, "clutch", "Say which clutch."),
        ({"deed": "hatch", "clutch": "C1"}, "clutch", "Clutch C1, emptied on"),
        (
            {"deed": "pull", "clutch": "C9", "to_bin": "W1-2", "to_lot": "G9"},
            "clutch",
            "a clutch that was laid before this time",
        ),
        (
            {"deed": "pull", "clutch": "C3", "to_room": "attic", "to_stack": "1", "to_level": "1"},
            "to_place",
            "The farm has no room attic. Its rooms are east, west.",
        ),
        (
            {"deed": "pull", "clutch": "C3", "to_room": "west", "to_stack": "1"},
            "to_place",
            "Say where it stands: room, stack and level.",
        ),
        ({"deed": "pull", "clutch": "C3", "to_place": "west"}, "to_place", "“west” is not a place."),
        ({"deed": "count", "lot": "G1", "quantity": "many", "unit": "crickets"}, "quantity", "“many” is not a number."),
        (
            {"deed": "count", "lot": "G1", "quantity": "-4", "unit": "crickets"},
            "quantity",
            "This cannot be less than nothing.",
        ),
        ({"deed": "count", "lot": "G1", "quantity": "9e9", "unit": "crickets"}, "quantity", "is not a number"),
        ({"deed": "count", "lot": "G1", "quantity": "90000000", "unit": "crickets"}, "quantity", "cannot be right"),
        (
            {"deed": "count", "lot": "G1", "quantity": "1,850", "unit": "crickets"},
            "quantity",
            "can be read two ways. Write 1850 or 1.850.",
        ),
        ({"deed": "count", "lot": "G1", "quantity": "12.5", "unit": "crickets"}, "quantity", "Give whole crickets."),
        ({"deed": "count", "lot": "G1", "quantity": "12", "unit": "kg"}, "unit", "Choose eggs, pinheads or crickets."),
        ({"deed": "count", "lot": "G1", "quantity": "12"}, "unit", "Choose the unit."),
        ({"deed": "count", "lot": "G1", "quantity": "12", "unit": "eggs"}, "unit", "Eggs counted for lot G1"),
        (
            {"deed": "weigh", "lot": "G1", "quantity": "3", "unit": "g"},
            "sample",
            "Say how many crickets were in the sample.",
        ),
        (
            {"deed": "weigh", "lot": "G1", "quantity": "3", "unit": "g", "sample": "2.5"},
            "sample",
            "Write a whole number.",
        ),
        ({"deed": "feed", "bin": "W1-1", "quantity": "3"}, "unit", "Say what was measured: choose g, kg or l."),
        ({"deed": "feed", "bin": "W1-1", "quantity": "0", "unit": "g"}, "quantity", "Nothing is not an amount."),
        ({"deed": "harvest", "lot": "G1", "quantity": "70000", "unit": "kg"}, "quantity", "cannot be right"),
        ({"deed": "clean", "bin": "W1-1", "at": "2027-05-01T07:00"}, "at", "This time is still to come."),
        ({"deed": "clean", "bin": "W1-1", "at": "soon"}, "at", "“soon” is not a date and time."),
        ({"deed": "clean", "bin": "W1-1", "at": "0027-01-01T07:00"}, "at", "too long ago"),
        ({"deed": "clean", "bin": "W1-1", "minutes": "5000"}, "minutes", "cannot be right"),
        (
            {
                "deed": "stock",
                "bin": "E1-1",
                "lot": "B7",
                "quantity": "90",
                "unit": "crickets",
                "stage": "adult",
                "age_days": "3",
            },
            "bin",
            "where lot B1 lives",
        ),
        (
            {
                "deed": "stock",
                "bin": "E1-2",
                "lot": "B7",
                "quantity": "90",
                "unit": "crickets",
                "stage": "egg",
                "age_days": "3",
            },
            "stage",
            "Choose pinhead, nymph or adult.",
        ),
        ({"deed": "note"}, "note", "Write what there is to say."),
        ({"deed": "note", "note": "x" * 2001}, "note", "Keep this under 2000 letters; it has 2001."),
        ({"deed": "clean", "bin": "W" * 61}, "bin", "Keep this under 60 letters; it has 61."),
    ],
)
def test_each_slip_gets_one_sentence_beside_its_field_and_nothing_is_written(
    values: dict[str, str], field: str, words: str
) -> None:
    before = ledger.top_seq()
    told = faults(**values)
    assert words in told[field]
    assert len(told) == 1
    assert ledger.top_seq() == before
    assert ledger.live() == ledger.replayed()


def test_local_time_of_the_farm_becomes_epoch_seconds() -> None:
    # Dublin keeps summer time from the last Sunday of March (28 March 2027): nine there is eight in UTC
    entry = read(deed="clean", bin="W1-1", at="2027-03-30T09:00")
    assert entry.at == int(datetime(2027, 3, 30, 8, 0, tzinfo=UTC).timestamp())
    assert read(deed="clean", bin="W1-1", at="2027-03-26T09:00").at == int(
        datetime(2027, 3, 26, 9, 0, tzinfo=UTC).timestamp()
    )


def test_a_clock_five_minutes_fast_is_forgiven() -> None:
    local = datetime.fromtimestamp(NOW + 240, forms.farm_zone()).strftime("%Y-%m-%dT%H:%M")
    assert read(deed="clean", bin="W1-1", at=local).at <= NOW + forms.AHEAD_S


def test_ounces_pounds_and_gallons_become_units_of_the_book() -> None:
    # the witness is scipy.constants, which has ounce and pound in kilograms and the US gallon in cubic metres
    fed = read(deed="feed", bin="W1-1", quantity="2", unit="oz")
    assert (fed.quantity, fed.unit) == (pytest.approx(2 * constants.oz * 1000, abs=1e-5), "g")
    harvest = read(deed="harvest", lot="G1", quantity="10", unit="lb")
    assert (harvest.quantity, harvest.unit) == (pytest.approx(10 * constants.pound, abs=1e-5), "kg")
    watered = read(deed="water", bin="W1-1", quantity="1", unit="gal")
    assert (watered.quantity, watered.unit) == (pytest.approx(constants.gallon * 1000, abs=1e-5), "l")


def test_what_is_shown_in_the_other_units_is_the_same_amount() -> None:
    from chirr.pages import display

    token = display._shown.set(display.Shown(units="imperial"))
    try:
        assert display.mass_kg(10 * constants.pound) == "10 lb"
        assert display.mass_g(20 * constants.oz * 1000) == "20 oz"
        assert display.length_cm(12 * constants.inch * 100) == "12.0 in"
        assert display.area_cm2(constants.foot**2 * 1e4) == "1.00 sq ft"
        assert display.temperature_c(constants.convert_temperature(86, "F", "C")) == "86.0 °F"
    finally:
        display._shown.reset(token)


def test_an_entry_gets_a_time_ordered_uuid_of_version_seven() -> None:
    # RFC 9562 section 5.7: version nibble 7, variant bits 10
    made = read(deed="clean", bin="W1-1").id
    assert made[14] == "7"
    assert made[19] in "89ab"


def test_sending_a_form_twice_writes_one_entry() -> None:
    values = {"deed": "clean", "bin": "W1-1", "id": forms.fresh_id()}
    first = add_entry(values, actor=small_farm.HAND, now=NOW)
    second = add_entry(values, actor=small_farm.HAND, now=NOW + 9)
    assert first == second
    assert ledger.top_seq() == len(small_farm.entries()) + 1
    assert "in the book already" in faults(**values | {"bin": "W1-2"})[""]


def test_a_reader_may_not_write() -> None:
    with pytest.raises(NotAllowed):
        add_entry({"deed": "clean", "bin": "W1-1"}, actor=small_farm.READER, now=NOW)


def test_withdrawing_needs_a_reason_and_refuses_what_later_entries_rest_on() -> None:
    with pytest.raises(FormFaults, match="Write why the entry is wrong"):
        forms.withdraw(small_farm.entry_id(12), " ", actor=small_farm.HAND, now=NOW)
    with pytest.raises(FormFaults, match="A later entry would no longer fit"):
        forms.withdraw(small_farm.entry_id(2), "not laid", actor=small_farm.HAND, now=NOW)
    assert ledger.live() == ledger.replayed()


def test_the_form_of_an_entry_reads_back_as_the_same_entry() -> None:
    for old in small_farm.entries():
        values = values_of(old, forms.farm_zone()) | {"note": old.note or ""}
        again = entry_from_form(values, actor=small_farm.HAND, now=NOW)
        for column in (
            "deed",
            "bin",
            "lot",
            "clutch",
            "quantity",
            "unit",
            "cv",
            "sample",
            "to_bin",
            "to_lot",
            "to_place",
            "minutes",
            "note",
        ):
            assert getattr(again, column) == getattr(old, column), (old.deed, column)
        assert abs(again.at - old.at) < 60


@pytest.mark.parametrize("name", [n for n in DEEDS if n != "correct"])
def test_the_form_of_every_deed_shows_a_field_for_each_column_it_needs(name: str) -> None:
    from chirr.desk import farm
    from chirr.pages.fields import deed_form

    stands_for = {"to_place": "to_room", "cv": "cv_pct"}
    for way, columns in enumerate(DEEDS[name].needs):
        form = deed_form(name, way, farm.choices(), "metric")
        shown = {f.name for f in form.needed}
        assert {stands_for.get(c, c) for c in columns} - shown <= (
            {"unit"} if DEEDS[name].units == ("crickets",) else set()
        )


@given(st.floats(0.001, 9e5).map(lambda x: round(x, 3)))
def test_a_number_is_read_the_same_with_comma_point_or_spaces(value: float) -> None:
    plain = f"{value:.2f}"
    for text in (
        plain,
        plain.replace(".", ","),
        f" {plain} ",
        f"{float(plain):,.2f}",
        f"{float(plain):,.2f}".replace(",", " "),
    ):
        sheet = Sheet({"x": text})
        assert sheet.number("x", 0, 1e9) == pytest.approx(float(plain)), text
        assert not sheet.faults


@given(st.text(max_size=12))
def test_whatever_is_typed_as_a_number_gives_a_number_or_a_sentence(text: str) -> None:
    sheet = Sheet({"x": text})
    value = sheet.number("x", 0, 100)
    assert value is None or sheet.faults or 0 <= value <= 100
    assert all(words.endswith(".") for words in sheet.faults.values())
