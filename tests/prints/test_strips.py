"""The scale strip, read back from its PDF by OpenCV's own finder of such marks."""

from __future__ import annotations

import itertools
from datetime import date

import numpy as np
import pytest

from chirr.desk import strips as desk
from chirr.engine.counting import strip as geometry
from chirr.prints.strip import print_strips
from prints.conftest import Picture, Raster

cv2 = pytest.importorskip("cv2")
DPI = 300


@pytest.fixture
def page(raster: Raster) -> Picture:
    drawn = [desk._drawn(strip, 1) for strip in geometry.STRIPS]
    return raster(print_strips(drawn, day=date(2027, 5, 3)).pdf, DPI)[0]


def _found(picture: Picture) -> dict[int, np.ndarray]:
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, geometry.DICTIONARY))
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, numbers, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(picture)
    return {int(n): c.reshape(4, 2) for n, c in zip(numbers.ravel(), corners, strict=True)}


def test_the_bits_of_the_marks_are_those_of_the_dictionary() -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, geometry.DICTIONARY))
    for number, rows in geometry.MARK_BITS.items():
        drawn = cv2.aruco.generateImageMarker(dictionary, number, geometry.MARK_MODULES)
        assert ["".join("1" if v else "0" for v in row[1:-1]) for row in drawn[1:-1]] == list(rows)


def test_all_marks_are_found_where_the_geometry_says(page: Picture) -> None:
    found = _found(page)
    assert set(found) == set(geometry.MARK_BITS)
    for strip in geometry.STRIPS:
        origin = found[strip.left][0]
        for number, corners in strip.corners_mm().items():
            measured = (found[number] - origin) * 25.4 / DPI
            assert measured == pytest.approx(np.array(corners), abs=0.15)


def test_the_row_of_squares_is_as_long_as_it_says_and_takes_turns(page: Picture) -> None:
    found = _found(page)
    for strip in geometry.STRIPS:
        left, top = found[strip.left][0]
        row = page[round(top + strip.height_mm / 2 * DPI / 25.4)]
        start = left + (strip.row_left_mm - geometry.GAP_MM / 2) * DPI / 25.4
        end = left + (strip.row_left_mm + strip.row_mm + geometry.GAP_MM / 2) * DPI / 25.4
        dark = row[round(start) : round(end)] < 128
        runs = [(black, len(list(run)) * 25.4 / DPI) for black, run in itertools.groupby(dark.tolist())]
        squares = runs[1:-1]
        assert [black for black, _ in squares] == [i % 2 == 0 for i in range(strip.squares)]
        assert [length for _, length in squares] == pytest.approx([geometry.SQUARE_MM] * strip.squares, abs=0.15)


def test_the_marks_are_found_on_a_small_slanted_picture(page: Picture) -> None:
    """As a phone sees a strip of 14 cm in a picture of a tray: about seven pixels to the millimetre, turned."""
    height, width = page.shape
    scale = 7 * 25.4 / DPI
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), 11, scale)
    seen = cv2.warpAffine(page, turn, (width, height), borderValue=255)
    assert set(_found(cv2.GaussianBlur(seen, (0, 0), 1.2))) == set(geometry.MARK_BITS)
