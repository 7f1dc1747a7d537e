"""Size classes in the farm folder and the workbook: by mass, by length, with prices."""

from __future__ import annotations

import pytest

from chirr.files.columns import SIZE_CLASSES
from chirr.files.folder import read_folder, write_folder
from chirr.files.workbook import read_workbook, write_workbook
from files.conftest import FARM

CLASS = """
[[size_class]]
name = "large"
from_mg = 300
"""


def half_a_cube(length_mm: float, species: str) -> float:
    """A law that is easy to check, for the species of the sound farm alone."""
    assert species == "gryllus-bimaculatus"
    return 0.5 * length_mm**3


def read(put, instead: str):
    folder = put()
    (folder / "farm.toml").write_text(FARM.replace(CLASS.strip(), instead.strip()))
    return read_folder(folder, mass_of_length=half_a_cube)


BY_LENGTH = '[[size_class]]\nname = "large"\nfrom_mm = 8\nprice_per_thousand = 31.5'


def test_a_class_by_length_alone_begins_at_the_mass_of_a_cricket_so_long(put) -> None:
    reading = read(put, BY_LENGTH)
    assert reading.faults == []
    small, large = reading.folder.farm.size_classes
    assert (small.from_mg, small.from_mm) == (0, None)
    assert (large.from_mg, large.from_mm, large.price_per_thousand) == (256.0, 8.0, 31.5)


def test_what_goes_out_by_length_comes_in_again_the_same_as_folder_and_as_workbook(put, tmp_path) -> None:
    farm = read(put, BY_LENGTH).folder
    write_folder(farm, tmp_path / "out")
    write_workbook(farm, tmp_path / "out.xlsx")
    for reading in (
        read_folder(tmp_path / "out", mass_of_length=half_a_cube),
        read_workbook(tmp_path / "out.xlsx", mass_of_length=half_a_cube),
    ):
        assert reading.faults == []
        assert reading.folder.farm == farm.farm
    write_folder(read_folder(tmp_path / "out", mass_of_length=half_a_cube).folder, tmp_path / "again")
    assert (tmp_path / "out/farm.toml").read_bytes() == (tmp_path / "again/farm.toml").read_bytes()


@pytest.mark.parametrize(
    ("instead", "column", "expected", "found"),
    [
        ('[[size_class]]\nname = "large"\nfrom_mg = 300\nfrom_mm = 8', "from_mg",
         "only one of the two, or 256 mg, the mass of a cricket 8 mm long", "300 mg"),
        ('[[size_class]]\nname = "large"\nfrom_mm = 8\nprice_per_kg = 3\nprice_per_thousand = 4',
         "price_per_thousand", "one price: by the kilogram or by the thousand", "3 and 4"),
        ('[[size_class]]\nname = "large"\nfrom_mm = -8', "from_mm", "a number from 0 to 300", "-8"),
        ('[[size_class]]\nname = "large"\nfrom_mm = 0', "from_mm", "more than the 0 mg of small", "0 mm (0 mg)"),
        ('[[size_class]]\nname = "large"\nfrom_mm = [1]', "from_mm", "a number from 0 to 300", "[1]"),
        ('[[size_class]]\nname = ["large"]\nfrom_mm = 8', "name", "a name", '["large"]'),
        ('[[size_class]]\nname = "large"\nfrom_mm = { least = 1 }', "from_mm", "a number from 0 to 300",
         "{ least = 1 }"),
        ('[[size_class]]\nname = "large"\nfrom_mm = 5\n[[size_class]]\nname = "huge"\nfrom_mm = 3', "from_mm",
         "more than the 5 of large, since classes go from the smallest up", "3"),
        ('[[size_class]]\nname = "large"\nfrom_mm = 5\n[[size_class]]\nname = "huge"\nfrom_mg = 13.5', "from_mg",
         "more than the 5 mm (62.5 mg) of large", "13.5 mg"),
        ('[[size_class]]\nname = "large"\nfrom_mg = 62.5\n[[size_class]]\nname = "huge"\nfrom_mm = 3', "from_mm",
         "more than the 62.5 mg of large", "3 mm (13.5 mg)"),
    ],
)  # fmt: skip
def test_what_does_not_go_together_is_told_with_its_line(put, instead, column, expected, found) -> None:
    reading = read(put, instead)
    (fault,) = reading.faults
    assert (fault.file, fault.column, fault.found) == ("farm.toml", column, found)
    assert expected in fault.expected
    assert fault.line is not None
    assert fault.line >= FARM.splitlines().index('name = "large"')
    if "huge" in instead:
        assert fault.line == FARM.replace(CLASS.strip(), instead).splitlines().index('name = "huge"') + 2


def test_mass_and_length_may_both_be_given_where_they_agree(put) -> None:
    reading = read(put, '[[size_class]]\nname = "large"\nfrom_mg = 250\nfrom_mm = 8')
    assert reading.faults == []
    assert reading.folder.farm.size_classes[1].from_mg == 250


def test_a_workbook_tells_the_row_of_a_class_with_neither(put, tmp_path) -> None:
    from xlsxwriter import Workbook

    farm = read_folder(put()).folder
    write_workbook(farm, tmp_path / "farm.xlsx")
    columns = [c.name for c in SIZE_CLASSES.columns]
    book = Workbook(tmp_path / "classes.xlsx")
    page = book.add_worksheet("size_classes")
    for row, cells in enumerate((columns, ["small", 0], ["large"])):
        page.write_row(row, 0, cells)
    card = book.add_worksheet("farm")
    for row, pair in enumerate((("name", "value"), ("name", "Larch Row"), ("species", "gryllus-bimaculatus"),
                                ("timezone", "America/New_York"))):  # fmt: skip
        card.write_row(row, 0, pair)
    book.close()
    faults = [f for f in read_workbook(tmp_path / "classes.xlsx").faults if "size_classes" in f.file]
    assert [(f.line, f.column, f.found) for f in faults] == [(3, "from_mg", "nothing")]
