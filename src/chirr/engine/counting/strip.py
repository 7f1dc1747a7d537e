"""The printed scale strip: a row of squares of known length between two marks that a camera can find. Numbers only.

The strip lies along x, left to right; millimetres from the outer top left corner of the left mark. Each mark is a
square of 6 x 6 modules, a black rim round 4 x 4 bits, from OpenCV's predefined dictionary `DICT_4X4_50` (as below),
so that `cv2.aruco` finds it; the number of a mark says which end of which strip it is. Between the marks lies an odd
number of squares, black at both ends, taking turns with white. White paper stands all round.

The bits were read from `cv2.aruco.generateImageMarker` of OpenCV 5.0; a test reads them again.
"""

from __future__ import annotations

from typing import NamedTuple

DICTIONARY = "DICT_4X4_50"
MARK_MODULES = 6
MARK_MM = 12.0
"""Side of a mark, its black rim included."""
SQUARE_MM = 10.0
GAP_MM = 3.0
"""White between a mark and the first square."""
MARGIN_MM = 4.0
"""White on every side of the strip, inside the line to cut along."""

MARK_BITS: dict[int, tuple[str, ...]] = {
    0: ("1011", "0101", "0011", "0010"),
    1: ("0000", "1111", "1001", "1010"),
    2: ("0011", "0011", "0010", "1101"),
    3: ("1001", "1001", "0100", "0110"),
}
"""Inner bits of each mark, rows from the top, 1 = white."""


class Strip(NamedTuple):
    """A strip: its name, the numbers of the marks at its ends, and how many squares lie between them."""

    name: str
    left: int
    right: int
    squares: int

    @property
    def row_mm(self) -> float:
        """Length of the row of squares."""
        return self.squares * SQUARE_MM

    @property
    def length_mm(self) -> float:
        """From the outer edge of the left mark to the outer edge of the right one."""
        return 2 * (MARK_MM + GAP_MM) + self.row_mm

    @property
    def height_mm(self) -> float:
        return MARK_MM

    @property
    def row_left_mm(self) -> float:
        """Where the first square begins."""
        return MARK_MM + GAP_MM

    @property
    def row_top_mm(self) -> float:
        """The squares lie in the middle of the strip's height."""
        return (MARK_MM - SQUARE_MM) / 2

    def corners_mm(self) -> dict[int, tuple[tuple[float, float], ...]]:
        """Corners (x, y) of both marks, clockwise from the top left as `cv2.aruco` gives them, by the mark's number."""
        right = self.length_mm - MARK_MM
        return {
            number: ((x, 0.0), (x + MARK_MM, 0.0), (x + MARK_MM, MARK_MM), (x, MARK_MM))
            for number, x in ((self.left, 0.0), (self.right, right))
        }

    def black_squares_mm(self) -> tuple[tuple[float, float], ...]:
        """Top left corners (x, y) of the black squares."""
        return tuple((self.row_left_mm + i * SQUARE_MM, self.row_top_mm) for i in range(0, self.squares, 2))


LONG = Strip("long", 0, 1, 11)
SHORT = Strip("short", 2, 3, 5)
STRIPS: tuple[Strip, ...] = (LONG, SHORT)


def strip_of(mark: int) -> Strip | None:
    """The strip that a mark belongs to; None for a mark of something else.

    >>> strip_of(1).name, strip_of(40)
    ('long', None)
    """
    return next((s for s in STRIPS if mark in (s.left, s.right)), None)
