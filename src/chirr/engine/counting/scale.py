"""The scale of a photograph: from the printed strip in it, or from the two ends of a clear wall of known length."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from chirr.engine.counting import light, strip

Floats = NDArray[np.float64]
Point = tuple[float, float]

LOOK_PIXELS = 4e6
"""The strip is looked for in a picture of this many pixels first, then in the picture itself."""
ALIKE = 0.25
"""The marks of one strip seen at scales farther apart than this are too oblique to measure with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A known length in a picture: its two ends [px], how long it is [mm], and what it is (strip or wall).

    `log_se` is the relative standard error of the scale, by how well the marks agree.
    """

    ends: tuple[Point, Point]
    length_mm: float
    what: str
    log_se: float

    @property
    def mm_per_px(self) -> float:
        (ax, ay), (bx, by) = self.ends
        return self.length_mm / float(np.hypot(bx - ax, by - ay))


def find_strip(picture: light.Image) -> Seen | None:
    """The printed strip in a picture, shape (height, width) or (height, width, 3); None where it is not to be seen.

    The strip may lie at any angle, be seen obliquely and be partly shaded or covered between its marks; both marks must
    be in sight. Its corners give the plane it lies in; the scale is that along the strip.
    """
    grey = np.ascontiguousarray(picture if picture.ndim == 2 else picture[:, :, 1])
    small = min(1.0, (LOOK_PIXELS / grey.size) ** 0.5)
    for scale in (small, 1.0) if small < 1 else (1.0,):
        seen = _strip_in(light.scaled(grey, scale), scale)
        if seen is not None:
            return seen
    return None


def _strip_in(grey: light.Image, scale: float) -> Seen | None:
    known = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, strip.DICTIONARY))
    how = cv2.aruco.DetectorParameters()
    how.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, numbers, _ = cv2.aruco.ArucoDetector(known, how).detectMarkers(grey)
    found: dict[int, list[Floats]] = {}
    for four, number in zip(corners, [] if numbers is None else numbers.ravel().tolist(), strict=True):
        found.setdefault(number, []).append((np.asarray(four, dtype=np.float64).reshape(4, 2) + 0.5) / scale - 0.5)
    for one in strip.STRIPS:
        left, right = found.get(one.left, []), found.get(one.right, [])
        if len(left) == len(right) == 1 and (seen := _measured(one, left[0], right[0])) is not None:
            return seen
    return None


def _measured(one: strip.Strip, left: Floats, right: Floats) -> Seen | None:
    """The strip's ends from the eight corners of its marks, by the plane through them (a homography)."""
    true = one.corners_mm()
    flat = np.array([*true[one.left], *true[one.right]], dtype=np.float64)
    shown = np.vstack((left, right))
    plane, _ = cv2.findHomography(flat, shown)
    if plane is None:
        return None
    middle = one.height_mm / 2
    ends = cv2.perspectiveTransform(np.array([[[0.0, middle], [one.length_mm, middle]]]), plane)[0]
    sides = [np.hypot(*(four[1] - four[0])) + np.hypot(*(four[2] - four[3])) for four in (left, right)]
    along = float(np.hypot(*(ends[1] - ends[0]))) / one.length_mm
    own = np.array(sides) / (2 * strip.MARK_MM)
    off = np.abs(np.log(own / along))
    if along <= 0 or off.max() > ALIKE:
        return None
    first, second = ((float(x), float(y)) for x, y in ends)
    return Seen(ends=(first, second), length_mm=one.length_mm, what="strip", log_se=max(0.005, float(off.max()) / 4))


# --- the wall's own ends -----------------------------------------------------------------------------------------

WALL_WIDTH_PX = 640
LEAST_APART = 0.5
"""The wall takes up at least this share of the picture's width."""
STEEP = 5.0
"""An end of the wall is an upright line whose step is so many times what columns differ by otherwise."""
STRAIGHT = 0.75
"""And is to be seen in this share of the rows between the wall's top and foot."""


def find_wall(picture: light.Image, length_mm: float) -> Seen | None:
    """The two upright ends of a clear wall that stands roughly square in the picture; None where they are not clear.

    Only where each end is one straight line, near upright, far stronger than anything else in its part of the picture.
    """
    scale = min(1.0, WALL_WIDTH_PX / picture.shape[1])
    small = light.scaled(picture, scale)
    tone = cv2.GaussianBlur(small if small.ndim == 3 else small[:, :, None], (0, 0), 3.0).astype(np.float32)
    tone = tone if tone.ndim == 3 else tone[:, :, None]
    step = np.abs(cv2.Sobel(tone, cv2.CV_32F, 1, 0, ksize=5) / 128)
    step = step.max(axis=2) if step.ndim == 3 else step
    height, width = step.shape
    rows = slice(round(0.2 * height), round(0.8 * height))
    half = round((1 - LEAST_APART) / 2 * width)
    left, right = _upright(step[rows], (3, half)), _upright(step[rows], (width - half, width - 3))
    if left is None or right is None:
        return None
    middle = height / 2
    ends = tuple((float((x + 0.5) / scale - 0.5), float((middle + 0.5) / scale - 0.5)) for x in (left, right))
    return Seen(ends=(ends[0], ends[1]), length_mm=length_mm, what="wall", log_se=0.02)


def _upright(step: NDArray[np.float32], between: tuple[int, int]) -> float | None:
    """Where in these columns the one upright edge stands; it may lean a few degrees."""
    part = step[:, between[0] : between[1]]
    rows, columns = part.shape
    if columns < 20 or rows < 20:
        return None
    best = (0.0, 0, 0.0)
    everywhere = float(np.median(step)) + 1e-3
    for lean in np.tan(np.radians(np.arange(-5, 5.1, 0.5))):
        shift = np.round((np.arange(rows) - rows / 2) * lean).astype(int)
        at = np.clip(np.arange(columns)[None, :] + shift[:, None], 0, columns - 1)
        straight = np.take_along_axis(part, at, axis=1)
        seen = np.quantile(straight, 1 - STRAIGHT, axis=0)
        top = int(seen.argmax())
        if seen[top] > best[0]:
            best = (float(seen[top]), top, float(np.quantile(seen, 0.9)))
    strength, at_column, rival = best
    if strength < STEEP * everywhere or strength < 2.0 * rival:
        return None
    return float(between[0] + at_column)
