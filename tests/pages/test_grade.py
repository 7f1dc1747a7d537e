"""The page that says how good the forecasts have been."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from builders import small_farm
from chirr.desk import grade as desk
from chirr.desk import kept_grade
from chirr.desk.grade_report import Case, Drift, Grade, grade_kinds
from pages.conftest import Who

DAY = 86400


@pytest.fixture
def kept(farm: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A report beside the small farm's book."""
    path = tmp_path / "book.grade.json"
    monkeypatch.setattr(kept_grade, "kept_path", lambda: path)
    said = {"chirr": (6.0, 7.0, 9.0, 10.0, 11.0, 13.0, 14.0), "keeper": (10.0,) * 7, "calendar": (60.0,) * 7}
    cases = [
        Case(kind="mean mass", thing=f"G{i}", asked_at=0, answered_at=9 * DAY, truth=truth, said=said)
        for i, truth in enumerate((8.0, 9.5, 10.2, 12.0, 20.0))
    ]
    drift = (Drift(kind="mean mass", inside=1, of=12, chance=1e-6, too_high=0),)
    report = Grade(
        made_at=small_farm.NOW, farm="Low Barn", first_entry=kept_grade.first_entry_id(), draws=400,
        asked=(small_farm.day(2), small_farm.day(20)), kinds=grade_kinds(cases), drift=drift,
    )  # fmt: skip
    path.write_bytes(msgspec.json.encode(report))
    return path


@pytest.mark.parametrize("person", ["owner", "hand", "reader"])
def test_everybody_of_the_farm_sees_the_last_grade_its_date_and_how_to_renew_it(
    who: Who, kept: Path, person: str
) -> None:
    page = who(person).get("/ahead/grade").content.decode()
    assert "of 100 times that the band said 8 in 10, the truth was inside 80 times" in page
    assert "chirr grade" in page
    assert page.count("<figure") == 2
    assert "only 1" in page, "the warning that bands promise too much"


def test_a_book_never_graded_says_so_and_how(who: Who) -> None:
    page = who("owner").get("/ahead/grade").content.decode()
    assert "not been graded yet" in page
    assert "<figure" not in page


def test_looking_at_the_page_works_nothing_out(who: Who, kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(desk, "foresee", lambda *_, **__: pytest.fail("a forecast was made"))
    assert who("hand").get("/ahead/grade").status_code == 200


def test_a_stranger_is_refused_and_an_outsider_signs_in_first(who: Who) -> None:
    assert who("stranger").get("/ahead/grade").status_code == 403
    assert who("outsider").get("/ahead/grade").status_code == 302


def test_every_figure_of_the_pictures_is_also_in_a_table(who: Who, kept: Path) -> None:
    page = who("owner").get("/ahead/grade").content.decode()
    assert "<td>the farm&#x27;s own averages</td>" in page
    assert page.count("The same figures as a table") == 2


def test_an_old_grade_is_called_old_on_its_page_and_among_the_remarks(
    who: Who, kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    report = msgspec.json.decode(kept.read_bytes(), type=Grade)
    kept.write_bytes(msgspec.json.encode(msgspec.structs.replace(report, drift=())))
    assert kept_grade.drift_remark() is None
    monkeypatch.setattr(kept_grade.ledger, "last_at", lambda: small_farm.NOW + 40 * DAY)
    assert "5 weeks ago" in (kept_grade.drift_remark() or "")
    assert "5 weeks ago" in who("hand").get("/ahead/grade").content.decode()


def test_a_drift_is_told_before_an_old_age(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept_grade.ledger, "last_at", lambda: small_farm.NOW + 40 * DAY)
    assert "only 1" in (kept_grade.drift_remark() or "")


def test_a_book_too_short_to_grade_is_not_asked_for_a_grade_and_a_long_one_is(
    farm: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert kept_grade.drift_remark() is None
    monkeypatch.setattr(kept_grade.ledger, "last_at", lambda: small_farm.NOW + 60 * DAY)
    assert "never been held against what came" in (kept_grade.drift_remark() or "")
