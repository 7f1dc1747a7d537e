"""The workbook holds the same farm as the folder, and forgives what spreadsheets do to cells."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
import xlsxwriter
from hypothesis import HealthCheck, given, settings

from builders.folders import farm_folders
from chirr.files.folder import NotWritten, read_folder, write_folder
from chirr.files.workbook import read_workbook, write_workbook

SOME = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))

FARM = [
    ("name", "value"), ("name", "Larch Row"), ("species", "acheta-domesticus"), ("timezone", "America/New_York"),
    ("wage_per_hour", 17.5), ("swap_days", "mon wed fri"), ("feed_days", 2), ("organic", True),
]  # fmt: skip
CLASSES = [("name", "from_mg"), ("small", 0), ("large", 300)]
ROOMS = [("room", "set_temperature_c"), ("loft", 30), (7, 28.5)]
BINS = [
    ("bin", "room", "stack", "level", "duty", "floor_cm2", "dry"),
    ("L1", "loft", 1, 2, "breeding", 8000, True),
    (12, 7, 1, 1, "nursery", 8000, 3),
]
TRAYS = [("tray_type", "length_cm", "width_cm", "depth_cm"), ("flat", 30, 20, 5)]
ENTRIES = [
    ("at", "deed", "bin", "lot", "clutch", "tray_type", "cycle", "quantity", "unit", "note"),
    (datetime(2030, 5, 1, 8, 0), "lay", "L1", "Q1", 101, "flat", 1, None, None, None),  # noqa: DTZ001
    (None,) * 10,
    ("2030-05-01T09:00", "feed", 12, None, None, None, None, 150, "g", True),
]
SOUND = {"farm": FARM, "size_classes": CLASSES, "rooms": ROOMS, "bins": BINS, "tray_types": TRAYS, "entries": ENTRIES}


def put(path: Path, **changed) -> Path:
    """A workbook as a farmer's spreadsheet program would save it, written by a general library."""
    book = xlsxwriter.Workbook(path, {"default_date_format": "dd.mm.yyyy hh:mm"})
    for name, rows in (SOUND | changed).items():
        if rows is None:
            continue
        sheet = book.add_worksheet(name)
        for number, row in enumerate(rows):
            sheet.write_row(number, 0, row)
    book.close()
    return path


@SOME
@given(farm=farm_folders(deep=False))
def test_a_workbook_holds_the_same_farm_as_the_folder(tmp_path_factory, farm):
    path = tmp_path_factory.mktemp("book")
    write_folder(farm, path / "folder")
    write_workbook(farm, path / "farm.xlsx")
    reading = read_workbook(path / "farm.xlsx")
    assert reading.faults == []
    assert reading.folder == read_folder(path / "folder").folder


def test_cells_of_a_spreadsheet_become_what_was_meant(tmp_path):
    reading = read_workbook(put(tmp_path / "farm.xlsx"))
    assert reading.faults == []
    farm = reading.folder
    assert farm.farm.swap_days == ("mon", "wed", "fri")
    assert farm.farm.extra == {"organic": True}
    assert [c.from_mg for c in farm.farm.size_classes] == [0, 300]
    assert [r.room for r in farm.rooms] == ["loft", "7"]
    assert [(b.bin, b.room, b.level, b.extra) for b in farm.bins] == [
        ("L1", "loft", 2, {"dry": "true"}),
        ("12", "7", 1, {"dry": "3"}),
    ]
    lay, feed = farm.entries
    assert (lay.at, lay.clutch, lay.cycle, type(lay.cycle)) == (1_903_867_200, "101", 1, int)  # 12:00 UTC, by GNU date
    assert (feed.bin, feed.quantity, feed.note) == ("12", 150.0, "true")
    assert reading.entry_line[feed.id] == 4


def test_no_digit_of_a_number_is_lost(tmp_path):
    farm = read_workbook(put(tmp_path / "farm.xlsx")).folder
    farm.rooms[0] = type(farm.rooms[0])(room="loft", set_temperature_c=0.1 + 0.2)
    write_workbook(farm, tmp_path / "out.xlsx")
    assert read_workbook(tmp_path / "out.xlsx").folder == farm


