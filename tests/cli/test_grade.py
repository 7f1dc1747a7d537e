"""chirr grade as a shell sees it."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path

import pytest

from chirr.demo import make_farm
from chirr.files.folder import write_folder
from cli.test_the_command import _one_sentence, _run, book, chirr  # noqa: F401 - the two fixtures are used by name


@pytest.fixture(scope="module")
def graded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small made-up farm's book, graded once from two days."""
    place = tmp_path_factory.mktemp("graded")
    farm = make_farm(date(2026, 9, 30), seed=5, bins_factor=0.3, months=4, diary_share=0.0)
    write_folder(farm, place / "folder")
    assert _run("import", "folder", cwd=place).returncode == 0
    return place


def test_the_grade_as_json_keeps_its_keys_and_one_of_few_days_is_not_kept(graded: Path) -> None:
    run = _run("grade", "--dates", "2", "--draws", "100", "--json", cwd=graded)
    assert run.returncode == 0, run.stderr
    assert re.search(r"^Not kept: it asks 2 days of the past and a usual grade of this book [3-9]", run.stderr, re.M)
    assert not (graded / "farm.chirr.grade.json").exists()
    answer = json.loads(run.stdout)
    assert {"made_at", "farm", "asked", "draws", "kinds", "drift", "remark"} <= set(answer)
    assert len(answer["asked"]) == 2
    assert answer["asked"][0].endswith("+02:00")
    kind = answer["kinds"][0]
    assert {"kind", "unit", "from_days", "to_days", "n", "things", "held", "bias", "score", "ratio"} <= set(kind)
    assert [h["band"] for h in kind["held"]] == [50, 80, 90]
    assert set(kind["score"]) == {"chirr", "calendar", "keeper", "published"}


def test_the_usual_grade_is_kept_beside_the_book_and_a_shorter_one_after_it_leaves_it_alone(graded: Path) -> None:
    run = _run("grade", "--draws", "50", "--json", cwd=graded)
    assert run.returncode == 0, run.stderr
    assert "Not kept" not in run.stderr
    kept = (graded / "farm.chirr.grade.json").read_text()
    assert json.loads(kept)["kinds"] == json.loads(run.stdout)["kinds"]
    assert "Not kept: it asks 1 day " in _run("grade", "--dates", "1", "--draws", "50", cwd=graded).stderr
    assert (graded / "farm.chirr.grade.json").read_text() == kept


def test_the_grade_in_plain_text_says_how_often_the_band_held(graded: Path) -> None:
    run = _run("grade", "--dates", "1", "--draws", "100", cwd=graded)
    assert run.returncode == 0, run.stderr
    assert "of 100 times that the band said 8 in 10" in run.stdout
    assert "beside averages" in run.stdout
    assert "\x1b" not in run.stdout + run.stderr


def test_a_book_too_short_to_grade_is_told_in_a_sentence(chirr, book: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    said = _one_sentence(chirr("--farm", book, "grade"), 1)
    assert "needs at least" in said


def test_a_number_of_days_that_makes_no_sense_is_bad_input(chirr, book: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    assert chirr("--farm", book, "grade", "--dates", "0").returncode == 2
