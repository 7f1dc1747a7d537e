"""The written folder: always the same text, whole or not at all, nothing of others lost."""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from builders.folders import farm_folders
from chirr.files import folder as folder_file
from chirr.files.folder import NotWritten, read_folder, write_folder

MANY = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
EXAMPLE = Path(__file__).parents[2].parent / "shared" / "example-farm"


def contents(path: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in sorted(path.iterdir())}


@MANY
@given(farm=farm_folders())
def test_what_is_written_reads_without_fault_as_the_same_farm_and_writes_as_the_same_bytes(tmp_path_factory, farm):
    path = tmp_path_factory.mktemp("round")
    write_folder(farm, path / "one")
    reading = read_folder(path / "one")
    assert reading.faults == []
    assert reading.folder.farm == farm.farm
    for field in ("rooms", "bins", "tray_types", "people"):
        assert getattr(reading.folder, field) == getattr(farm, field)
    assert {e.id: e for e in reading.folder.entries} == {e.id: e for e in farm.entries}
    assert reading.folder.readings == sorted(farm.readings, key=lambda r: (r.at, r.room, r.level or -1))
    write_folder(reading.folder, path / "two")
    assert contents(path / "one") == contents(path / "two")


def test_the_order_of_entries_and_readings_given_does_not_matter(put, tmp_path):
    farm = read_folder(put()).folder
    write_folder(farm, tmp_path / "one")
    farm.entries.reverse()
    farm.readings.reverse()
    write_folder(farm, tmp_path / "two")
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


def test_other_readers_of_csv_and_toml_find_the_same(put, tmp_path, sound):
    write_folder(read_folder(put()).folder, tmp_path / "out")
    with (tmp_path / "out" / "entries.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["at"] for row in rows] == [f"2030-05-01T08:{m}0-04:00" for m in (0, 1, 2)]
    assert rows[2] | {"quantity": "150", "minutes": "1.5", "person": "moss", "bin": "L1"} == rows[2]
    assert tomllib.loads((tmp_path / "out" / "farm.toml").read_text()) == tomllib.loads(sound["farm.toml"])


def test_columns_stand_in_the_order_of_the_design_with_the_farms_own_after_them(put, tmp_path):
    rooms = "zeal,room,set_temperature_c,Ash\n1,loft,30,\n,barn,28.50,2\n"
    write_folder(read_folder(put({"rooms.csv": rooms})).folder, tmp_path / "out")
    text = (tmp_path / "out" / "rooms.csv").read_text()
    assert text == "room,set_temperature_c,set_humidity_pct,Ash,zeal\nloft,30,,,1\nbarn,28.5,,2,\n"


def test_a_farm_with_nothing_written_yet_has_every_file_with_its_header(put, tmp_path):
    head = "id,at,deed\n"
    farm = read_folder(
        put({"entries.csv": head, "people.csv": None, "tray_types.csv": None, "readings.csv": None})
    ).folder
    write_folder(farm, tmp_path / "out")
    assert (tmp_path / "out" / "people.csv").read_text() == "person,role\n"
    assert (tmp_path / "out" / "readings.csv").read_text() == "at,room,level,temperature_c,humidity_pct\n"
    assert read_folder(tmp_path / "out").folder == farm


def test_a_folder_of_other_things_is_left_alone_unless_told(put, tmp_path):
    farm = read_folder(put()).folder
    out = tmp_path / "out"
    out.mkdir()
    (out / "letters.txt").write_text("dear Moss")
    (out / "rooms.csv").write_text("old")
    before = contents(out)
    with pytest.raises(NotWritten, match=r"holds other files \(letters.txt\)"):
        write_folder(farm, out)
    assert contents(out) == before
    write_folder(farm, out, replace=True)
    assert (out / "letters.txt").read_text() == "dear Moss"
    assert read_folder(out).folder == farm


def test_a_farm_folder_is_overwritten_and_its_readme_kept(put, tmp_path):
    folder = put({"README.txt": "how we write"})
    farm = read_folder(folder).folder
    write_folder(farm, folder)
    assert read_folder(folder).folder == farm
    assert (folder / "README.txt").read_text() == "how we write"
    assert [p.name for p in tmp_path.iterdir()] == ["larch"]


def test_a_write_that_fails_half_way_leaves_the_old_folder_and_no_rubbish(put, tmp_path, monkeypatch):
    folder = put()
    farm, before = read_folder(folder).folder, contents(folder)

    def full(*_args, **_kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(folder_file, "sheet_text", full)
    with pytest.raises(NotWritten, match="no space left on device"):
        write_folder(farm, folder)
    assert contents(folder) == before
    assert [p.name for p in tmp_path.iterdir()] == ["larch"]


def test_a_file_in_the_way_is_said_to_be_one(put, tmp_path):
    (tmp_path / "taken").write_text("")
    with pytest.raises(NotWritten, match="is a file"):
        write_folder(read_folder(put()).folder, tmp_path / "taken")


def test_progress_is_told_for_reading_and_writing(put, tmp_path):
    told = []
    farm = read_folder(put(), progress=lambda file, rows: told.append((file, rows))).folder
    assert ("entries.csv", 3) in told
    told.clear()
    write_folder(farm, tmp_path / "out", progress=lambda file, rows: told.append((file, rows)))
    assert ("readings.csv", 2) in told


@pytest.mark.skipif(not EXAMPLE.is_dir(), reason="the example farm is not beside this checkout")
def test_the_example_farm_reads_clean_and_its_entries_are_written_byte_for_byte(tmp_path):
    reading = read_folder(EXAMPLE)
    assert reading.faults == []
    write_folder(reading.folder, tmp_path / "out")
    for name in ("farm.toml", "rooms.csv", "bins.csv", "tray_types.csv", "people.csv", "entries.csv"):
        assert (tmp_path / "out" / name).read_bytes() == (EXAMPLE / name).read_bytes(), name
