"""Each kind of fault in one cell, with the file, line and column at which it must be reported."""

from __future__ import annotations

import pytest

from chirr.files.columns import ENTRIES
from chirr.files.folder import read_folder

ID1 = "00000000-0000-4000-8000-000000000001"
NOBODY = "00000000-0000-4000-8000-0000000000ff"
ID4 = "00000000-0000-4000-8000-000000000004"
HEAD = ",".join(column.name for column in ENTRIES.columns)


def entry(**cells: str) -> str:
    cells = {"id": ID4, "at": "2030-05-02T08:00", "person": "ida"} | cells
    return ",".join(cells.get(name, "") for name in HEAD.split(","))


def test_the_sound_farm_has_no_fault(put):
    reading = read_folder(put())
    assert reading.faults == []
    assert len(reading.folder.entries) == 3
    assert reading.can_skip


STOCK = {
    "deed": "stock", "bin": "L2", "lot": "Q2", "quantity": "5", "unit": "crickets", "stage": "nymph", "age_days": "1",
}  # fmt: skip
LAY = {"deed": "lay", "bin": "L1", "lot": "Q1", "clutch": "E2"}
TAKE = {"deed": "take", "lot": "Q1"}
WEIGH = {"deed": "weigh", "lot": "Q1", "quantity": "9", "unit": "g"}

