"""Counting on a photograph, from the camera button to the form of the count."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import msgspec
import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils.translation import override
from PIL import Image

from builders import small_farm
from chirr.book import actions
from chirr.desk import from_wall, photos
from chirr.engine.counting import strip
from chirr.records import TrayType
from pages.conftest import Who
from pictures.eggs import Scene, draw

WALL = draw(Scene(eggs=50, height_px=400, width_px=600), 3)


@pytest.fixture(autouse=True)
def _own_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[None]:
    monkeypatch.setattr(photos, "folder", lambda: tmp_path / "farm-photos")
    with override("en-gb"):  # a page asked for in Spanish leaves its language behind
        yield


def upload(picture: np.ndarray = WALL.picture, name: str = "wall.jpg") -> SimpleUploadedFile:
    """The picture as a phone sends it, with the place where it was taken inside."""
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (53.0, 20.0, 0.0), 3: "W", 4: (6.0, 15.0, 0.0)}
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "JPEG", quality=92, exif=exif)
    return SimpleUploadedFile(name, file.getvalue(), "image/jpeg")


def taken(client, **more: str) -> str:
    """The address of the marks of a photograph of clutch C2, just taken."""
    answer = client.post("/count", {"photo": upload(), "what": "eggs", "clutch": "C2", "side_cm": "6", **more})
    assert answer.status_code == 302
    return answer["Location"]


def test_a_photograph_is_counted_and_its_marks_are_shown(who: Who) -> None:
    hand = who("hand")
    page = hand.get(taken(hand)).content.decode()
    kept = next(photos.all_kept())
    assert kept.answer.interval[0] <= WALL.count <= kept.answer.interval[1]
    assert page.count('class="counted"') == kept.count
    assert f">{kept.count}</output> eggs marked" in page


def test_the_kept_picture_does_not_say_where_it_was_taken(who: Who) -> None:
    hand = who("hand")
    where = taken(hand)
    answer = hand.get(f"{where}/picture")
    assert answer["Content-Type"] == "image/jpeg"
    assert not Image.open(io.BytesIO(answer.content)).getexif()


def test_corrections_are_kept_and_change_the_count_that_the_form_is_filled_with(who: Who) -> None:
    hand = who("hand")
    where = taken(hand)
    kept = next(photos.all_kept())
    sure = [i for i, mark in enumerate(kept.answer.marks) if mark.doubt < 0.5]
    form = {"off": f"{sure[0]} {sure[1]}", "on": "", "added": "10.0,12.5 30,40 50,60", "ends": "", "side_cm": "6"}
    answer = hand.post(where, form)
    again = photos.load(kept.id)
    assert again.count == len(sure) - 2 + 3
    asked = {k: v[0] for k, v in parse_qs(urlsplit(answer["Location"]).query).items()}
    assert (asked["deed"], asked["unit"], asked["clutch"]) == ("count", "eggs", "C2")
    assert str(again.count) in asked["note"]
    assert hand.get(answer["Location"]).status_code == 200


def test_two_taps_and_a_length_give_the_number_along_the_wall(who: Who) -> None:
    hand = who("hand")
    where = taken(hand, side_cm="")
    kept = next(photos.all_kept())
    assert kept.per_cm is None
    hand.post(where, {"ends": "0,200 300,200", "side_cm": "3", "scale": "1"})
    again = photos.load(kept.id)
    left = sum(x <= 300 for x, _ in again.places)
    assert again.per_cm == pytest.approx(left / 3)


def test_a_known_length_is_read_and_shown_in_the_language_and_a_wrong_one_keeps_the_marks(who: Who) -> None:
    hand = who("hand")
    where = taken(hand, side_cm="")
    photo = next(photos.all_kept())
    sure = [i for i, m in enumerate(photo.answer.marks) if m.doubt < photo.answer.cut]
    hand.cookies["language"] = "es"
    wrong = hand.post(where, {"off": f"{sure[0]}", "side_cm": "largo"})
    assert wrong.status_code == 422
    page = wrong.content.decode()
    assert 'value="largo"' in page
    assert "no es un número" in page
    assert photos.load(photo.id).off == (sure[0],), "the tap on the mark is kept"
    assert hand.post(where, {"side_cm": "1.500", "scale": "1"}).status_code == 422, "one and a half, or 1500?"
    assert hand.post(where, {"side_cm": "6,25", "scale": "1"}).status_code == 200
    assert photos.load(photo.id).side_cm == 6.25
    assert 'value="6,25"' in hand.get(where).content.decode()


def test_the_size_of_the_tray_is_filled_in_as_the_language_writes_it(who: Who) -> None:
    actions.set_tray_type(
        TrayType(tray_type="slim", length_cm=28.5, width_cm=12.5, depth_cm=5.0), actor=small_farm.OWNER
    )
    hand = who("hand")
    assert 'value="356.25"' in hand.get("/count/sample?way=square&clutch=C2").content.decode()
    hand.cookies["language"] = "es"
    assert 'value="356,25"' in hand.get("/count/sample?way=square&clutch=C2").content.decode()


@pytest.mark.parametrize("junk", [{"off": "999999 x -1"}, {"added": "1e9,2 nan,3 9,9999999"}, {"ends": "1,1"}])
def test_corrections_that_make_no_sense_change_nothing(who: Who, junk: dict[str, str]) -> None:
    hand = who("hand")
    where = taken(hand)
    before = next(photos.all_kept())
    hand.post(where, {"scale": "1", **junk})
    assert msgspec.structs.asdict(photos.load(before.id)) == msgspec.structs.asdict(before)


@pytest.mark.parametrize(
    ("file", "words"),
    [
        (SimpleUploadedFile("letter.jpg", b"Dear sir"), "not a picture"),
        (SimpleUploadedFile("cut.jpg", upload().read()[:5000]), "damaged"),
        (None, "Take or choose a picture"),
    ],
)
def test_what_is_no_picture_is_refused_in_a_sentence_and_nothing_is_kept(who: Who, file, words: str) -> None:
    values = {"what": "eggs", "clutch": "C2"} | ({"photo": file} if file else {})
    answer = who("hand").post("/count", values)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not photos.folder().exists()


def test_a_blank_wall_is_said_to_be_unsure(who: Who) -> None:
    hand = who("hand")
    blank = upload(np.full((300, 400, 3), 90, np.uint8))
    where = hand.post("/count", {"photo": blank, "what": "eggs", "clutch": "C2"})["Location"]
    assert "Not sure." in hand.get(where).content.decode()


def test_a_reader_takes_no_photographs_and_made_up_names_lead_nowhere(who: Who) -> None:
    assert who("reader").get("/count").status_code == 403
    owner = who("owner")
    for name in ("x", "0" * 36, "..%2Fbook", "01957000-0000-7000-8000-000000000001"):
        assert owner.get(f"/count/{name}").status_code == 404
        assert owner.get(f"/count/{name}/picture").status_code == 404


def test_marks_that_are_always_taken_away_are_no_longer_counted_on_the_next_photograph(who: Who) -> None:
    hand = who("hand")
    cluttered = Scene(eggs=22, height_px=400, width_px=600, fibres=14, perlite=6, drops=10, scratches=4)
    for seed in range(6):
        file = upload(draw(cluttered, 40 + seed).picture)
        where = hand.post("/count", {"photo": file, "what": "eggs", "clutch": "C2"})["Location"]
        kept = photos.load(where.split("/")[2].split("?")[0])
        faint = [str(i) for i, mark in enumerate(kept.answer.marks) if 0.2 < mark.doubt < kept.answer.cut]
        hand.post(where, {"off": " ".join(faint)})
    line = photos.line_of("eggs")
    assert line.pictures == 6
    assert line.cut < 0.45
    assert photos.line_of("pinheads").pictures == 0, "each kind learns from its own"
    page = hand.get(hand.post("/count", {"photo": upload(), "what": "eggs"})["Location"]).content.decode()
    assert "learnt from 6 corrected photographs" in page


def test_a_photograph_only_kept_with_its_marks_untouched_teaches_nothing(who: Who) -> None:
    hand = who("hand")
    hand.post(taken(hand), {"scale": "1", "side_cm": "6"})
    assert photos.line_of("eggs").pictures == 0


def test_a_printed_strip_in_the_picture_gives_the_scale(who: Who) -> None:
    from engine.counting.test_scale import photographed

    picture = photographed(strip.LONG, turn=0, px_per_mm=6.0, oblique=0.0, seed=1)[:, :, ::-1]
    hand = who("hand")
    where = hand.post("/count", {"photo": upload(picture), "what": "eggs"})["Location"]
    assert "printed strip" in hand.get(where).content.decode()
    kept = next(photos.all_kept())
    assert kept.answer.mm_per_px == pytest.approx(1 / 6.0, rel=0.01)
    assert kept.side_cm == pytest.approx(strip.LONG.length_mm / 10, rel=0.001)


CLEAR = TrayType(tray_type="slim", length_cm=28.0, width_cm=12.0, depth_cm=5.0, clear_side_cm=6.0)


def test_a_tray_counted_both_ways_moves_the_factor_and_swollen_eggs_show_more_at_the_wall(who: Who) -> None:
    who("owner")
    actions.set_tray_type(CLEAR, actor=small_farm.OWNER)
    young, old = (from_wall.factor_of(CLEAR, age).middle for age in (2.0, 12.0))
    assert old < young, "longer eggs are seen deeper into the tray"
    hand = who("hand")
    taken(hand, side_cm="6")
    kept = next(photos.all_kept())
    age = from_wall.age_days("C2", kept.at)
    before = from_wall.factor_of(CLEAR, age)
    tray_eggs = round(kept.count * before.middle * 2.5)
    entry = {"deed": "count", "clutch": "C2", "quantity": str(tray_eggs), "unit": "eggs", "cv_pct": "5"}
    assert hand.post("/book/add", entry).status_code == 302
    after = from_wall.factor_of(CLEAR, age)
    assert after.trays == 1
    assert before.middle < after.middle < 2.5 * before.middle
    assert after.log_se < before.log_se
    page = hand.get(f"/count/{kept.id}").content.decode()
    assert "learnt from 1 tray counted both ways" in page


def huge_png(width: int, height: int) -> bytes:
    """A PNG that says it is enormous, in a few bytes."""
    import struct
    import zlib

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 999)) + chunk(b"IEND", b"")
    )


def moving(kind: str) -> bytes:
    frames = [Image.fromarray(np.full((90, 90, 3), shade, np.uint8)) for shade in (0, 90, 180)]
    file = io.BytesIO()
    frames[0].save(file, kind, save_all=True, append_images=frames[1:])
    return file.getvalue()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (huge_png(40_000, 40_000), "too large"),
        (huge_png(20_000, 10_000), "too large"),
        (moving("PNG"), "animation"),
        (moving("WEBP"), "animation"),
        (moving("GIF"), "not a picture"),
        (b"", "empty"),
    ],
    ids=["decompression bomb", "200 megapixels", "moving PNG", "moving WebP", "moving GIF", "empty"],
)
def test_files_that_are_no_photograph_get_one_sentence_and_nothing_is_kept(who: Who, data: bytes, words: str) -> None:
    file = SimpleUploadedFile("phone.jpg", data, "image/jpeg")
    answer = who("hand").post("/count", {"photo": file, "what": "eggs", "clutch": "C2"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert page.count('class="fault"') == 1
    assert not photos.folder().exists()


def test_heic_turned_by_its_exif_stands_upright_and_keeps_no_place(who: Who) -> None:
    heif = pytest.importorskip("pillow_heif")
    heif.register_heif_opener()
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x8825] = {1: "N", 2: (53.0, 20.0, 0.0), 3: "W", 4: (6.0, 15.0, 0.0)}
    file = io.BytesIO()
    Image.fromarray(WALL.picture).rotate(90, expand=True).save(file, "HEIF", quality=90, exif=exif)
    hand = who("hand")
    sent = SimpleUploadedFile("wall.heic", file.getvalue(), "image/heic")
    where = hand.post("/count", {"photo": sent, "what": "eggs", "clutch": "C2"})["Location"]
    kept = next(photos.all_kept())
    assert (kept.answer.width_px, kept.answer.height_px) == (600, 400)
    assert kept.answer.interval[0] <= WALL.count <= kept.answer.interval[1]
    assert b"Exif" not in hand.get(f"{where}/picture").content[:400]
