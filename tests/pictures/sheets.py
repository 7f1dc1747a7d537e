"""A run sheet as somebody filled it in with a pen and photographed it: drawn, with exact truth."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

DPI = 300
PX_PER_MM = DPI / 25.4


def tick(paper: NDArray[np.uint8], box: Any, rng: np.random.Generator) -> None:
    """Draw a tick or a cross by an unsteady hand into a box (x_mm, y_mm, side_mm) of a grey page."""
    x, y, side = box.x_mm * PX_PER_MM, box.y_mm * PX_PER_MM, box.side_mm * PX_PER_MM
    ink, width = int(rng.integers(20, 110)), int(rng.integers(4, 9))
    if rng.random() < 0.5:
        strokes = [[(0.15, 0.55), (0.4, 0.9), (1.1, -0.1)]]
    else:
        strokes = [[(0.1, 0.1), (0.9, 0.9)], [(0.9, 0.1), (0.1, 0.9)]]
    for stroke in strokes:
        points = np.array(stroke) * side + [x, y] + rng.normal(0, 0.06 * side, (len(stroke), 2))
        cv2.polylines(paper, [points.astype(np.int32)], False, ink, width, cv2.LINE_AA)


def photographed(paper: NDArray[np.uint8], rng: np.random.Generator, slant: float = 0.09) -> NDArray[np.uint8]:
    """The grey page on a dark table: seen at a slant, bent, in uneven light, out of focus, with noise, as JPEG."""
    height, width = paper.shape
    near, far = 0.05, 0.05 + slant
    left, right = rng.uniform(near, far, 2), 1 - rng.uniform(near, far, 2)
    top, bottom = rng.uniform(near, far, 2), 1 - rng.uniform(near, far, 2)
    onto = np.array([[left[0], top[0]], [right[0], top[1]], [right[1], bottom[1]], [left[1], bottom[0]]])
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    turn = cv2.getPerspectiveTransform(corners, (onto * [width, height]).astype(np.float32))
    seen = cv2.warpPerspective(paper, turn, (width, height), borderValue=60).astype(np.float32)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    seen *= 0.55 + 0.45 * (x / width * rng.random() + y / height * rng.random())
    seen = cv2.remap(seen, x + 6 * np.sin(y / height * np.pi), y, cv2.INTER_LINEAR)
    seen = cv2.GaussianBlur(seen, (0, 0), rng.uniform(0.8, 2.0)) + rng.normal(0, 6, seen.shape)
    _, jpeg = cv2.imencode(".jpg", np.clip(seen, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 70])
    return np.asarray(cv2.imdecode(jpeg, cv2.IMREAD_GRAYSCALE), np.uint8)


def filled(paper: NDArray[np.uint8], boxes: Iterable[Any], rng: np.random.Generator) -> NDArray[np.uint8]:
    """The page with these boxes ticked."""
    page = paper.copy()
    for box in boxes:
        tick(page, box, rng)
    return page