BAD_ENTRIES = [
    ({"deed": "fead", "bin": "L1"}, "deed", "fead", "did you mean feed?"),
    ({"deed": ""}, "deed", "an empty cell", "one of stock, lay"),
    ({"deed": "feed"}, "bin", "an empty cell", "bin to be filled, since the deed is feed"),
    ({"deed": "feed", "bin": "l2"}, "bin", "l2", "a bin listed in bins.csv (did you mean L2?)"),
    ({"deed": "move", "lot": "Q1", "to_bin": "Z9"}, "to_bin", "Z9", "a bin listed in bins.csv"),
    ({"deed": "move", "bin": "L1", "to_place": "lofft/1/2"}, "to_place", "lofft/1/2", "did you mean loft?"),
    ({"deed": "move", "bin": "L1", "to_place": "loft/1"}, "to_place", "loft/1", "room/stack/level"),
    ({"deed": "move", "bin": "L1", "to_place": "loft/1/33"},
     "to_place", "loft/1/33", "a whole number from 1 to 20 as its level"),
    ({"deed": "move", "bin": "L1"}, "to_place", "an empty cell", "to_place to be filled"),
    ({"deed": "move", "clutch": "E1", "to_bin": "L2"}, "to_lot", "an empty cell", "to_lot to be filled"),
    (LAY | {"tray_type": "flatt"}, "tray_type", "flatt", "did you mean flat?"),
    ({"deed": "feed", "bin": "L1", "person": "idda"}, "person", "idda", "did you mean ida?"),
    (STOCK | {"stage": "baby", "age_days": "1"},
     "stage", "baby", "one of pinhead, nymph, adult"),
    (STOCK | {"stage": "nymph", "age_days": "401"},
     "age_days", "401", "from 0 to 400"),
    (STOCK | {"stage": "nymph", "age_days": "-1"},
     "age_days", "-1", "from 0 to 400"),
    (STOCK | {"unit": "kg"},
     "unit", "kg", "crickets, since the deed is stock"),
    (STOCK | {"quantity": "6000000"},
     "quantity", "6000000", "at most 5000000 crickets"),
    (TAKE | {"quantity": "0", "unit": "crickets"}, "quantity", "0", "above 0"),
    (TAKE | {"quantity": "-5", "unit": "crickets"}, "quantity", "-5", "a number from 0"),
    (TAKE | {"quantity": "many", "unit": "crickets"}, "quantity", "many", "a number"),
    (TAKE | {"quantity": "nan", "unit": "crickets"}, "quantity", "nan", "a number"),
    (TAKE | {"quantity": "inf", "unit": "crickets"}, "quantity", "inf", "a number"),
    (TAKE | {"quantity": "1_0", "unit": "crickets"}, "quantity", "1_0", "a number"),
    (TAKE | {"quantity": '"1,5"', "unit": "kg"}, "quantity", "1,5", "with a decimal point"),
    (TAKE | {"quantity": "3", "unit": "lb"}, "unit", "lb", "one of crickets, pinheads"),
    (TAKE | {"quantity": "3"}, "unit", "an empty cell", "unit to be filled"),
    ({"deed": "harvest", "lot": "Q1", "quantity": "3", "unit": "g"}, "unit", "g", "kg, since the deed is harvest"),
    ({"deed": "harvest", "lot": "Q1", "quantity": "5001", "unit": "kg"}, "quantity", "5001", "at most 5000 kg"),
    ({"deed": "count", "lot": "Q1", "quantity": "9", "unit": "kg"}, "unit", "kg", "eggs or pinheads or crickets"),
    ({"deed": "count", "lot": "Q1", "quantity": "9", "unit": "eggs", "cv": "0"}, "cv", "0", "above 0 and at most 3"),
    ({"deed": "count", "lot": "Q1", "quantity": "9", "unit": "eggs", "cv": "3.1"},
     "cv", "3.1", "above 0 and at most 3"),
    ({"deed": "count", "clutch": "E1", "unit": "eggs"}, "quantity", "an empty cell", "quantity to be filled"),
    (WEIGH, "sample", "an empty cell", "sample to be filled"),
    (WEIGH | {"sample": "0"}, "sample", "0", "a whole number from 1"),
    (WEIGH | {"sample": "2.5"}, "sample", "2.5", "a whole number from 1"),
    ({"deed": "deaths", "lot": "Q1", "quantity": "9", "unit": "g"}, "unit", "g", "no unit or crickets"),
    ({"deed": "water", "bin": "L1", "quantity": "9", "unit": "eggs"}, "unit", "eggs", "l, since the deed is water"),
    ({"deed": "clean", "bin": "L1", "minutes": "1441"}, "minutes", "1441", "from 0 to 1,440"),
    (LAY | {"tray_type": "flat", "cycle": "0"}, "cycle", "0", "whole number from 1"),
    ({"deed": "join", "from_lots": "Q1;Q1", "to_lot": "Q3", "to_bin": "L2"},
     "from_lots", "Q1;Q1", "each lot once"),
    ({"deed": "join", "to_lot": "Q3", "to_bin": "L2"}, "from_lots", "an empty cell", "from_lots to be filled"),
    ({"deed": "split", "lot": "Q1", "to_lot": "a;b", "to_bin": "L2", "quantity": "9"}, "to_lot", "a;b", "without ';'"),
    ({"deed": "retire", "lot": "x" * 61}, "lot", "x" * 57 + "...", "at most 60 characters"),
    ({"deed": "retire", "lot": '"Q\n1"'}, "lot", "Q 1", "a name on one line"),
    ({"deed": "correct", "note": "why"}, "replaces", "an empty cell", "replaces to be filled"),
    ({"deed": "correct", "replaces": ID1}, "note", "an empty cell", "note to be filled"),
    ({"deed": "clean", "bin": "L1", "replaces": ID1}, "note", "an empty cell", "why the earlier"),
    ({"deed": "correct", "note": "why", "replaces": NOBODY},
     "replaces", NOBODY, "another entry in this file or in the book"),
    ({"deed": "correct", "note": "why", "replaces": ID4}, "replaces", ID4, "another entry"),
    ({"deed": "correct", "note": "why", "replaces": "17"}, "replaces", "17", "a UUID"),
    ({"id": "first", "deed": "clean", "bin": "L1"}, "id", "first", "a UUID"),
    ({"deed": "note", "note": "x" * 32_001}, "note", "x" * 57 + "...", "at most 32,000 characters"),
    ({"at": "", "deed": "clean", "bin": "L1"}, "at", "an empty cell", "a time such as"),
    ({"at": "yesterday", "deed": "clean", "bin": "L1"}, "at", "yesterday", "a time such as"),
    ({"at": "2030-02-30T08:00", "deed": "clean", "bin": "L1"}, "at", "2030-02-30T08:00", "a time such as"),
    ({"at": "05/01/2030 08:00", "deed": "clean", "bin": "L1"}, "at", "05/01/2030 08:00", "a time such as"),
    ({"at": "2030-05-02", "deed": "clean", "bin": "L1"}, "at", "2030-05-02", "with the hour"),
    ({"at": "1989-12-31T08:00", "deed": "clean", "bin": "L1"}, "at", "1989-12-31T08:00", "between 1990 and 2200"),
    ({"at": "2200-01-01T08:00", "deed": "clean", "bin": "L1"}, "at", "2200-01-01T08:00", "between 1990 and 2200"),
    ({"at": "0001-01-01T00:00", "deed": "clean", "bin": "L1"}, "at", "0001-01-01T00:00", "between 1990 and 2200"),
    ({"at": "9999-12-31T23:59", "deed": "clean", "bin": "L1"}, "at", "9999-12-31T23:59", "between 1990 and 2200"),
]  # fmt: skip


