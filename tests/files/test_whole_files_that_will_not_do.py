"""Missing, broken, cut off, huge and oddly separated files."""

from __future__ import annotations

import pytest

from chirr.files import plain, rows
from chirr.files.folder import read_folder


def places(reading):
    return [(f.file, f.line, f.column) for f in reading.faults]


@pytest.mark.parametrize("file", ["farm.toml", "rooms.csv", "bins.csv", "entries.csv"])
def test_a_needed_file_that_is_missing_is_one_fault(put, file):
    reading = read_folder(put({file: None}))
    assert [(f.file, f.found) for f in reading.faults] == [(file, "no such file")]
    assert not reading.can_skip


def test_files_that_nothing_refers_to_may_be_missing(put):
    head = "id,at,deed,note\n,2030-05-01T08:00,note,all well\n"
    reading = read_folder(put({"entries.csv": head, "tray_types.csv": None, "people.csv": None, "readings.csv": None}))
    assert reading.faults == []
    assert reading.folder.readings == []


def test_a_folder_that_is_not_there_is_a_fault(tmp_path):
    reading = read_folder(tmp_path / "nowhere")
    assert [str(f) for f in reading.faults] == [
        "nowhere: found no such folder; expected a folder with farm.toml, rooms.csv, bins.csv and entries.csv."
    ]
    assert reading.folder is None


def test_a_folder_in_place_of_a_file_is_a_fault(put):
    folder = put({"readings.csv": None})
    (folder / "readings.csv").mkdir()
    assert [f.file for f in read_folder(folder).faults] == ["readings.csv"]


def test_a_broken_encoding_is_one_fault_with_its_line_and_the_advice(put, sound):
    text = sound["entries.csv"].replace(",1.5,,\n", ",1.5,Müller kam,\n")
    [fault] = read_folder(put({"entries.csv": text.encode("cp1252")})).faults
    assert (fault.file, fault.line) == ("entries.csv", 4)
    assert fault.found == "Müller kam in another encoding"
    assert "CSV UTF-8" in fault.expected


def test_a_file_cut_inside_a_letter_is_a_broken_encoding_on_its_last_line(put, sound):
    cut = (sound["people.csv"] + "zoë").encode()[:-1]
    assert places(read_folder(put({"people.csv": cut}))) == [("people.csv", 4, None)]


def test_a_broken_farm_card_encoding_is_found_too(put, sound):
    text = sound["farm.toml"].replace("Larch Row", "Lärchenweg").encode("latin-1")
    assert places(read_folder(put({"farm.toml": text}))) == [("farm.toml", 1, None)]


def test_nul_bytes_and_utf_16_are_one_fault(put, sound):
    text = sound["readings.csv"].replace("27", "2\0007")
    assert places(read_folder(put({"readings.csv": text}))) == [("readings.csv", 2, None)]
    assert places(read_folder(put({"readings.csv": sound["readings.csv"].encode("utf-16")}))) == [
        ("readings.csv", 1, None)
    ]


def test_a_byte_order_mark_and_crlf_line_ends_are_understood(put, sound):
    changed = {name: b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode() for name, text in sound.items()}
    assert read_folder(put(changed)).folder == read_folder(put(sound)).folder


def test_old_line_ends_are_understood(put, sound):
    changed = {name: text.replace("\n", "\r") for name, text in sound.items() if name.endswith(".csv")}
    assert read_folder(put(changed)).folder == read_folder(put(sound)).folder


@pytest.mark.parametrize("sign", [";", "\t"])
def test_semicolons_and_tabs_are_understood_with_decimal_commas(put, sound, sign):
    changed = {
        name: text.replace(",", sign).replace("1.5", "1,5").replace("28.5", "28,5").replace("29.5", "29,5")
        for name, text in sound.items()
        if name.endswith(".csv")
    }
    reading = read_folder(put(changed))
    assert reading.faults == []
    assert reading.folder == read_folder(put(sound)).folder


def test_a_line_for_the_spreadsheet_that_names_the_separator_is_passed_over(put, sound):
    text = "sep=;\n" + sound["rooms.csv"].replace(",", ";")
    assert read_folder(put({"rooms.csv": text})).faults == []


def test_comment_lines_above_the_header_are_passed_over(put, sound):
    text = '# the rooms, with "set points"\n"# saved by a spreadsheet",,\n\n' + sound["rooms.csv"] + "cellar,99,\n"
    assert places(read_folder(put({"rooms.csv": text}))) == [("rooms.csv", 7, "set_temperature_c")]


def test_a_room_may_be_called_by_a_number_sign(put, sound):
    reading = read_folder(put({"rooms.csv": sound["rooms.csv"] + "#3,29,\n"}))
    assert reading.folder.rooms[-1].room == "#3"


