"""Reading the tick boxes of a photographed sheet: laid straight by the marks at its corners, then ink is measured.

A box is looked for near where it should lie, since paper bends, by its own frame; what counts is the share of its
inside that is clearly darker than the paper around. Empty boxes of a clean print have next to none, a tick has a tenth
or more. Shares between the two are doubtful. The limits are judgement, tried on drawn pages.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from chirr.engine.counting import corners

PX_PER_MM = 8
SEARCH_MM = 2.0
"""How far from its place a box is looked for."""
INSET_MM = 0.9
"""Left out along the inside of a box's frame."""
INK = 0.68
"""Darker than this share of the paper's own brightness is ink."""
EMPTY, TICKED = 0.025, 0.06
"""Shares of ink up to which a box is empty, and from which it is ticked."""
HEAD_MM = 42
"""The code lies within so much of the top and of the right edge."""
MOST_PX = 4200
"""Longer pictures are made smaller first: a box of 4.6 mm then still has some sixty pixels across."""


class Box(NamedTuple):
    """A tick box: its name, the page it is on (from 0), its top left corner and its side [mm]."""

    key: str
    page: int
    x_mm: float
    y_mm: float
    side_mm: float


class Read(NamedTuple):
    """What a picture shows: the paper and the page (from 0), the ticked boxes, the doubtful ones, and the text of the
    code at its head ('' where that cannot be read)."""

    paper: str
    page: int
    ticked: tuple[str, ...]
    doubtful: tuple[str, ...]
    code: str


def find_page(picture: NDArray[np.uint8]) -> tuple[str, int, dict[int, NDArray[np.float64]]] | None:
    """Paper, page, and for each of its corners that is seen the mark's four corners [px]; None with fewer than three.

    `picture` is grey, shape (height, width).
    """
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, corners.DICTIONARY))
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    found, numbers, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(picture)
    pages: dict[tuple[str, int], dict[int, NDArray[np.float64]]] = {}
    for square, number in zip(found, [] if numbers is None else numbers.ravel(), strict=True):
        place = corners.place_of(int(number))
        if place is not None:
            pages.setdefault(place[:2], {})[place[2]] = np.asarray(square, float).reshape(4, 2)
    best = max(pages.items(), key=lambda item: len(item[1]), default=None)
    return (*best[0], best[1]) if best is not None and len(best[1]) >= 3 else None


def read(
    picture: NDArray[np.uint8], page_mm: Mapping[str, tuple[float, float]], boxes: Callable[[str], Sequence[Box]]
) -> Read | None:
    """The boxes ticked on a photographed page; None where the page's marks are not seen.

    `picture` is grey, shape (height, width); `page_mm` width and height of each paper; `boxes` gives those of all pages
    of the sheet on a paper: only those of the page that is seen are read.
    """
    longest = max(picture.shape)
    if longest > MOST_PX:
        scale = MOST_PX / longest
        picture = np.asarray(cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))
    seen = find_page(picture)
    if seen is None:
        return None
    paper, page, marks = seen
    flat = _laid_straight(picture, page_mm[paper], marks)
    shares = {box.key: ink_share(flat, box) for box in boxes(paper) if box.page == page}
    return Read(
        paper, page, tuple(k for k, s in shares.items() if s >= TICKED),
        tuple(k for k, s in shares.items() if EMPTY < s < TICKED), _code_of(flat),
    )  # fmt: skip


def _code_of(flat: NDArray[np.uint8]) -> str:
    """The text of the QR code at the top right of a page laid straight."""
    corner = flat[: HEAD_MM * PX_PER_MM, -HEAD_MM * PX_PER_MM :]
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(np.ascontiguousarray(corner))
    return str(text)


def _laid_straight(
    picture: NDArray[np.uint8], page_mm: tuple[float, float], marks: dict[int, NDArray[np.float64]]
) -> NDArray[np.uint8]:
    """The page as if it had been scanned, PX_PER_MM pixels to the millimetre."""
    on_page = []
    for corner in marks:
        x, y = corners.left_top_mm(page_mm, corner)
        side = corners.MARK_MM
        on_page += [(x, y), (x + side, y), (x + side, y + side), (x, y + side)]
    onto, _ = cv2.findHomography(np.concatenate(list(marks.values())), np.array(on_page) * PX_PER_MM)
    size = (round(page_mm[0] * PX_PER_MM), round(page_mm[1] * PX_PER_MM))
    return np.asarray(cv2.warpPerspective(picture, onto, size, flags=cv2.INTER_AREA, borderValue=255), np.uint8)


def ink_share(flat: NDArray[np.uint8], box: Box) -> float:
    """Share of a box's inside that is ink, on a page laid straight, shape (height, width), PX_PER_MM px to the mm."""
    side, reach = round(box.side_mm * PX_PER_MM), round(SEARCH_MM * PX_PER_MM)
    left, top = round(box.x_mm * PX_PER_MM), round(box.y_mm * PX_PER_MM)
    y0, x0 = max(0, top - reach), max(0, left - reach)
    patch = flat[y0 : top + side + reach + 1, x0 : left + side + reach + 1].astype(np.float32)
    paper = float(np.percentile(patch, 85))
    if paper < 1 or min(patch.shape) < side:
        return 0.0
    dark = np.clip(1 - patch / paper, 0, 1)
    y, x = _frame_at(dark, side, (top - y0, left - x0))
    inset = round(INSET_MM * PX_PER_MM)
    inside = patch[y + inset : y + side - inset, x + inset : x + side - inset]
    return float(np.mean(inside < INK * paper))


def _frame_at(dark: NDArray[np.float32], side: int, expected: tuple[int, int]) -> tuple[int, int]:
    """Top and left of the box in a patch: where its four sides are darkest, the palest side counting most."""
    thick, pad = 3, 2
    sums = np.pad(np.pad(dark, pad).cumsum(0).cumsum(1), ((1, 0), (1, 0)))

    def means(height: int, width: int) -> NDArray[np.float32]:
        """Mean darkness of the bar of this size from each pixel on."""
        bars = sums[height:, width:] - sums[:-height, width:] - sums[height:, :-width] + sums[:-height, :-width]
        return np.asarray(bars / (height * width), np.float32)

    rows, columns = dark.shape[0] - side + 1, dark.shape[1] - side + 1
    level, upright = means(thick, side), means(side, thick)
    near, far = pad - 1, pad + side - 2
    sides = np.stack(
        [
            level[near : near + rows, pad : pad + columns],
            level[far : far + rows, pad : pad + columns],
            upright[pad : pad + rows, near : near + columns],
            upright[pad : pad + rows, far : far + columns],
        ]
    )
    y, x = np.mgrid[0:rows, 0:columns]
    away = np.abs(y - expected[0]) + np.abs(x - expected[1])
    score = sides.min(axis=0) + 0.25 * sides.sum(axis=0) - 0.002 * away
    top, left = np.unravel_index(int(np.argmax(score)), score.shape)
    return int(top), int(left)