@pytest.mark.parametrize(("cells", "column", "found", "expected"), BAD_ENTRIES, ids=lambda v: str(v)[:40])
def test_a_wrong_entry_is_one_fault_with_line_and_column(put, cells, column, found, expected):
    good = entry(id="00000000-0000-4000-8000-000000000001", deed="note", note="all well")
    lines = [
        HEAD,
        good,
        entry(**cells),
        entry(id="00000000-0000-4000-8000-000000000005", deed="note", note="still well"),
    ]
    reading = read_folder(put({"entries.csv": "\n".join(lines) + "\n"}))
    assert [(f.file, f.line, f.column, f.found) for f in reading.faults] == [("entries.csv", 3, column, found)]
    assert expected in reading.faults[0].expected
    assert len(reading.folder.entries) == 2
    assert list(reading.bad_rows) == ["entries.csv"]
    assert list(reading.bad_rows["entries.csv"]) == [3]
    assert reading.can_skip


BAD_THINGS = [
    ("rooms.csv", "room,set_temperature_c\nloft,61\nbarn,28\n", 2, "set_temperature_c", "61"),
    ("rooms.csv", "room,set_temperature_c,set_humidity_pct\nloft,30,101\nbarn,28,\n", 2, "set_humidity_pct", "101"),
    ("rooms.csv", "room,set_temperature_c\nloft,\nbarn,28\n", 2, "set_temperature_c", "an empty cell"),
    ("rooms.csv", "room,set_temperature_c\nloft,30\nbarn,28\nloft,29\n", 4, "room", "loft"),
    ("bins.csv", "L3,attic,1,1,nursery,8000,\n", 5, "room", "attic"),
    ("bins.csv", "L3,loft,one,1,nursery,8000,\n", 5, "stack", "one"),
    ("bins.csv", "L3,loft,1,21,nursery,8000,\n", 5, "level", "21"),
    ("bins.csv", "L3,loft,1,0,nursery,8000,\n", 5, "level", "0"),
    ("bins.csv", "L3,loft,1,1,growout,8000,\n", 5, "duty", "growout"),
    ("bins.csv", "L3,loft,1,1,nursery,0,\n", 5, "floor_cm2", "0"),
    ("bins.csv", "L3,loft,1,1,nursery,8000,-2\n", 5, "hides_cm2", "-2"),
    ("bins.csv", "L1,loft,1,1,nursery,8000,\n", 5, "bin", "L1"),
    ("tray_types.csv", "deep,0,4,4,\n", 3, "length_cm", "0"),
    ("tray_types.csv", "flat,31,4,4,\n", 3, "tray_type", "flat"),
    ("people.csv", "una,boss\n", 4, "role", "boss"),
    ("people.csv", "ida,hand\n", 4, "person", "ida"),
    ("readings.csv", "2030-05-01T07:00,loftt,1,29,\n", 4, "room", "loftt"),
    ("readings.csv", "2030-05-01T07:00,loft,1,-31,\n", 4, "temperature_c", "-31"),
    ("readings.csv", "2030-05-01T07:00,loft,1,warm,\n", 4, "temperature_c", "warm"),
    ("readings.csv", "2030-05-01T07:00,loft,1,29,100.1\n", 4, "humidity_pct", "100.1"),
    ("readings.csv", "2030-05-01T07:00,loft,1.5,29,\n", 4, "level", "1.5"),
    ("readings.csv", "2030-05-01T06:00,loft,1,25,\n", 4, "at", "a second reading"),
]


@pytest.mark.parametrize(("file", "text", "line", "column", "found"), BAD_THINGS)
def test_a_wrong_row_of_any_sheet_is_one_fault_in_its_place(put, sound, file, text, line, column, found):
    whole = text if text.startswith(sound[file].split(",")[0]) else sound[file] + text
    faults = read_folder(put({file: whole})).faults
    assert [(f.file, f.line, f.column, f.found) for f in faults] == [(file, line, column, found)]


def test_every_fault_of_every_file_is_listed_by_file_and_line(put, sound):
    reading = read_folder(
        put(
            {
                "farm.toml": sound["farm.toml"].replace("17.5", "-1"),
                "bins.csv": sound["bins.csv"].replace("nursery", "kindergarten"),
                "entries.csv": sound["entries.csv"].replace("feed", "fed").replace("moss", "mos"),
                "readings.csv": sound["readings.csv"].replace("29.5", "hot"),
            }
        )
    )
    assert [(f.file, f.line, f.column) for f in reading.faults] == [
        ("bins.csv", 3, "duty"),
        ("entries.csv", 3, "person"),
        ("entries.csv", 4, "person"),
        ("entries.csv", 4, "deed"),
        ("farm.toml", 5, "wage_per_hour"),
        ("readings.csv", 3, "temperature_c"),
    ]


