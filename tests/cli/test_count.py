"""chirr count as a shell sees it: pictures of every kind, files that are none, and samples."""

from __future__ import annotations

import json
import os
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pictures.eggs import Scene, draw


def chirr(*arguments: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("CHIRR_", "DJANGO_"))}
    return subprocess.run(
        [sys.executable, "-c", "from chirr.cli import main; main()", "count", *map(str, arguments)],
        cwd=cwd, env=clean, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


@pytest.fixture(scope="module")
def wall():
    return draw(Scene(eggs=60, height_px=400, width_px=560, jpeg=None), 3)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, wall) -> Path:
    """The same wall in every format, and files that are no pictures."""
    place = tmp_path_factory.mktemp("pictures")
    picture = Image.fromarray(wall.picture)
    picture.save(place / "wall.jpg", quality=92)
    picture.save(place / "wall.png")
    picture.save(place / "wall.webp", quality=92)
    sideways = Image.Exif()
    sideways[0x0112] = 6
    picture.rotate(90, expand=True).save(place / "sideways.jpg", quality=92, exif=sideways)
    (place / "letter.jpg").write_text("Dear sir, this is no picture.")
    (place / "empty.jpg").touch()
    (place / "cut.jpg").write_bytes((place / "wall.jpg").read_bytes()[:9000])
    frames = [Image.fromarray(np.full((60, 60, 3), shade, np.uint8)) for shade in (0, 120)]
    frames[0].save(place / "moving.webp", save_all=True, append_images=frames[1:])
    frames[0].save(place / "moving.png", save_all=True, append_images=frames[1:])
    (place / "bomb.png").write_bytes(huge_png(40_000, 40_000))
    (place / "wide.png").write_bytes(huge_png(20_000, 10_000))
    return place


