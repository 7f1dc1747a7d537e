"""Run sheets filled in and photographed: which boxes are read, and what is said when they cannot be.

The truth is that of the drawing. Of the figures of a sheet the test demands no wrong box at all: what is read is only
proposed, but a person who is offered wrong ticks soon stops looking.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from chirr.prints.paper import PAGES_MM
from chirr.prints.walk import CornerMark, Walk, WalkLine, WalkStop, box_places, print_walk
from prints.conftest import Picture, Raster

cv2 = pytest.importorskip("cv2")

from chirr.engine.counting import corners, ticks  # noqa: E402
from pictures import sheets  # noqa: E402

DAY = date(2027, 5, 3)


def a_walk(stops: int = 20) -> Walk:
    """A sheet of some pages, with a line of each sort at every stop."""

    def at(n: int) -> WalkStop:
        lines = (
            WalkLine(code=f"{n}a", what=f"Look for first pinheads of K{n}", why="expected since Monday",
                     urgency="open", boxes=("pinheads seen", "none yet")),
            WalkLine(code=f"{n}b", what=f"Feed N1-{n}", why="every 3 days", urgency="due"),
            WalkLine(code=f"{n}c", what=f"Weigh a sample of lot L{n}", why="", urgency="optional",
                     blanks=(("crickets in the sample", 22), ("g together", 22))),
        )  # fmt: skip
        return WalkStop(number=n, name=f"N1-{n}", place="north · stack 1 · level 1", shape="nursery", group="",
                        high=n % 3 == 0, whole=True, lines=lines)  # fmt: skip

    return Walk(
        code="K7RM4Q", address="HTTPS://BARN.LOCAL:8765/AT/SHEET/K7RM4Q", title="Round of Mon 3 May 2027", farm="Barn",
        sums="60 things at 20 stops", stops=tuple(at(n) for n in range(1, stops + 1)), cautions=("Air the room.",),
        made="Mon 3 May 2027, 06:00",
    )  # fmt: skip


def marks_of(page: str) -> tuple[tuple[CornerMark, ...], ...]:
    def mark(number: int, corner: int) -> CornerMark:
        x, y = corners.left_top_mm(PAGES_MM[page], corner)
        return CornerMark(x=x, y=y, bits=corners.bits_of(corners.number_of(page, number, corner)))

    return tuple(tuple(mark(n, corner) for corner in range(4)) for n in range(corners.PAGES))


@pytest.fixture(params=["a4", "letter"])
def printed(request: pytest.FixtureRequest, raster: Raster) -> tuple[str, list[Picture], list[ticks.Box]]:
    """Paper, pages and boxes of the sheet."""
    page = str(request.param)
    pages = raster(print_walk(a_walk(), day=DAY, page=page, marks=marks_of(page)).pdf, sheets.DPI)
    found = box_places(a_walk(), day=DAY, page=page)
    return page, pages, [ticks.Box(b.key, b.page, b.x_mm, b.y_mm, b.side_mm) for b in found]


def test_the_bits_of_the_corner_marks_are_those_of_the_dictionary() -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, corners.DICTIONARY))
    for number in range(corners.FIRST, 100):
        drawn = cv2.aruco.generateImageMarker(dictionary, number, 6)[1:-1, 1:-1]
        assert corners.bits_of(number) == "".join("1" if v else "0" for v in drawn.ravel())


def test_every_box_stands_where_the_layout_says(printed: tuple[str, list[Picture], list[ticks.Box]]) -> None:
    _, pages, boxes = printed
    assert len({b.key for b in boxes}) == len(boxes) == 20 * 5
    for box in boxes:
        x, y, side = (round(v * sheets.PX_PER_MM) for v in (box.x_mm, box.y_mm, box.side_mm))
        frame = pages[box.page][y - 3 : y + side + 4, x - 3 : x + side + 4]
        half = side // 2
        for side_seen in (frame[:8, half], frame[-8:, half], frame[half, :8], frame[half, -8:]):
            assert side_seen.min() < 128
        assert frame[14 : side - 8, 14 : side - 8].min() > 200, "nothing stands inside an empty box"


@pytest.mark.parametrize("seed", range(3))
def test_what_the_pen_ticked_is_what_is_read(printed: tuple[str, list[Picture], list[ticks.Box]], seed: int) -> None:
    paper, pages, boxes = printed
    rng = np.random.default_rng(seed)
    number = seed % len(pages)
    here = [b for b in boxes if b.page == number]
    ticked = [b for b in here if rng.random() < 0.5]
    seen = sheets.photographed(sheets.filled(pages[number], ticked, rng), rng)
    read = ticks.read(seen, PAGES_MM, lambda _: boxes)
    assert read is not None
    assert (read.paper, read.page) == (paper, number)
    assert set(read.ticked) == {b.key for b in ticked}
    assert read.code in ("", "HTTPS://BARN.LOCAL:8765/AT/SHEET/K7RM4Q")


def test_an_unmarked_sheet_has_no_ticks(printed: tuple[str, list[Picture], list[ticks.Box]]) -> None:
    _, pages, boxes = printed
    read = ticks.read(sheets.photographed(pages[0], np.random.default_rng(9)), PAGES_MM, lambda _: boxes)
    assert read is not None
    assert read.ticked == ()


def test_a_page_upside_down_is_read_as_well(printed: tuple[str, list[Picture], list[ticks.Box]]) -> None:
    _, pages, boxes = printed
    rng = np.random.default_rng(4)
    ticked = [b for b in boxes if b.page == 0][::2]
    seen = np.ascontiguousarray(sheets.photographed(sheets.filled(pages[0], ticked, rng), rng)[::-1, ::-1])
    read = ticks.read(seen, PAGES_MM, lambda _: boxes)
    assert read is not None
    assert set(read.ticked) == {b.key for b in ticked}


@pytest.mark.parametrize("picture", ["blank", "noise", "half"])
def test_a_picture_without_the_corner_marks_is_not_read(
    printed: tuple[str, list[Picture], list[ticks.Box]], picture: str
) -> None:
    _, pages, boxes = printed
    shape = pages[0].shape
    shown = {
        "blank": np.full(shape, 230, np.uint8),
        "noise": np.random.default_rng(1).integers(0, 255, shape).astype(np.uint8),
        "half": np.ascontiguousarray(pages[0][: shape[0] // 2]),
    }[picture]
    assert ticks.read(shown, PAGES_MM, lambda _: boxes) is None
