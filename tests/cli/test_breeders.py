"""chirr breeders as a shell sees it."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from cli.test_the_command import FILES, _one_sentence, _run, chirr  # noqa: F401 - the fixture is used by name


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A farm whose breeders were stocked ten days ago."""
    place = tmp_path_factory.mktemp("breeding")
    (place / "quarry").mkdir()
    at = (datetime.now(UTC) - timedelta(days=10)).strftime("%Y-%m-%dT08:")
    for name, text in FILES.items():
        (place / "quarry" / name).write_text(text.replace("2026-05-01T08:", at), encoding="utf-8")
    done = _run("import", "quarry", cwd=place)
    assert done.returncode == 0, done.stderr
    return place / "farm.chirr"


def test_the_answer_as_json_keeps_its_keys_and_its_days_in_order(chirr, book: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    run = chirr("--farm", book, "breeders", "--json")
    assert run.returncode == 0, run.stderr
    answer = json.loads(run.stdout)
    assert set(answer) == {"as_of", "quantiles", "lots", "ages_of_laying", "remarks", "left_out"}
    ages = answer["ages_of_laying"]
    assert set(ages) == {"first_eggs", "first_eggs_learnt", "half_of_peak", "half_of_peak_learnt", "says"}
    assert ages["first_eggs"][3] < ages["half_of_peak"][3]
    assert (ages["first_eggs_learnt"], ages["half_of_peak_learnt"]) == (False, False), "no tray was counted"
    (lot,) = answer["lots"]
    assert set(lot) == {
        "lot", "bin", "adult_days", "eggs_per_day", "half_of_peak", "better_renewed", "retire", "trays_share",
        "followers_adult", "followers_hatched", "followers_laid", "successors", "says", "cold",
    }  # fmt: skip
    assert (lot["lot"], lot["bin"], lot["successors"]) == ("M1", "S1", [])
    middles = [datetime.fromisoformat(lot[key][3]) for key in (
        "followers_laid", "followers_hatched", "followers_adult", "retire"
    )]  # fmt: skip
    assert middles == sorted(middles)
    assert all(t.utcoffset().total_seconds() == 3 * 3600 for t in middles)
    assert len(lot["eggs_per_day"]) == len(answer["quantiles"]) == 7


def test_plain_text_has_a_table_and_a_sentence_for_each_lot(chirr, book: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    run = chirr("--farm", book, "breeders")
    assert run.returncode == 0, run.stderr
    assert "followers laid by" in run.stdout
    assert "M1: Eggs fall below half of their peak" in run.stdout
    assert "First eggs 6 days after the adult moult at 30 °C" in run.stdout, "pre_oviposition_days of the species table"


def test_a_bin_without_breeders_says_so_and_one_that_is_not_there_is_bad_input(chirr, book: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    assert "No breeders are in bin S2 now." in chirr("--farm", book, "breeders", "--bin", "S2").stdout
    assert json.loads(chirr("--farm", book, "breeders", "--bin", "S2", "--json").stdout)["lots"] == []
    assert "no bin Z9 on this farm" in _one_sentence(chirr("--farm", book, "breeders", "--bin", "Z9"), 2)
