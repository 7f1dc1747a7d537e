"""Counting on a photograph, from the camera button to the form of the count."""

from __future__ import annotations

import io
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import msgspec
import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from chirr.desk import photos
from pages.conftest import Who
from pictures.eggs import Scene, draw

WALL = draw(Scene(eggs=50, height_px=400, width_px=600), 3)


@pytest.fixture(autouse=True)
def _own_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(photos, "folder", lambda: tmp_path / "farm-photos")


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


@pytest.mark.parametrize(
    "junk", [{"off": "999999 x -1"}, {"added": "1e9,2 nan,3 9,9999999"}, {"ends": "1,1"}, {"side_cm": "long"}]
)
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