def huge_png(width: int, height: int) -> bytes:
    """A PNG that says it is enormous, in a few bytes."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )


def test_pictures_of_every_format_are_counted_alike_and_bad_files_are_told_in_one_sentence(folder: Path, wall) -> None:
    good = ["wall.jpg", "wall.png", "wall.webp", "sideways.jpg"]
    bad = [
        "letter.jpg",
        "empty.jpg",
        "cut.jpg",
        "moving.webp",
        "moving.png",
        "bomb.png",
        "wide.png",
        "nowhere.jpg",
        ".",
    ]
    run = chirr("photo", *good, *bad, "--json", cwd=folder)
    assert run.returncode == 2
    answers = {a["file"]: a for a in json.loads(run.stdout)}
    assert list(answers) == good + bad
    for name in good:
        low, high = answers[name]["interval"]
        assert low <= wall.count <= high
        assert not answers[name]["unsure"]
        assert (answers[name]["width_px"], answers[name]["height_px"]) == (560, 400), "upright, as the camera was held"
    for name in bad:
        assert answers[name]["count"] is None
        assert answers[name]["why"].endswith(".")
    lines = run.stderr.splitlines()
    assert len(lines) == len(bad)
    assert "Traceback" not in run.stderr


def test_heic_from_a_phone_is_counted(folder: Path, wall, tmp_path: Path) -> None:
    heif = pytest.importorskip("pillow_heif")
    heif.register_heif_opener()
    Image.fromarray(wall.picture).save(tmp_path / "wall.heic", quality=90)
    (answer,) = json.loads(chirr("photo", "wall.heic", "--json", cwd=tmp_path).stdout)
    assert answer["interval"][0] <= wall.count <= answer["interval"][1]


def test_words_for_people_and_marked_pictures_without_where_they_were_taken(folder: Path, tmp_path: Path) -> None:
    run = chirr("photo", "wall.jpg", "--side-cm", "5.6", "--marks", tmp_path / "marks", cwd=folder)
    assert run.returncode == 0
    assert "eggs (" in run.stdout
    assert "mm long" in run.stdout
    with Image.open(tmp_path / "marks" / "wall.jpg.marks.jpg") as marked:
        assert marked.size == (560, 400)
        assert not marked.getexif()


def test_a_blank_wall_is_not_sure_and_that_is_no_fault(tmp_path: Path) -> None:
    Image.fromarray(np.full((200, 300, 3), 90, np.uint8)).save(tmp_path / "blank.png")
    run = chirr("photo", "blank.png", cwd=tmp_path)
    assert (run.returncode, run.stderr) == (0, "")
    assert "not sure" in run.stdout


@pytest.mark.parametrize(
    "options",
    [
        ["photo", "a.jpg", "--what", "lions"],
        ["photo", "a.jpg", "--side-cm", "0"],
        ["photo", "a.jpg", "--side-cm", "9", "--mm-per-px", "0.1"],
        ["sample", "weigh", "60-21", "--gross-g", "500"],
        ["sample", "weigh", "60:21", "--gross-g", "5"],
        ["sample", "cup", "100", "--filled", "4"],
        ["sample", "cup", "nan", "4", "--filled", "3"],
        ["sample", "square", "inf", "4", "--square-cm2", "4", "--tray-cm2", "300"],
        ["sample", "pack", "500", "--past", "inf:1"],
        ["sample", "square", "5", "6", "--square-cm2", "400", "--tray-cm2", "600"],
        ["sample", "dead", "5", "3"],
        ["sample", "pack", "500"],
        ["sample", "pack", "500", "--deaths", "1.2"],
        ["sample", "pack", "500", "--deaths", "0.1", "--chance", "95"],
        ["photo", "a.jpg", "--wall-cm", "30", "--side-cm", "30"],
        ["sample", "wall", "212", "--length-cm", "30"],
        ["sample", "wall", "0", "--length-cm", "30", "--width-cm", "20", "--side-cm", "30"],
        *(
            ["sample", "wall", "212", "--length-cm", "30", "--width-cm", "20", "--side-cm", "30", "--seen-cv", cv]
            for cv in ("5", "-0.1", "nan", "inf")
        ),
        ["sample", "wall", "212", "--length-cm", "nan", "--width-cm", "20", "--side-cm", "30"],
    ],
)
def test_what_makes_no_sense_is_told_in_one_sentence(options: list[str], tmp_path: Path) -> None:
    run = chirr(*options, cwd=tmp_path)
    assert run.returncode == 2
    assert run.stdout == ""
    assert len(run.stderr.strip().splitlines()) == 1


def test_samples_answer_with_an_interval_and_what_more_would_help(tmp_path: Path) -> None:
    run = chirr("sample", "weigh", "60:21.5", "52:19", "--gross-g", "2600", "--tare-g", "400", "--json", cwd=tmp_path)
    found = json.loads(run.stdout)
    assert found["count"] == pytest.approx(2200 * 112 / 40.5, abs=0.1)
    assert found["interval"][0] < found["count"] < found["interval"][1]
    squares = chirr("sample", "square", "23", "30", "17", "--square-cm2", "4", "--tray-cm2", "600", cwd=tmp_path)
    assert "more samples" in squares.stdout
    assert json.loads(chirr("sample", "pack", "500", "--deaths", "0.02", "--json", cwd=tmp_path).stdout)["pack"] == 516
    assert "dead" in chirr("sample", "dead", "12", "200", cwd=tmp_path).stdout
    assert "cases" in chirr("sample", "cup", "112", "108", "120", "--filled", "9", cwd=tmp_path).stdout
    assert (
        "geometry"
        in chirr(
            "sample", "wall", "212", "--length-cm", "30", "--width-cm", "20", "--side-cm", "30", cwd=tmp_path
        ).stdout
    )


def test_without_the_parts_that_see_the_command_says_what_to_install(folder: Path) -> None:
    code = "import sys; sys.modules['cv2'] = None; sys.argv[0] = 'chirr'; from chirr.cli import main; main()"
    run = subprocess.run(
        [sys.executable, "-c", code, "count", "photo", "wall.jpg"],
        cwd=folder, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert run.returncode == 2
    assert "chirr[vision]" in run.stderr
    assert len(run.stderr.strip().splitlines()) == 1


def test_sampling_needs_no_parts_that_see(tmp_path: Path) -> None:
    code = "import sys; sys.modules['cv2'] = sys.modules['PIL'] = None; from chirr.cli import main; main()"
    run = subprocess.run(
        [sys.executable, "-c", code, "count", "sample", "cup", "112", "108", "--filled", "9"],
        cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert (run.returncode, run.stderr) == (0, "")
