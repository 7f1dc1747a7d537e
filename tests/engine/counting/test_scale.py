"""The scale of a photograph: the printed strip seen askew, shaded and noisy; the wall's own ends, or an honest no."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from chirr.engine.counting import strip
from chirr.engine.counting.scale import find_strip, find_wall
from pictures.eggs import Scene, draw

PX_PER_MM = 8


def paper(one: strip.Strip) -> NDArray[np.uint8]:
    """The strip as it is printed, with its white margin, at PX_PER_MM."""
    margin = strip.MARGIN_MM
    sheet = np.full([round((side + 2 * margin) * PX_PER_MM) for side in (one.height_mm, one.length_mm)], 255, np.uint8)

    def black(x: float, y: float, side: float) -> None:
        ys, xs = (slice(round((a + margin) * PX_PER_MM), round((a + margin + side) * PX_PER_MM)) for a in (y, x))
        sheet[ys, xs] = 0

    for x, y in one.black_squares_mm():
        black(x, y, strip.SQUARE_MM)
    module = strip.MARK_MM / strip.MARK_MODULES
    for number, corners in one.corners_mm().items():
        left, top = corners[0]
        for row in range(strip.MARK_MODULES):
            for column in range(strip.MARK_MODULES):
                inner = 0 < row < 5 and 0 < column < 5
                if not inner or strip.MARK_BITS[number][row - 1][column - 1] == "0":
                    black(left + column * module, top + row * module, module)
    return sheet


def photographed(one: strip.Strip, *, turn: float, px_per_mm: float, oblique: float, seed: int) -> NDArray[np.uint8]:
    """The strip on a wall of eggs: turned [degrees], seen obliquely, half in the shade, blurred, noisy, as JPEG."""
    rng = np.random.default_rng(seed)
    few = draw(Scene(eggs=60, height_px=425, width_px=500, jpeg=None), seed).picture
    wall = cv2.resize(few, (1000, 850), interpolation=cv2.INTER_CUBIC).astype(np.float64)
    sheet = paper(one)
    h, w = sheet.shape
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    flat = (corners - (w / 2, h / 2)) * px_per_mm / PX_PER_MM
    a = np.radians(turn)
    seen = flat @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    seen *= 1 + oblique * seen[:, :1] / 1000
    plane = cv2.getPerspectiveTransform(corners, (seen + np.array([500, 425])).astype(np.float32))
    shown = cv2.warpPerspective(sheet, plane, (1000, 850), flags=cv2.INTER_AREA)
    there = cv2.warpPerspective(np.full_like(sheet, 255), plane, (1000, 850)) / 255.0
    wall += there[:, :, None] * (0.85 * shown[:, :, None] + 20 - wall)
    shade = np.where(np.arange(1000) < 450, 0.45, 1.0)
    wall *= cv2.GaussianBlur(np.tile(shade, (850, 1)), (0, 0), 25)[:, :, None]
    wall = cv2.GaussianBlur(wall, (0, 0), 1.0) + rng.normal(0, 6, wall.shape)
    coded = cv2.imencode(".jpg", wall.clip(0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 60])[1]
    return np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR), dtype=np.uint8)


@pytest.mark.parametrize("one", strip.STRIPS, ids=lambda s: s.name)
@pytest.mark.parametrize("turn", [0, 4, 90, 173])
def test_the_printed_strip_gives_the_scale_turned_shaded_blurred_and_noisy(one: strip.Strip, turn: float) -> None:
    px_per_mm = 6.0 if turn in (0, 4, 173) else 5.5
    seen = find_strip(photographed(one, turn=turn, px_per_mm=px_per_mm, oblique=0.0, seed=round(turn)))
    assert seen is not None
    assert seen.what == "strip"
    assert 1 / seen.mm_per_px == pytest.approx(px_per_mm, rel=0.01)


def test_seen_obliquely_the_mean_scale_along_the_strip_is_still_told() -> None:
    seen = find_strip(photographed(strip.LONG, turn=3, px_per_mm=6.0, oblique=0.08, seed=5))
    assert seen is not None
    assert 1 / seen.mm_per_px == pytest.approx(6.0, rel=0.03)


def test_with_one_mark_covered_the_strip_is_not_found_rather_than_guessed() -> None:
    picture = photographed(strip.LONG, turn=0, px_per_mm=6.0, oblique=0.0, seed=6)
    picture[:, :200] = 40
    assert find_strip(picture) is None


@pytest.mark.parametrize("seed", range(4))
def test_a_wall_without_a_strip_shows_none(seed: int) -> None:
    assert find_strip(draw(Scene(eggs=200), seed).picture) is None


def framed(seed: int, left: int = 120, right: int = 1090, lean: float = 0.0) -> NDArray[np.uint8]:
    """A clear wall full of coir and eggs, standing on a pale bench before a pale back wall."""
    wall = draw(Scene(eggs=150, height_px=800, width_px=1200, glare=0.6), seed).picture
    yy, xx = np.mgrid[0:800, 0:1200]
    beside = (xx < left + lean * (yy - 400)) | (xx > right + lean * (yy - 400))
    pale = np.random.default_rng(seed).normal(178, 5, (800, 1200, 3))
    return np.where(beside[:, :, None], pale, wall).clip(0, 255).astype(np.uint8)


@pytest.mark.parametrize("lean", [0.0, 0.04])
@pytest.mark.parametrize("seed", range(3))
def test_the_ends_of_a_wall_that_stands_clear_of_its_surroundings_are_found(seed: int, lean: float) -> None:
    seen = find_wall(framed(seed, lean=lean), 300.0)
    assert seen is not None
    assert seen.mm_per_px == pytest.approx(300 / 970, rel=0.02)


@pytest.mark.parametrize("seed", range(6))
def test_where_the_wall_fills_the_picture_its_ends_are_not_found(seed: int) -> None:
    assert find_wall(draw(Scene(eggs=150, height_px=800, width_px=1200), seed).picture, 300.0) is None
