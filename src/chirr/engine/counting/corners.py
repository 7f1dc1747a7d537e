"""Marks at the corners of a run sheet, by which a photograph of it is laid straight again. Numbers only.

Each mark is a square of 6 x 6 modules, a black rim round 4 x 4 bits, from OpenCV's predefined dictionary
`DICT_4X4_100`. Its number says the paper, the page and the corner. The bits were read from
`cv2.aruco.generateImageMarker` of OpenCV 5.0; a test reads them again.
"""

from __future__ import annotations

DICTIONARY = "DICT_4X4_100"
FIRST = 4
"""Numbers below are those of the scale strips."""
PAGES = 12
"""Further pages have no marks."""
PAPERS = ("a4", "letter")
MARK_MM = 6.0
EDGE_MM = 5.0
"""From the edge of the page to a mark."""
_BITS = (
    "549e79cd9e2ec4f2fedacf56f99111a70eb72a0f24b1263e466566006c5e76af868bb02bccd5dd82fe479471ace4a554"
    "2123346f441557b29ecff0cb08ae0929187504ff0df61c5a17182a28328c38b224e82eeb2d3f4b64502e501351945568"
    "5d415f9768016867612461e96b126fe567df7e1b80a083448ba2937a846c852a859c9c899fa1bb7cbc04b65bbfc8b7ab"
    "ca1fc962d958d3d5cc98c7a0c537e95df925fbbbee2af74d35758aad76170acf064b2dc149d843f44f364fd369e470c7"
)
"""Four hexadecimal digits for each mark, rows from the top, 1 = white."""


def number_of(paper: str, page: int, corner: int) -> int:
    """The number of the mark at a corner (0 top left, 1 top right, 2 bottom right, 3 bottom left) of a page, from 0.

    >>> number_of("a4", 0, 0), number_of("letter", 11, 3)
    (4, 99)
    """
    return FIRST + 4 * (PAGES * PAPERS.index(paper) + page) + corner


def bits_of(number: int) -> str:
    """The sixteen inner bits of a mark, row by row.

    >>> bits_of(4)
    '0101010010011110'
    """
    at = 4 * (number - FIRST)
    return f"{int(_BITS[at : at + 4], 16):016b}"


def place_of(number: int) -> tuple[str, int, int] | None:
    """Paper, page from 0, and corner of a mark; None for a number of something else.

    >>> place_of(99), place_of(3)
    (('letter', 11, 3), None)
    """
    if not FIRST <= number < FIRST + 4 * PAGES * len(PAPERS):
        return None
    page, corner = divmod(number - FIRST, 4)
    return PAPERS[page // PAGES], page % PAGES, corner


def left_top_mm(page_mm: tuple[float, float], corner: int) -> tuple[float, float]:
    """Where the top left of a mark lies on a page of this width and height."""
    width, height = page_mm
    right, bottom = width - EDGE_MM - MARK_MM, height - EDGE_MM - MARK_MM
    return ((EDGE_MM, EDGE_MM), (right, EDGE_MM), (right, bottom), (EDGE_MM, bottom))[corner]
