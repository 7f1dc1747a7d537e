"""chirr laying as a shell sees it."""

from __future__ import annotations

import json
from pathlib import Path

from cli.test_the_command import _one_sentence, book, chirr  # noqa: F401 - the two fixtures are used by name


def test_the_answer_as_json_keeps_its_keys(chirr, book: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    run = chirr("--farm", book, "laying", "--adults", "800", "--json")
    assert run.returncode == 0, run.stderr
    answer = json.loads(run.stdout)
    assert {
        "as_of",
        "quantiles",
        "adults",
        "adults_say",
        "trays_in_a_bin",
        "types",
        "best_says",
        "remarks",
        "left_out",
    } == set(answer)
    assert answer["adults"] == 800
    assert answer["as_of"].endswith("+03:00")
    flat = answer["types"][0]
    assert flat["tray_type"] == "flat"
    assert [c["by"] for c in flat["best_days"]] == ["breeder and day", "tray", "minute of labour"]
    tried = [d["days"] for d in flat["days"] if d["tried"]]
    for choice in flat["best_days"]:
        assert choice["days"] in tried
        assert 0 <= choice["chance"] <= 1
        assert len(choice["value"]) == len(answer["quantiles"]) == 7
    assert [n["trays"] for n in flat["numbers"]] == list(range(1, len(flat["numbers"]) + 1))


def test_the_answer_in_plain_text_has_a_table_and_sentences(chirr, book: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    run = chirr("--farm", book, "laying")
    assert run.returncode == 0, run.stderr
    assert "eggs in a tray" in run.stdout
    assert "Most eggs for each minute of labour" in run.stdout


def test_a_tray_type_that_is_not_there_is_told_with_those_that_are(chirr, book: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    said = _one_sentence(chirr("--farm", book, "laying", "--tray-type", "tub"), 2)
    assert "no tray type tub; it has flat" in said


def test_no_adults_at_all_is_bad_input(chirr, book: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    assert "number of adults" in _one_sentence(chirr("--farm", book, "laying", "--adults", "0"), 2)