@pytest.mark.parametrize("text", ["", "\n\n", "# only words\n", "L1,loft,1,1,nursery,8000,9\n"])
def test_a_file_without_a_header_is_one_fault(put, text):
    [fault] = read_folder(put({"bins.csv": text})).faults
    assert (fault.file, fault.line) == ("bins.csv", 1)
    assert fault.expected.startswith("a header row: bin,room,stack")


def test_a_column_that_is_missing_is_a_fault_with_a_suggestion(put, sound):
    reading = read_folder(put({"rooms.csv": sound["rooms.csv"].replace("set_temperature_c", "set_temprature_c")}))
    assert places(reading) == [("rooms.csv", 1, "set_temperature_c")]
    assert "did you mean set_temprature_c?" in reading.faults[0].expected
    assert not reading.can_skip


def test_optional_columns_may_be_left_out_and_capitals_do_not_matter(put):
    reading = read_folder(put({"rooms.csv": "Room, SET_TEMPERATURE_C\nloft,30\nbarn,28.5\n"}))
    assert reading.faults == []
    assert reading.folder.rooms[0].set_humidity_pct is None


def test_a_column_that_comes_twice_is_a_fault(put):
    text = "room,set_temperature_c,Room\nloft,30,loft\nbarn,28,barn\n"
    assert places(read_folder(put({"rooms.csv": text}))) == [("rooms.csv", 1, "room")]


def test_unknown_columns_and_keys_are_kept_as_they_came(put, sound):
    rooms = "room,set_temperature_c, floor paint ,\nloft,30, blue ,\nbarn,28,,\n"
    card = sound["farm.toml"].replace('name = "small"', 'name = "small"\ntub = 5') + "[wells]\ndeep = true\n"
    folder = read_folder(put({"rooms.csv": rooms, "farm.toml": card})).folder
    assert [room.extra for room in folder.rooms] == [{"floor paint": " blue "}, {}]
    assert folder.farm.extra == {"window": "north light", "wells": {"deep": True}}
    assert folder.farm.size_classes[0].extra == {"tub": 5}


def test_a_heading_with_a_line_break_is_one_name_and_lines_are_still_counted(put, sound, tmp_path):
    rooms = 'room,set_temperature_c,"floor\npaint"\nloft,30,blue\nbarn,99,\n'
    assert places(read_folder(put({"rooms.csv": rooms}))) == [("rooms.csv", 4, "set_temperature_c")]
    folder = read_folder(put({"rooms.csv": rooms.replace("99", "27")})).folder
    assert folder.rooms[0].extra == {"floor paint": "blue"}


def test_a_cell_under_no_column_is_a_fault(put):
    text = "room,set_temperature_c,\nloft,30,\nbarn,28,damp\n"
    [fault] = read_folder(put({"rooms.csv": text})).faults
    assert (fault.line, fault.column, fault.found) == (3, None, "damp")


def test_a_last_line_cut_off_is_a_fault_with_its_cells_counted(put, sound):
    [fault] = read_folder(put({"entries.csv": sound["entries.csv"][:-25]})).faults
    assert (fault.file, fault.line) == ("entries.csv", 4)
    assert fault.found.endswith(" cells")
    assert "17 cells" in fault.expected
    assert "cut off" in fault.expected


def test_a_missing_line_end_at_the_end_is_no_fault(put, sound):
    assert read_folder(put({"entries.csv": sound["entries.csv"][:-1]})).faults == []


def test_a_row_with_too_many_cells_is_a_fault_but_empty_ones_are_not(put, sound):
    assert read_folder(put({"people.csv": "person,role\nida,owner,,\nmoss,hand\n"})).faults == []
    [fault] = read_folder(put({"people.csv": "person,role\nida,owner\nmoss,hand,nights\n"})).faults
    assert (fault.line, fault.found) == (3, "3 cells, the last being nights")


def test_a_bin_whose_row_is_cut_off_does_not_spoil_its_entries_but_they_are_left_out(put, sound):
    reading = read_folder(put({"bins.csv": sound["bins.csv"].replace("L1,loft,1,1", "L1,loft,1")}))
    assert places(reading) == [("bins.csv", 2, None)]
    assert reading.folder.entries == []
    assert sorted(reading.bad_rows["entries.csv"]) == [2, 3, 4]


def test_a_quotation_mark_never_closed_is_a_fault_where_it_opens(put, sound):
    text = sound["entries.csv"].replace(",1.5,,\n", ',1.5,"lid off,\n') + "one more line\nand one\n"
    [fault] = read_folder(put({"entries.csv": text})).faults
    assert (fault.line, fault.found) == (4, "a quotation mark that is never closed")


