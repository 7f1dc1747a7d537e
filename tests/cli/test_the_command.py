"""The chirr command as a shell sees it: what it prints where, and the status it ends with."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Callable
from datetime import date
from pathlib import Path
from time import sleep

import pytest

Run = Callable[..., subprocess.CompletedProcess[str]]

FILES = {
    "farm.toml": 'name = "Quarry Side"\nspecies = "gryllodes-sigillatus"\ntimezone = "Africa/Nairobi"\n',
    "rooms.csv": "room,set_temperature_c\nshed,31\n",
    "bins.csv": "bin,room,stack,level,duty,floor_cm2\nS1,shed,1,1,breeding,6000\nS2,shed,1,2,nursery,6000\n",
    "tray_types.csv": "tray_type,length_cm,width_cm,depth_cm\nflat,30,20,5\n",
    "people.csv": "person,role\nAmina,owner\nPeter,hand\n",
    "entries.csv": (
        "id,at,person,deed,bin,lot,clutch,tray_type,stage,age_days,quantity,unit\n"
        ",2026-05-01T08:00,Amina,stock,S1,M1,,,adult,5,1500,crickets\n"
        ",2026-05-01T08:20,Peter,lay,S1,M1,K1,flat,,,,\n"
    ),
}


def _run(*arguments: str | Path, cwd: Path, stdin: str = "", **env: str) -> subprocess.CompletedProcess[str]:
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("CHIRR_", "DJANGO_"))}
    return subprocess.run(
        [sys.executable, "-c", "from chirr.cli import main; main()", *map(str, arguments)],
        cwd=cwd, env={**clean, **env}, input=stdin, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


@pytest.fixture
def chirr(tmp_path: Path) -> Run:
    """Runs the command in an empty folder."""
    return lambda *arguments, **more: _run(*arguments, cwd=tmp_path, **more)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A small farm folder."""
    path = tmp_path / "quarry"
    path.mkdir()
    for name, text in FILES.items():
        (path / name).write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small farm's book."""
    place = tmp_path_factory.mktemp("farm")
    (place / "quarry").mkdir()
    for name, text in FILES.items():
        (place / "quarry" / name).write_text(text, encoding="utf-8")
    assert _run("import", "quarry", cwd=place).returncode == 0
    return place / "farm.chirr"


def _one_sentence(run: subprocess.CompletedProcess[str], status: int) -> str:
    assert run.returncode == status, run.stderr
    assert "Traceback" not in run.stderr
    assert len(run.stderr.strip().splitlines()) == 1, run.stderr
    return run.stderr.strip()


# --- getting ready -------------------------------------------------------------------------------------------------


def test_asking_for_help_loads_nothing_heavy(tmp_path: Path) -> None:
    heavy = (
        "django",
        "numpy",
        "scipy",
        "msgspec",
        "rich",
        "granian",
        "python_calamine",
        "xlsxwriter",
        "chirr.desk",
        "chirr.book",
    )
    program = (
        "import sys\nimport chirr.cli\nsys.argv = ['chirr', '--help']\n"
        "try:\n    chirr.cli.main()\nexcept SystemExit:\n    pass\n"
        f"print('LOADED', [m for m in {heavy!r} if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", program], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert run.stdout.splitlines()[-1] == "LOADED []"
    assert not list(tmp_path.iterdir()), "and leaves nothing behind"


@pytest.mark.parametrize(
    "command", ["", "demo", "new", "import", "export", "check", "template", "round", "ahead", "serve", "person"]
)
def test_every_command_explains_itself(chirr: Run, command: str) -> None:
    run = chirr(*command.split(), "--help")
    assert run.returncode == 0
    assert "Usage: chirr" in run.stdout


# --- what is wrong -------------------------------------------------------------------------------------------------


def test_where_there_is_no_farm_the_status_is_1_and_the_sentence_says_how_to_begin(chirr: Run) -> None:
    assert "chirr import FOLDER" in _one_sentence(chirr("round"), 1)


@pytest.mark.parametrize(
    "arguments", [["round", "--day", "soon"], ["import", "nowhere"], ["export"], ["serve", "--port", "0"], ["juggle"]]
)
def test_wrong_words_on_the_command_line_have_status_2(chirr: Run, arguments: list[str]) -> None:
    run = chirr(*arguments)
    assert run.returncode == 2
    assert "Traceback" not in run.stderr


