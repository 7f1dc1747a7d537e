"""A farm comes into the book whole or not at all, and goes out as it came in."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from chirr.book import ledger, shelf
from chirr.book.models import EntryRow, FarmRow, ReadingRow
from chirr.desk.transfer import (
    ImportReport,
    check_book,
    check_folder,
    export_folder,
    export_workbook,
    export_zip,
    import_folder,
)

NOW = int(datetime(2029, 10, 1, 12, tzinfo=UTC).timestamp())
MASS_OF_10_MM = 50.0
"""Milligrams of a 10 mm cricket in the trade's size chart (common practice, no published source)."""
EXAMPLE = Path(__file__).resolve().parents[3] / "shared" / "example-farm"
HEADER = (
    "id,at,person,deed,bin,lot,clutch,tray_type,substrate,cycle,to_bin,to_lot,to_place,from_lots,stage,age_days,"
    "quantity,unit,cv,sample,minutes,note,replaces"
)
CARD = """name = "Hollow Lane"
species = "gryllus-bimaculatus"
timezone = "Europe/Lisbon"
"""
ROOMS = "room,set_temperature_c\nattic,31\ncellar,28.5\n"
BINS = """bin,room,stack,level,duty,floor_cm2
A1,attic,1,1,breeding,8000
A2,attic,1,2,nursery,4000
C1,cellar,1,1,grow-out,7000
C2,cellar,1,2,grow-out,7000
"""
TRAYS = "tray_type,length_cm,width_cm,depth_cm\nflat,30,20,5\n"
PEOPLE = "person,role\nInes,owner\nRui,hand\n"
READINGS = "at,room,level,temperature_c\n2029-08-01T06:00,attic,1,30.5\n2029-08-01T06:00,cellar,,28\n"

STORY: tuple[dict[str, str], ...] = (
    {"at": "2029-08-01T08:00", "deed": "stock", "bin": "A1", "lot": "M1", "quantity": "900", "unit": "crickets",
     "stage": "adult", "age_days": "4"},
    {"at": "2029-08-01T08:30", "deed": "lay", "bin": "A1", "lot": "M1", "clutch": "K1", "tray_type": "flat"},
    {"at": "2029-08-04T08:00", "deed": "pull", "clutch": "K1", "to_bin": "A2", "to_lot": "L1"},
    {"at": "2029-08-15T08:00", "deed": "hatch", "clutch": "K1"},
    {"at": "2029-08-20T08:00", "deed": "empty", "clutch": "K1", "note": "reused"},
    {"at": "2029-08-21T08:00", "deed": "count", "lot": "L1", "quantity": "2100", "unit": "pinheads", "cv": "0.2"},
    {"at": "2029-09-01T08:00", "deed": "move", "lot": "L1", "to_bin": "C1"},
    {"at": "2029-09-20T08:00", "deed": "harvest", "lot": "L1", "quantity": "1.1", "unit": "kg"},
)  # fmt: skip
"""Line 2 of entries.csv is the first of these."""

Change = Callable[[list[dict[str, str]]], object]


@pytest.fixture(autouse=True)
def _fresh_standing(db: None) -> Iterator[None]:
    ledger.forget()
    yield
    ledger.forget()


@pytest.fixture
def farm(tmp_path: Path) -> Callable[..., Path]:
    """Writes the farm of Hollow Lane, with its story changed as asked."""

    def write(change: Change | None = None, name: str = "hollow", **files: str | None) -> Path:
        folder = tmp_path / name
        folder.mkdir()
        rows = [dict(row) for row in STORY]
        if change is not None:
            change(rows)
        texts = {
            "farm.toml": CARD, "rooms.csv": ROOMS, "bins.csv": BINS, "tray_types.csv": TRAYS, "people.csv": PEOPLE,
            "readings.csv": READINGS, "entries.csv": _entries(rows),
        }  # fmt: skip
        for file, text in {**texts, **{f.replace("__", "."): t for f, t in files.items()}}.items():
            if text is not None:
                (folder / file).write_text(text, encoding="utf-8")
        return folder

    return write


def _entries(rows: list[dict[str, str]]) -> str:
    columns = HEADER.split(",")
    lines = [",".join(row.get(column, "") for column in columns) for row in rows]
    return "\n".join([HEADER, *lines]) + "\n"


