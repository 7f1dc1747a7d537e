"""chirr harvest as a shell sees it."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from cli.test_the_command import FILES, _one_sentence, _run, book, chirr  # noqa: F401 - fixtures are used by name


@pytest.fixture(scope="module")
def growing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A farm whose nursery holds half-grown crickets that sell by size class."""
    place = tmp_path_factory.mktemp("growing")
    (place / "quarry").mkdir()
    at = (datetime.now(UTC) - timedelta(days=20)).strftime("%Y-%m-%dT08:00")
    classes = (
        '\n[[size_class]]\nname = "little"\nfrom_mg = 0\nprice_per_thousand = 20\n'
        '\n[[size_class]]\nname = "long"\nfrom_mm = 15\nprice_per_kg = 12\n'
    )
    for name, text in FILES.items():
        more = {"farm.toml": classes, "entries.csv": f",{at},Amina,stock,S2,N1,,,nymph,10,4000,crickets\n"}
        (place / "quarry" / name).write_text(text + more.get(name, ""), encoding="utf-8")
    done = _run("import", "quarry", cwd=place)
    assert done.returncode == 0, done.stderr
    return place / "farm.chirr"


def test_the_answer_as_json_keeps_its_keys(chirr, growing: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    run = chirr("--farm", growing, "harvest", "--json")
    assert run.returncode == 0, run.stderr
    answer = json.loads(run.stdout)
    assert set(answer) == {"as_of", "quantiles", "lots", "remarks", "left_out"}
    (lot,) = answer["lots"]
    assert set(lot) == {"lot", "bin", "by", "best", "says", "sizes", "currency", "days"}
    assert (lot["lot"], lot["by"], lot["currency"]) == ("N1", "margin", "EUR")
    assert [s["size_class"] for s in lot["sizes"]] == ["little", "long"]
    assert set(lot["sizes"][0]) == {"size_class", "crickets", "kg", "crickets_then", "kg_then"}
    assert set(lot["days"][0]) == {"date", "gain_g", "feed_g", "worth"}
    assert date.fromisoformat(lot["days"][0]["date"]) == datetime.fromisoformat(answer["as_of"]).date()
    assert lot["best"] == sorted(lot["best"], key=datetime.fromisoformat)


def test_one_lot_is_told_with_its_days_and_size_classes(chirr, growing: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    run = chirr("--farm", growing, "harvest", "N1")
    assert run.returncode == 0, run.stderr
    for words in ("Most margin for each day of its bin", "By size class", "worth, EUR", "little"):
        assert words in run.stdout


def test_a_lot_that_does_not_grow_or_is_not_there_is_bad_input(chirr, growing: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    assert "Lot M1 is not grown for harvest" in _one_sentence(chirr("--farm", growing, "harvest", "M1"), 2)
    assert "No lot X lives on the farm" in _one_sentence(chirr("--farm", growing, "harvest", "X"), 2)


def test_a_farm_with_nothing_growing_says_so(chirr, book: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    run = chirr("--farm", book, "harvest")
    assert (run.returncode, run.stdout) == (0, "No lot is growing towards a harvest.\n")