def test_a_file_that_is_no_book_is_refused_and_left_as_it_is(chirr: Run, tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("Dear Sir,", encoding="utf-8")
    assert "is not a book of Chirr" in _one_sentence(chirr("--farm", "letter.txt", "round"), 2)
    assert (tmp_path / "letter.txt").read_text(encoding="utf-8") == "Dear Sir,"


def test_another_programs_database_is_refused(chirr: Run, tmp_path: Path) -> None:
    import sqlite3

    with sqlite3.connect(tmp_path / "other.db") as other:
        other.execute("CREATE TABLE letters (text)")
    assert "is not a book of Chirr" in _one_sentence(chirr("check", "--farm", "other.db"), 2)


def test_new_never_overwrites(chirr: Run, folder: Path) -> None:
    assert "already" in _one_sentence(chirr("new", folder), 2)


def test_a_bad_folder_lists_its_faults_on_stderr_and_leaves_no_book_behind(chirr: Run, folder: Path) -> None:
    entries = folder / "entries.csv"
    entries.write_text(
        entries.read_text(encoding="utf-8").replace("1500", "-1500").replace("lay,S1", "lay,S7"), encoding="utf-8"
    )
    run = chirr("import", folder)
    assert run.returncode == 2
    assert run.stdout == ""
    first, second, last = run.stderr.strip().splitlines()
    assert first.startswith("entries.csv, line 2, quantity: found -1500")
    assert second.startswith("entries.csv, line 3, bin: found S7")
    assert last.startswith("Nothing was written: 2 faults.")
    assert [p.name for p in folder.parent.iterdir()] == ["quarry"]


def test_checking_a_bad_folder_needs_no_book(chirr: Run, folder: Path) -> None:
    (folder / "bins.csv").unlink()
    run = chirr("check", folder)
    assert run.returncode == 2
    assert run.stderr.startswith("bins.csv: found no such file")


# --- what works ----------------------------------------------------------------------------------------------------


def test_new_makes_an_empty_book_and_says_what_comes_next(chirr: Run, tmp_path: Path) -> None:
    run = chirr("new", "hill.chirr")
    assert run.returncode == 0
    assert "serve --lan" in run.stdout
    assert "holds no farm yet" in _one_sentence(chirr("round", "--farm", "hill.chirr"), 1)
    assert (tmp_path / "hill.chirr.key").stat().st_mode & 0o077 == 0, "the key is for the book's owner alone"


def test_export_gives_a_folder_and_a_workbook_that_check_clean(chirr: Run, book: Path, tmp_path: Path) -> None:
    run = chirr("export", "out", "--xlsx", "out.xlsx", CHIRR_FARM=str(book))
    assert run.returncode == 0
    for source in ("out", "out.xlsx"):
        assert chirr("check", source).stdout == "Quarry Side: all is clean.\n"
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "dear.txt").write_text("Sir,", encoding="utf-8")
    assert "holds other files" in _one_sentence(chirr("export", "letters", "--farm", book), 2)


def test_the_book_checks_out_as_replayed(chirr: Run, book: Path) -> None:
    run = chirr("--farm", book, "check")
    assert run.returncode == 0
    assert "2 entries, 0 that do not fit" in run.stdout


def test_an_empty_template_can_be_filled_and_says_so(chirr: Run) -> None:
    run = chirr("template", "start")
    assert run.returncode == 0
    assert "chirr import start" in run.stdout
    assert "not empty" in _one_sentence(chirr("template", "start"), 2)


def test_the_round_as_json_keeps_its_keys(chirr: Run, book: Path) -> None:
    run = chirr("--farm", book, "round", "--day", "2026-05-04", "--json")
    assert run.returncode == 0, run.stderr
    sheet = json.loads(run.stdout)
    assert {"day", "as_of", "stops", "minutes", "walking_minutes", "hands", "left_over", "remarks"} <= set(sheet)
    assert sheet["day"] == "2026-05-04"
    assert sheet["as_of"].endswith("+03:00")
    assert {"deed", "what", "why", "minutes", "urgency"} <= set(sheet["stops"][0]["items"][0])


def test_the_round_in_plain_text_gives_reasons_and_a_total(chirr: Run, book: Path) -> None:
    run = chirr("--farm", book, "round", "--day", "2026-05-04")
    assert run.returncode == 0, run.stderr
    assert run.stdout.startswith("Round of Monday 04 May 2026:")
    assert "shed/1/1" in run.stdout
    assert "\x1b" not in run.stdout


def test_ahead_as_json_has_the_form_of_the_contract(chirr: Run, book: Path) -> None:
    run = chirr("--farm", book, "ahead", "--at", "2026-05-03", "--days", "30", "--draws", "200", "--json")
    assert run.returncode == 0, run.stderr
    answer = json.loads(run.stdout)
    assert {"as_of", "species", "draws", "quantiles", "clutches", "lots", "stock"} <= set(answer)
    assert answer["quantiles"] == [0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95]
    assert answer["draws"] == 200
    (clutch,) = answer["clutches"]
    assert clutch["clutch"] == "K1"
    assert all(len(clutch[k]) == 7 for k in ("eggs", "first_pinheads", "half_hatched", "pinheads"))
    assert clutch["overdue"] is False