def _places(report: ImportReport) -> list[tuple[str, int | None, str | None]]:
    return [(f.file, f.line, f.column) for f in report.faults]


def _files(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in sorted(folder.iterdir())}


# --- in and out --------------------------------------------------------------------------------------------------


def test_a_clean_folder_goes_into_the_book_whole(farm: Callable[..., Path]) -> None:
    report = import_folder(farm(), now=NOW)
    assert report.written
    assert (report.new_entries, report.new_readings) == (8, 2)
    assert ledger.live().lots["L1"].ended_by == "harvest"
    assert check_book().as_replayed


def test_importing_the_same_folder_again_changes_nothing(farm: Callable[..., Path]) -> None:
    folder = farm()
    import_folder(folder, now=NOW)
    again = import_folder(folder, now=NOW)
    assert (again.new_entries, again.known_entries, again.new_readings) == (0, 8, 0)
    assert EntryRow.objects.count() == 8


def test_what_came_in_goes_out_and_in_and_out_byte_for_byte(farm: Callable[..., Path], tmp_path: Path) -> None:
    _there_and_back(farm(), tmp_path)


@pytest.mark.skipif(not EXAMPLE.is_dir(), reason="the example farm does not stand beside this repository")
def test_the_example_farm_goes_out_and_in_and_out_byte_for_byte(tmp_path: Path) -> None:
    _there_and_back(EXAMPLE, tmp_path)


def test_the_made_up_farm_goes_out_and_in_and_out_byte_for_byte(tmp_path: Path) -> None:
    from chirr.demo import make_farm
    from chirr.files.folder import write_folder

    write_folder(make_farm(date(2029, 9, 30), bins_factor=0.3, months=4), tmp_path / "made-up")
    _there_and_back(tmp_path / "made-up", tmp_path)


def _there_and_back(source: Path, tmp_path: Path) -> None:
    assert import_folder(source, now=NOW).written
    export_folder(tmp_path / "one")
    export_workbook(tmp_path / "one.xlsx")
    zipped = export_zip()
    for n, way in enumerate((tmp_path / "one", tmp_path / "one.xlsx")):
        _empty_the_book()
        assert import_folder(way, now=NOW).written
        export_folder(tmp_path / f"two-{n}")
        assert _files(tmp_path / f"two-{n}") == _files(tmp_path / "one")
        assert export_zip() == zipped


