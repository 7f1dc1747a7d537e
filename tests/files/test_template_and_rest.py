"""The empty folder to start from, and the file of rows that were left out."""

from __future__ import annotations

import csv

import pytest

from chirr.deeds import DEEDS
from chirr.files.columns import CARD, SHEETS
from chirr.files.folder import NotWritten, read_folder
from chirr.files.rest import write_rest
from chirr.files.template import write_template
from chirr.files.workbook import read_workbook, write_workbook


def test_a_template_with_farm_rooms_and_bins_filled_in_reads_clean(tmp_path):
    folder = tmp_path / "new"
    write_template(folder)
    card = (folder / "farm.toml").read_text()
    (folder / "farm.toml").write_text(
        card.replace('name = ""', 'name = "Alder End"').replace('timezone = ""', 'timezone = "Asia/Kathmandu"')
    )
    with (folder / "rooms.csv").open("a") as file:
        file.write("east,29,\n")
    with (folder / "bins.csv").open("a") as file:
        file.write("E1,east,1,1,breeding,6000,\n")
    reading = read_folder(folder)
    assert reading.faults == []
    assert (reading.folder.farm.name, len(reading.folder.bins)) == ("Alder End", 1)


def test_an_untouched_template_asks_for_the_name_and_the_zone(tmp_path):
    write_template(tmp_path / "new")
    assert [f.column for f in read_folder(tmp_path / "new").faults] == ["name", "timezone"]


def test_the_example_rows_of_the_template_are_sound_rows(tmp_path):
    folder = tmp_path / "new"
    write_template(folder)
    card = (
        (folder / "farm.toml")
        .read_text()
        .replace('name = ""', 'name = "Alder End"')
        .replace('timezone = ""', 'timezone = "UTC"')
    )
    (folder / "farm.toml").write_text(
        card.replace("# [[size", "[[size").replace("# name =", "name =").replace("# from_mg", "from_mg")
    )
    for sheet in SHEETS:
        with (folder / sheet.file).open("a") as file:
            file.write(sheet.example + "\n")
    reading = read_folder(folder)
    assert reading.faults == []
    assert len(reading.folder.farm.size_classes) == 2
    assert [len(getattr(reading.folder, sheet.name)) for sheet in SHEETS] == [1] * len(SHEETS)


def test_the_template_explains_every_column_and_every_deed(tmp_path):
    write_template(tmp_path / "new")
    for sheet in SHEETS:
        comments = [line for line in (tmp_path / "new" / sheet.file).read_text().splitlines() if line.startswith("# ")]
        for column in sheet.columns:
            assert any(line[2:].startswith(f"{column.name} ") for line in comments), column.name
    readme = (tmp_path / "new" / "README.txt").read_text()
    for deed in DEEDS.values():
        assert f"\n{deed.name}\n    {deed.says}\n" in readme
    for column in CARD:
        assert f"\n{column.name} = " in (tmp_path / "new" / "farm.toml").read_text()


def test_a_template_is_not_written_over_anything(tmp_path):
    (tmp_path / "mine.txt").write_text("keep")
    with pytest.raises(NotWritten, match="not empty"):
        write_template(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def spoilt(sound):
    text = sound["entries.csv"].replace("feed", "fead") + ',2030-05-03T08:00,ida,note,,,,,,,,,,,,"a ""tall""\nstory",\n'
    return text + ",2030-05-03T08:00,ida,note,cut\n" + ',2030-05-03T08:00,ida,note,"open\nto the end,,\n'


def test_the_rows_left_out_are_written_as_they_came_with_the_fault_beside_them(put, tmp_path, sound):
    reading = read_folder(put({"entries.csv": spoilt(sound)}))
    late = "00000000-0000-4000-8000-000000000002"
    files = write_rest(reading, {late: "laid before anything was stocked"}, tmp_path / "rest.csv")
    assert files == [tmp_path / "rest.csv"]
    with files[0].open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    assert rows[0] == [*sound["entries.csv"].splitlines()[0].split(","), "fault"]
    assert [row[:5] for row in rows[1:4]] == [
        [late, "2030-05-01T08:10", "moss", "lay", "L1"],
        ["00000000-0000-4000-8000-000000000003", "2030-05-01T08:20", "moss", "fead", "L1"],
        ["", "2030-05-03T08:00", "ida", "note", "cut"],
    ]
    assert rows[4][0] == ',2030-05-03T08:00,ida,note,"open\nto the end,,'
    assert [row[-1][:27] for row in rows[1:]] == [
        "laid before anything was st",
        "deed: found fead; expected ",
        "found 5 cells; expected 17 ",
        "found a quotation mark that",
    ]
    assert {len(row) for row in rows} == {18}


def test_good_rows_and_the_rest_make_up_the_whole(put, tmp_path, sound):
    reading = read_folder(put({"entries.csv": spoilt(sound)}))
    assert len(reading.folder.entries) + len(reading.bad_rows["entries.csv"]) == 6


def test_rows_of_other_sheets_are_written_beside(put, tmp_path, sound):
    reading = read_folder(
        put({"bins.csv": sound["bins.csv"].replace("nursery", "nurcery"), "entries.csv": spoilt(sound)})
    )
    files = write_rest(reading, {}, tmp_path / "rest.csv")
    assert [file.name for file in files] == ["rest-bins.csv", "rest.csv"]
    assert (
        (tmp_path / "rest-bins.csv")
        .read_text()
        .splitlines()[1]
        .startswith('L2,loft,1,2,nurcery,8000,9000,"duty: found nurcery;')
    )


def test_the_rest_of_a_workbook_is_written_too(put, tmp_path, sound):
    farm = read_folder(put()).folder
    farm.bins[1] = type(farm.bins[1])(bin="L2", room="loft", stack=1, level=99, duty="nursery", floor_cm2=8000.0)
    write_workbook(farm, tmp_path / "farm.xlsx")
    files = write_rest(read_workbook(tmp_path / "farm.xlsx"), {}, tmp_path / "rest.csv")
    assert [file.name for file in files] == ["rest-bins.csv"]
    assert files[0].read_text().splitlines()[1].startswith("L2,loft,1,99,nursery,8000,0,level: found 99;")


def test_nothing_is_written_when_nothing_was_left_out(put, tmp_path):
    assert write_rest(read_folder(put()), {}, tmp_path / "rest.csv") == []
    assert not (tmp_path / "rest.csv").exists()