def test_lines_are_counted_over_line_breaks_in_notes_and_over_empty_rows(put, sound):
    text = sound["entries.csv"].replace(",1.5,,\n", ',1.5,"first\nsecond",\n') + "\n,,,,,,,,,,,,,,,,\n" + (
        f"{ID4},2030-05-02T08:00,ida,fly,L1,,,,,,,,,,,,\n"
    )  # fmt: skip
    reading = read_folder(put({"entries.csv": text}))
    assert [(f.line, f.column) for f in reading.faults] == [(8, "deed")]
    assert reading.folder.entries[2].note == "first\nsecond"
    assert reading.entry_line["00000000-0000-4000-8000-000000000003"] == 4


def test_identical_rows_with_one_id_are_one_entry(put, sound):
    last = sound["entries.csv"].splitlines()[-1]
    reading = read_folder(put({"entries.csv": sound["entries.csv"] + last + "\n"}))
    assert reading.faults == []
    assert len(reading.folder.entries) == 3


def test_two_rows_with_one_id_that_differ_name_each_other(put, sound):
    last = sound["entries.csv"].splitlines()[-1].replace("150", "160")
    [fault] = read_folder(put({"entries.csv": sound["entries.csv"] + last + "\n"})).faults
    assert (fault.line, fault.column) == (5, "id")
    assert "line 4 has it already" in fault.expected


def test_a_fault_reads_as_a_sentence(put, sound):
    [fault] = read_folder(put({"entries.csv": sound["entries.csv"].replace("feed", "fead")})).faults
    assert str(fault) == "entries.csv, line 4, deed: found fead; expected a deed of the book (did you mean feed?)."


def test_an_entry_of_the_book_may_be_replaced(put, sound):
    old = "00000000-0000-4000-8000-0000000000aa"
    row = f"{ID4},2030-05-02T08:00,ida,correct,,,,,,,,,,,,a slip,{old.upper()}\n"
    folder = put({"entries.csv": sound["entries.csv"] + row})
    assert [f.column for f in read_folder(folder).faults] == ["replaces"]
    reading = read_folder(folder, in_book={old})
    assert reading.faults == []
    assert reading.folder.entries[-1].replaces == old


def test_one_broken_bin_is_one_fault_and_its_entries_are_left_out_with_it(put, sound):
    reading = read_folder(put({"bins.csv": sound["bins.csv"].replace("breeding", "breading")}))
    assert [(f.file, f.line) for f in reading.faults] == [("bins.csv", 2)]
    assert reading.folder.entries == []
    assert sorted(reading.bad_rows["entries.csv"]) == [2, 3, 4]
    assert "without fault in bins.csv; see its line 2" in reading.bad_rows["entries.csv"][4][0].expected


def test_a_correction_of_a_row_left_out_is_left_out_too(put, sound):
    old, new = "00000000-0000-4000-8000-000000000003", "00000000-0000-4000-8000-000000000005"
    rows = (
        f"{new},2030-05-02T08:00,ida,correct,,,,,,,,,,,,a slip,{ID4}\n"
        f"{ID4},2030-05-02T08:00,ida,correct,,,,,,,,,,,,a slip,{old}\n"
    )
    reading = read_folder(put({"entries.csv": sound["entries.csv"].replace("feed", "fed") + rows}))
    assert [f.line for f in reading.faults] == [4]
    assert sorted(reading.bad_rows["entries.csv"]) == [4, 5, 6]
    assert len(reading.folder.entries) == 2


def test_people_are_not_asked_for_when_none_are_listed(put):
    reading = read_folder(put({"people.csv": None}))
    assert reading.faults == []
    assert reading.folder.people == []


def test_tray_types_are_asked_for_as_soon_as_a_tray_is_laid(put):
    [fault] = read_folder(put({"tray_types.csv": None})).faults
    assert (fault.file, fault.line, fault.column) == ("entries.csv", 3, "tray_type")


@pytest.mark.parametrize("quantity", ["0", "7"])
def test_a_count_may_find_none(put, sound, quantity):
    row = f"{ID4},2030-05-02T08:00,ida,count,,,E1,,{quantity},eggs,,,,,,,\n"
    assert read_folder(put({"entries.csv": sound["entries.csv"] + row})).faults == []


def test_thousands_of_wrong_names_are_all_listed(put):
    rows = [entry(id=f"00000000-0000-4000-8000-{i:012}", deed="clean", bin=f"Y{i}") for i in range(3000)]
    assert len(read_folder(put({"entries.csv": "\n".join([HEAD, *rows])})).faults) == 3000