def _empty_the_book() -> None:
    """As a new book is; the triggers that guard the entries are put back at once."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT sql FROM sqlite_master WHERE name = 'book_entry_never_goes'")
        (trigger,) = cursor.fetchone()
        cursor.execute("DROP TRIGGER book_entry_never_goes")
        for table in (
            "entryrow",
            "readingrow",
            "snapshotrow",
            "personrow",
            "binrow",
            "roomrow",
            "traytyperow",
            "farmrow",
        ):
            cursor.execute(f"DELETE FROM book_{table}")  # noqa: S608 - names of our own tables
        cursor.execute(trigger)
    ledger.forget()


# --- history -----------------------------------------------------------------------------------------------------


def test_a_tray_pulled_before_it_was_laid_is_told_when_it_was_laid(farm: Callable[..., Path]) -> None:
    report = import_folder(farm(lambda rows: rows[2].update(at="2029-07-04T08:00")), now=NOW)
    assert not report.written
    assert _places(report) == [("entries.csv", 4, "clutch")]
    assert "a time after 2029-08-01 08:30, when it is laid (line 3)" in report.faults[0].expected
    assert [f.line for f in report.follow_ons] == [7, 8, 9], "what only rests on the bad row is told apart"


def test_a_lot_harvested_twice_is_told_when_it_was_harvested_first(farm: Callable[..., Path]) -> None:
    report = import_folder(farm(lambda rows: rows.append({**rows[7], "at": "2029-09-22T08:00"})), now=NOW)
    assert _places(report) == [("entries.csv", 10, "lot")]
    assert report.faults[0].found == "lot L1, harvested on 2029-09-20 08:00 (line 9)"


def test_two_lots_in_one_bin_are_told_which_lives_there_and_since_when(farm: Callable[..., Path]) -> None:
    second = {**STORY[0], "at": "2029-09-05T08:00", "bin": "C1", "lot": "M2"}
    report = import_folder(farm(lambda rows: rows.append(second)), now=NOW)
    assert _places(report) == [("entries.csv", 10, "bin")]
    assert report.faults[0].found == "bin C1, where lot L1 lives since 2029-09-01 08:00"


def test_a_lot_that_no_row_begins_gets_a_near_name(farm: Callable[..., Path]) -> None:
    report = import_folder(farm(lambda rows: rows[6].update(lot="L11")), now=NOW)
    assert _places(report) == [("entries.csv", 8, "lot")]
    assert "did you mean L1?" in report.faults[0].expected


def test_times_in_sentences_are_the_farms_own(farm: Callable[..., Path]) -> None:
    card = CARD.replace("Europe/Lisbon", "Asia/Kathmandu")
    report = import_folder(
        farm(lambda rows: rows.append({**rows[7], "at": "2029-09-22T08:00"}), farm__toml=card), now=NOW
    )
    assert "2029-09-20 08:00" in report.faults[0].found


def test_a_row_with_a_bad_cell_does_not_drag_down_those_that_rest_on_it(farm: Callable[..., Path]) -> None:
    report = import_folder(farm(lambda rows: rows[1].update(tray_type="flt")), now=NOW)
    assert _places(report) == [("entries.csv", 3, "tray_type")]
    assert not report.follow_ons


def test_faults_of_cells_and_of_history_are_listed_together(farm: Callable[..., Path]) -> None:
    def change(rows: list[dict[str, str]]) -> None:
        rows[5]["quantity"] = "-5"
        rows.append({**rows[7], "at": "2029-09-22T08:00"})

    report = import_folder(farm(change), now=NOW)
    assert _places(report) == [("entries.csv", 7, "quantity"), ("entries.csv", 10, "lot")]


# --- times -------------------------------------------------------------------------------------------------------


def test_an_entry_in_the_future_is_a_fault(farm: Callable[..., Path]) -> None:
    report = import_folder(farm(lambda rows: rows[7].update(at="2092-09-20T08:00")), now=NOW)
    assert _places(report) == [("entries.csv", 9, "at")]
    assert "not in the future" in report.faults[0].expected


def test_a_reading_in_the_future_is_a_fault_with_its_line(farm: Callable[..., Path]) -> None:
    report = import_folder(farm(readings__csv=READINGS + "2092-08-01T06:00,attic,1,30.5\n"), now=NOW)
    assert _places(report) == [("readings.csv", 4, "at")]


def test_a_few_hours_ahead_of_the_clock_are_not_a_fault(farm: Callable[..., Path]) -> None:
    soon = datetime.fromtimestamp(NOW + 6 * 3600, UTC).strftime("%Y-%m-%dT%H:%M+00:00")
    assert import_folder(farm(lambda rows: rows.append({"at": soon, "deed": "clean", "bin": "C1"})), now=NOW).written


def test_a_farm_that_lies_in_the_future_as_a_whole_is_taken_with_a_remark(farm: Callable[..., Path]) -> None:
    report = import_folder(farm(), now=NOW - 5 * 365 * 86400)
    assert report.written
    assert "in the future of this machine's clock" in " ".join(report.remarks)


def test_one_entry_far_after_all_others_is_a_fault_even_in_the_future(farm: Callable[..., Path]) -> None:
    def change(rows: list[dict[str, str]]) -> None:
        rows += [{"at": f"2029-09-{d:02d}T09:00", "deed": "feed", "bin": "A1"} for d in range(1, 15)]
        rows.append({"at": "2030-09-20T08:00", "deed": "water", "bin": "A1"})

    report = import_folder(farm(change), now=NOW - 5 * 365 * 86400)
    assert _places(report) == [("entries.csv", 24, "at")]


# --- a book that holds something already ---------------------------------------------------------------------------


def test_a_later_export_of_the_same_farm_adds_only_what_is_new(farm: Callable[..., Path]) -> None:
    import_folder(farm(), now=NOW)
    more = {"at": "2029-09-21T08:00", "deed": "clean", "bin": "C1"}
    bins = BINS + "C3,cellar,2,1,grow-out,7000\n"
    report = import_folder(farm(lambda rows: rows.append(more), name="later", bins__csv=bins), now=NOW)
    assert (report.written, report.new_entries, report.known_entries) == (True, 1, 8)
    assert [b.bin for b in ledger.bins()] == ["A1", "A2", "C1", "C2", "C3"]


def test_another_farms_folder_is_refused(farm: Callable[..., Path]) -> None:
    import_folder(farm(), now=NOW)
    report = import_folder(farm(name="other", farm__toml=CARD.replace("Hollow Lane", "Long Acre")), now=NOW)
    assert not report.written
    assert _places(report) == [("farm.toml", None, "name")]
    assert FarmRow.objects.get().card["name"] == "Hollow Lane"


@pytest.mark.parametrize(
    ("file", "text", "place"),
    [
        ("bins__csv", BINS.replace("1,2,grow-out,7000", "1,2,grow-out,9000"), ("bins.csv", 5, "floor_cm2")),
        ("rooms__csv", ROOMS.replace("28.5", "27"), ("rooms.csv", 3, "set_temperature_c")),
        ("tray_types__csv", TRAYS.replace("30,20,5", "30,20,6"), ("tray_types.csv", 2, "depth_cm")),
        ("people__csv", PEOPLE.replace("Rui,hand", "Rui,reader"), ("people.csv", 3, "role")),
        ("farm__toml", CARD + "feed_days = 2\n", ("farm.toml", None, "feed_days")),
    ],
)  # fmt: skip
def test_a_thing_that_differs_from_the_book_is_changed_on_the_farm_page(
    farm: Callable[..., Path], file: str, text: str, place: tuple[str, int | None, str]
) -> None:
    import_folder(farm(), now=NOW)
    report = import_folder(farm(name="other", **{file: text}), now=NOW)
    assert not report.written
    assert _places(report) == [place]
    assert "the Farm page" in report.faults[0].expected


def test_other_words_under_a_known_id_are_a_fault(farm: Callable[..., Path]) -> None:
    name = "0f2e1c1a-7b1d-7c1e-8f00-0123456789ab"
    import_folder(farm(lambda rows: rows[7].update(id=name)), now=NOW)
    report = import_folder(farm(lambda rows: rows[7].update(id=name, quantity="1.3"), name="other"), now=NOW)
    assert _places(report) == [("entries.csv", 9, "quantity")]


def test_a_reading_that_contradicts_the_book_is_a_fault(farm: Callable[..., Path]) -> None:
    import_folder(farm(), now=NOW)
    report = import_folder(farm(name="other", readings__csv=READINGS.replace("30.5", "13.5")), now=NOW)
    assert _places(report) == [("readings.csv", 2, "temperature_c")]


def test_an_entry_that_makes_the_books_own_untrue_is_refused(farm: Callable[..., Path]) -> None:
    import_folder(farm(lambda rows: rows.pop(6)), now=NOW)
    early = {"at": "2029-09-01T08:00", "deed": "retire", "lot": "L1"}
    report = import_folder(farm(lambda rows: (rows.pop(6), rows.append(early)), name="other"), now=NOW, skip_bad=True)
    assert not report.written
    assert "the book's own harvest of 2029-09-20 08:00" in report.faults[0].found


# --- skipping --------------------------------------------------------------------------------------------------------


def test_skipping_writes_the_good_rows_and_a_file_of_the_rest(farm: Callable[..., Path]) -> None:
    def change(rows: list[dict[str, str]]) -> None:
        rows[2]["at"] = "2029-07-04T08:00"
        rows.append({"at": "2029-09-02T08:00", "deed": "feeed", "bin": "A1"})

    folder = farm(change)
    report = import_folder(folder, skip_bad=True, now=NOW)
    assert report.written
    assert (report.new_entries, report.left_out) == (4, 5)
    assert not ledger.live().misfits
    with (folder.with_name("hollow-rest") / "entries.csv").open(encoding="utf-8", newline="") as file:
        rest = list(csv.DictReader(file))
    assert [row["deed"] for row in rest] == ["pull", "count", "move", "harvest", "feeed"]
    assert all(row["fault"] for row in rest)


def test_the_rest_once_put_right_brings_the_farm_to_the_same_state(farm: Callable[..., Path]) -> None:
    folder = farm(lambda rows: rows[2].update(at="2029-07-04T08:00"))
    import_folder(folder, skip_bad=True, now=NOW)
    rest = folder.with_name("hollow-rest") / "entries.csv"
    shutil.copytree(folder, folder.with_name("again"))
    shutil.copy(rest, folder.with_name("again") / "entries.csv")
    fixed = folder.with_name("again") / "entries.csv"
    fixed.write_text(
        fixed.read_text(encoding="utf-8").replace("2029-07-04T08:00", "2029-08-04T08:00"), encoding="utf-8"
    )
    assert import_folder(folder.with_name("again"), now=NOW).written
    assert ledger.live().lots["L1"].ended_by == "harvest"
    assert not ledger.live().misfits


def test_a_second_rest_never_overwrites_the_first(farm: Callable[..., Path]) -> None:
    folder = farm(lambda rows: rows.append({"at": "2029-09-02T08:00", "deed": "feeed", "bin": "A1"}))
    first = import_folder(folder, skip_bad=True, now=NOW)
    second = import_folder(folder, skip_bad=True, now=NOW)
    assert first.rest[0].parent != second.rest[0].parent


def test_a_missing_file_cannot_be_skipped(farm: Callable[..., Path]) -> None:
    report = import_folder(farm(bins__csv=None), skip_bad=True, now=NOW)
    assert not report.written
    assert _places(report) == [("bins.csv", None, None)]


# --- nothing half-written ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "cells"),
    [
        (0, {"quantity": "99999999999"}), (0, {"stage": "grub"}), (1, {"bin": "A9"}), (3, {"deed": "hatched"}),
        (4, {"clutch": "K2"}), (5, {"unit": "kg"}), (6, {"to_bin": "A1"}), (7, {"quantity": "-1"}),
        (7, {"at": "yesterday"}),
    ],
)  # fmt: skip
def test_a_single_bad_row_leaves_the_book_untouched(farm: Callable[..., Path], row: int, cells: dict[str, str]) -> None:
    report = import_folder(farm(lambda rows: rows[row].update(cells)), now=NOW)
    assert not report.written
    assert {f.line for f in report.faults} == {row + 2}
    assert (FarmRow.objects.count(), EntryRow.objects.count(), ReadingRow.objects.count()) == (0, 0, 0)


def test_looking_a_folder_over_writes_nothing(farm: Callable[..., Path]) -> None:
    assert not check_folder(farm(), now=NOW).faults
    assert not FarmRow.objects.exists()


def test_a_folder_without_an_owner_comes_in_and_says_how_to_make_one(farm: Callable[..., Path]) -> None:
    report = import_folder(farm(people__csv=None), now=NOW)
    assert report.written
    assert "chirr person NAME --role owner" in " ".join(report.remarks)


def test_a_size_class_by_length_comes_in_at_the_mass_of_the_trades_chart_and_goes_out_again(
    farm: Callable[..., Path], tmp_path: Path
) -> None:
    classes = '\n[[size_class]]\nname = "tiny"\nfrom_mg = 0\n\n[[size_class]]\nname = "half grown"\nfrom_mm = 10\n'
    assert import_folder(farm(**{"farm.toml": CARD + classes}), now=NOW).faults == []
    before = shelf.card()
    assert before is not None
    assert before.size_classes[1].from_mm == 10
    assert before.size_classes[1].from_mg == pytest.approx(MASS_OF_10_MM, rel=0.25)
    export_folder(tmp_path / "out")
    again = import_folder(tmp_path / "out", now=NOW)
    assert again.faults == []
    assert again.new_entries == 0
    assert shelf.card() == before
    text = (tmp_path / "out/farm.toml").read_text()
    (tmp_path / "out/farm.toml").write_text(text.replace("from_mm = 10", "from_mm = 14"))
    (fault,) = import_folder(tmp_path / "out", now=NOW).faults
    assert (fault.file, fault.column) == ("farm.toml", "from_mg")
    assert "only one of the two" in fault.expected
