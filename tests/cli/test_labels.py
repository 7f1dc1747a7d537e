"""chirr labels, chirr sheet and chirr count strip as a shell sees them."""

from __future__ import annotations

from pathlib import Path

from cli.test_the_command import _one_sentence, book, chirr  # noqa: F401 - the two fixtures are used by name

ADDRESS = ("--address", "https://barn.local:8765")


def test_labels_are_written_and_the_address_is_remembered(chirr, book: Path, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    first, second = tmp_path / "a.pdf", tmp_path / "b.pdf"
    run = chirr("--farm", book, "labels", "bins", *ADDRESS, "--out", first)
    assert run.returncode == 0, run.stderr
    assert first.read_bytes().startswith(b"%PDF")
    assert "100 %" in run.stdout
    run = chirr("--farm", book, "labels", "bins", "--stock", "roll-62x29", "--out", second)
    assert run.returncode == 0, run.stderr
    assert second.read_bytes().startswith(b"%PDF")


def test_after_a_command_the_whole_book_is_in_its_one_file(chirr, book: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    run = chirr("--farm", book, "labels", "bins", *ADDRESS, "--out", book.with_suffix(".pdf"))
    assert run.returncode == 0, run.stderr
    assert not [p.name for p in book.parent.glob(f"{book.name}-*")], "what stands beside it would be missing in a copy"


def test_without_an_address_it_says_how_to_give_one(chirr, book: Path, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    copy = tmp_path / "fresh.chirr"
    copy.write_bytes(book.read_bytes())
    from sqlite3 import connect

    with connect(copy) as fresh:
        fresh.execute("DELETE FROM book_labelrow")
    assert "--address" in _one_sentence(chirr("--farm", copy, "labels"), 1)


def test_what_is_wrong_is_told_in_one_sentence(chirr, book: Path, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    wrong = {
        ("tadpoles",): "no labels for",
        ("--start", "99"): "places 1 to 24",
        ("--out", str(tmp_path / "none" / "x.pdf")): "cannot be written",
    }
    for arguments, says in wrong.items():
        assert says in _one_sentence(chirr("--farm", book, "labels", *ADDRESS, *arguments), 2)


def test_the_stocks_are_listed_without_a_farm(chirr) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    run = chirr("labels", "--stocks")
    assert run.returncode == 0
    assert "70 × 37 mm" in run.stdout


def test_a_run_sheet_is_made_and_printed_again_as_it_was(chirr, book: Path, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    first, second = tmp_path / "a.pdf", tmp_path / "b.pdf"
    run = chirr("--farm", book, "sheet", *ADDRESS, "--out", first)
    assert run.returncode == 0, run.stderr
    code = run.stdout.split()[2]
    run = chirr("--farm", book, "sheet", *ADDRESS, "--again", code, "--out", second)
    assert run.returncode == 0, run.stderr
    assert first.read_bytes() == second.read_bytes()
    assert "no run sheet" in _one_sentence(chirr("--farm", book, "sheet", *ADDRESS, "--again", "NOTONE"), 2)


def test_scale_strips_need_no_farm(chirr, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]  # noqa: F811
    run = chirr("count", "strip", "--out", tmp_path / "strip.pdf")
    assert run.returncode == 0, run.stderr
    assert (tmp_path / "strip.pdf").read_bytes().startswith(b"%PDF")