def test_text_after_a_closing_quotation_mark_is_a_fault_of_its_line_alone(put, sound):
    text = sound["entries.csv"].replace(",1.5,,\n", ',1.5,"lid" off,\n') + ",2030-05-03T08:00,ida,fly,L1,,,,,,,,,,,,\n"
    assert places(read_folder(put({"entries.csv": text}))) == [("entries.csv", 4, None), ("entries.csv", 5, "deed")]


def test_a_file_of_an_insane_size_is_refused(put, sound, monkeypatch):
    monkeypatch.setattr(plain, "MAX_BYTES", 1000)
    [fault] = read_folder(put({"people.csv": sound["people.csv"] + "x" * 1000})).faults
    assert (fault.file, fault.expected[:19]) == ("people.csv", "at most 1,000 bytes")


def test_too_many_rows_are_refused(put, monkeypatch):
    monkeypatch.setattr(rows, "MAX_ROWS", 2)
    faults = read_folder(put()).faults
    assert [f.file for f in faults] == ["bins.csv", "entries.csv"]
    assert "at most 2 rows" in faults[0].expected


def test_a_bins_file_that_cannot_be_read_does_not_spoil_every_entry(put):
    assert places(read_folder(put({"bins.csv": b"\xff\xfe"}))) == [("bins.csv", 1, None)]


@pytest.mark.parametrize(
    ("old", "new", "line", "column", "expected"),
    [
        ('name = "Larch Row"', 'name = "Larch Row', 1, None, "words in quotation marks"),
        ('name = "Larch Row"', 'name = " "', 1, "name", "a name"),
        ('name = "Larch Row"\n', "", None, "name", "a name"),
        ("gryllus-bimaculatus", "grillus-bimaculatus", 2, "species", "did you mean gryllus-bimaculatus?"),
        ("America/New_York", "America/Newyork", 3, "timezone", "did you mean America/New_York?"),
        ("America/New_York", "America", 3, "timezone", "a time zone"),
        ("America/New_York", "../UTC", 3, "timezone", "a time zone"),
        ('timezone = "America/New_York"\n', "", None, "timezone", "a time zone"),
        ("17.5", "-0.5", 5, "wage_per_hour", "from 0"),
        ("17.5", "true", 5, "wage_per_hour", "from 0"),
        ('["mon", "wed", "fri"]', '["mon", "mon"]', 6, "swap_days", "weekdays such as"),
        ('["mon", "wed", "fri"]', "[]", 6, "swap_days", "weekdays such as"),
        ('["mon", "wed", "fri"]', '["moonday"]', 6, "swap_days", "weekdays such as"),
        ("feed_days = 2", "feed_days = 0", 7, "feed_days", "1 to 30"),
        ("feed_days = 2", "feed_days = 31", 7, "feed_days", "1 to 30"),
        ("feed_days = 2", "feed_days = 2.5", 7, "feed_days", "1 to 30"),
        ("substrate_cycles = 3", "substrate_cycles = 0", 8, "substrate_cycles", "from 1"),
        ("from_mg = 300", "from_mg = 0", 17, "from_mg", "from the smallest up"),
        ("from_mg = 0", "from_mg = -1", 13, "from_mg", "from 0"),
        ("from_mg = 300\n", "", 15, "from_mg", "from 0"),
        ('name = "large"', 'name = "small"', 16, "name", "each size class once"),
        ("[[size_class]]", "[[size_clas]]\n[size_class]", 12, "size_class", "[[size_class]]"),
    ],
)
def test_a_wrong_farm_card_is_a_fault_in_its_place(put, sound, old, new, line, column, expected):
    text = sound["farm.toml"]
    if old == "[[size_class]]":
        text = text[: text.index(old)] + "\n[size_class]\nname = 'x'\n"
        line = 12
    reading = read_folder(put({"farm.toml": text.replace(old, new, 1)}))
    assert [(f.file, f.line, f.column) for f in reading.faults] == [("farm.toml", line, column)]
    assert expected in reading.faults[0].expected
    assert reading.folder is None
    assert not reading.can_skip


def test_optional_keys_of_the_card_have_their_defaults(put):
    card = 'name = "Bare"\nspecies = "acheta-domesticus"\ntimezone = "UTC"\nswap_days = ["Monday", "thu"]\n'
    farm = read_folder(put({"farm.toml": card})).folder.farm
    assert (farm.feed_days, farm.substrate_cycles, farm.size_classes) == (3, 3, ())
    assert farm.swap_days == ("mon", "thu")