def test_ahead_in_plain_text_gives_bands(chirr: Run, book: Path) -> None:
    run = chirr("--farm", book, "ahead", "--at", "2026-05-03T09:00", "--draws", "200")
    assert run.returncode == 0, run.stderr
    assert "K1" in run.stdout
    assert " to " in run.stdout


def test_a_clutch_whose_days_to_hatch_are_over_is_told_as_overdue_and_no_day_is_named(chirr: Run, book: Path) -> None:
    late = ("--farm", book, "ahead", "--at", "2026-06-20", "--days", "30", "--draws", "200")
    (clutch,) = json.loads(chirr(*late, "--json").stdout)["clutches"]
    assert clutch["overdue"] is True
    (line,) = [line for line in chirr(*late).stdout.splitlines() if line.strip().startswith("K1 ")]
    by = date.fromisoformat(clutch["expected_by"])
    assert f"overdue: expected by {by:%a %d %b}, may have failed" in line
    assert by < date(2026, 6, 1)
    assert "Jun" not in line


def test_a_person_gets_a_sign_in_from_standard_input(chirr: Run, folder: Path) -> None:
    chirr("import", folder)
    assert "at least 8" in _one_sentence(chirr("person", "Amina", "--password-stdin", stdin="short\n"), 2)
    assert "nobody here" in _one_sentence(chirr("person", "Zed", "--password-stdin", stdin="x\n"), 2).lower()
    run = chirr("person", "Zed", "--role", "reader", "--password-stdin", stdin="lamp-oil-and-rope\n")
    assert (run.returncode, run.stdout) == (0, "Zed can sign in as reader.\n")
    assert "lamp" not in run.stdout + run.stderr


# --- pages ---------------------------------------------------------------------------------------------------------


def test_the_demo_is_made_with_three_sign_ins_and_never_in_the_place_of_a_farm(
    chirr: Run, book: Path, tmp_path: Path
) -> None:
    run = chirr("demo", "--no-serve", "--path", "scratch/demo.chirr")
    assert run.returncode == 0, run.stderr
    assert len(re.findall(r"sign in as \w+ +password [a-z-]{14} +\((?:owner|hand|reader)\)", run.stdout)) == 3
    assert chirr("--farm", "scratch/demo.chirr", "check").returncode == 0
    before = book.read_bytes()
    assert "left alone" in _one_sentence(chirr("demo", "--no-serve", "--path", book), 2)
    assert book.read_bytes() == before


def test_an_earlier_demo_is_taken_away_before_anything_is_set_up(tmp_path: Path) -> None:
    """As `make demo` does on its second day: in a fresh process, before any settings are read."""
    for name in ("demo.chirr", "demo.chirr.key", "demo.chirr.learnt"):
        (tmp_path / name).write_text("x")
    program = (
        "import sys; from pathlib import Path; from chirr.cli.farm import remove_book; remove_book(Path(sys.argv[1]))"
    )
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("CHIRR_", "DJANGO_"))}
    subprocess.run([sys.executable, "-c", program, tmp_path / "demo.chirr"], check=True, env=clean)
    assert list(tmp_path.iterdir()) == []


def test_serve_answers_on_this_machine_and_says_where(book: Path, tmp_path: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("CHIRR_", "DJANGO_"))}
    program = [sys.executable, "-c", "from chirr.cli import main; main()", "serve", "--port", str(port)]
    with subprocess.Popen(
        program, cwd=tmp_path, env={**clean, "CHIRR_FARM": str(book)}, stdout=subprocess.PIPE, text=True
    ) as run:  # fmt: skip
        try:
            assert run.stdout is not None
            assert f"http://127.0.0.1:{port}/" in run.stdout.readline()
            assert "Sign in" in _get(f"http://127.0.0.1:{port}/sign-in")
            taken = _run("serve", "--port", str(port), cwd=tmp_path, CHIRR_FARM=str(book))
            assert "cannot be had" in _one_sentence(taken, 1)
        finally:
            run.terminate()


def _get(address: str) -> str:
    for _ in range(200):
        try:
            with urllib.request.urlopen(address, timeout=10) as answer:  # noqa: S310 - our own address
                return str(answer.read().decode())
        except urllib.error.URLError:
            sleep(0.1)
    raise AssertionError("no answer")


def test_farm_may_stand_anywhere_in_the_command() -> None:
    from chirr.cli import farm_first

    assert farm_first(["round", "--farm", "a.chirr", "--json"]) == ["--farm", "a.chirr", "round", "--json"]
    assert farm_first(["round", "--farm=a.chirr"]) == ["--farm=a.chirr", "round"]
    assert farm_first(["person", "--", "--farm"]) == ["person", "--", "--farm"]