def test_a_fault_names_the_sheet_and_its_row(tmp_path):
    rows = [*ENTRIES, ("2030-05-01T09:10", "feed", 13, None, None, None, None, 1, "g", None)]
    [fault] = read_workbook(put(tmp_path / "farm.xlsx", entries=rows)).faults
    assert str(fault) == (
        "farm.xlsx, sheet entries, line 5, bin: found 13; expected a bin listed in farm.xlsx, sheet bins."
    )


def test_a_name_that_the_spreadsheet_made_a_date_of_is_a_fault(tmp_path):
    rows = [*BINS, (datetime(2030, 2, 3), "loft", 1, 3, "nursery", 8000, None)]  # noqa: DTZ001
    [fault] = read_workbook(put(tmp_path / "farm.xlsx", bins=rows)).faults
    assert (fault.line, fault.column) == (4, "bin")
    assert "format the column as text" in fault.expected


@pytest.mark.parametrize("sheet", ["farm", "rooms", "bins", "entries"])
def test_a_needed_sheet_that_is_missing_is_a_fault(tmp_path, sheet):
    reading = read_workbook(put(tmp_path / "farm.xlsx", **{sheet: None}))
    assert [(f.file, f.found) for f in reading.faults] == [(f"farm.xlsx, sheet {sheet}", "no such sheet")]
    assert not reading.can_skip


def test_wrong_values_of_the_card_are_faults_in_their_rows(tmp_path):
    card = [*FARM[:4], ("wage_per_hour", -2), ("swap_days", "moonday")]
    faults = read_workbook(
        put(tmp_path / "farm.xlsx", farm=card, size_classes=[("name", "from_mg"), ("a", 5), ("b", 5)])
    ).faults
    assert [(f.file, f.line, f.column) for f in faults] == [
        ("farm.xlsx, sheet farm", 5, "wage_per_hour"),
        ("farm.xlsx, sheet farm", 6, "swap_days"),
        ("farm.xlsx, sheet size_classes", 3, "from_mg"),
    ]


@pytest.mark.parametrize("content", [b"", b"room,set_temperature_c\n", b"PK\x03\x04 half a workbook"])
def test_what_is_no_workbook_is_one_fault(tmp_path, content):
    (tmp_path / "farm.xlsx").write_bytes(content)
    reading = read_workbook(tmp_path / "farm.xlsx")
    assert [(f.file, f.expected) for f in reading.faults] == [("farm.xlsx", "an .xlsx workbook")]
    assert reading.folder is None


def test_a_workbook_that_is_not_there_is_one_fault(tmp_path):
    assert [f.found for f in read_workbook(tmp_path / "none.xlsx").faults] == ["no such file or directory"]


def test_half_a_workbook_is_one_fault(tmp_path):
    path = put(tmp_path / "farm.xlsx")
    path.write_bytes(path.read_bytes()[:3000])
    assert len(read_workbook(path).faults) == 1


def test_another_workbook_is_not_overwritten_unless_told(tmp_path):
    farm = read_workbook(put(tmp_path / "farm.xlsx")).folder
    other = put(tmp_path / "other.xlsx", accounts=[("a", 1)])
    before = other.read_bytes()
    with pytest.raises(NotWritten, match="is another file"):
        write_workbook(farm, other)
    assert other.read_bytes() == before
    write_workbook(farm, other, replace=True)
    write_workbook(farm, other)
    assert read_workbook(other).folder == farm


def test_a_note_too_long_for_a_cell_is_refused(tmp_path):
    rows = [ENTRIES[0], ("2030-05-01T09:00", "note", None, None, None, None, None, None, None, "x")]
    farm = read_workbook(put(tmp_path / "farm.xlsx", entries=rows)).folder
    farm.entries[0] = type(farm.entries[0])(id=farm.entries[0].id, at=0, deed="note", note="x" * 40_000)
    with pytest.raises(NotWritten, match="write a folder instead"):
        write_workbook(farm, tmp_path / "out.xlsx")
    assert not (tmp_path / "out.xlsx").exists()
