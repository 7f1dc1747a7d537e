"""From a colour picture to contrast: how much each pixel stands out from the ground around it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]
Contrast = NDArray[np.float32]

EVEN = 30.0
"""Grey levels added before light is evened out, so that the darkest corners are not all noise.

In half the light a thing stands out half as far. Where it is brighter than usual that may be more light or a veil of
haze, under which things stand out as far as elsewhere: a square root lies between.
"""


def one_channel(picture: Image) -> Image:
    """The picture as one channel, shape (height, width), in which brown is dark and only white is pale.

    The least of red, green and blue, mixed with some green: coir, chaff and crumbs are brown, so low in blue.
    """
    if picture.ndim == 2:
        return picture
    red, green, blue = (np.ascontiguousarray(picture[:, :, i]) for i in range(3))
    return np.asarray(cv2.addWeighted(cv2.min(cv2.min(red, green), blue), 0.7, green, 0.3, 0), dtype=np.uint8)


def scaled(picture: Image, scale: float) -> Image:
    """The picture at `scale` times its size: averaged when it shrinks, smoothly filled in when it grows."""
    if scale == 1:
        return picture
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(picture, None, fx=scale, fy=scale, interpolation=how), dtype=np.uint8)


def ground(grey: Image, window_px: float, *, pale: bool) -> Contrast:
    """The local ground, smooth over about `window_px`: the middle of the darker pixels where pale things are looked
    for.

    A plain median would take the things for the ground where they cover more than half of it.
    """
    height, width = grey.shape
    block = max(4, round(window_px / 3))
    rows, columns = max(1, round(height / block)), max(1, round(width / block))
    stride = max(1, block // 12)
    few = grey[::stride, ::stride]
    few = cv2.resize(few, (columns * 12, rows * 12), interpolation=cv2.INTER_NEAREST)
    blocks = few.reshape(rows, 12, columns, 12).swapaxes(1, 2).reshape(rows, columns, 144)
    level = np.percentile(blocks, 35 if pale else 65, axis=2).astype(np.float32)
    level = cv2.medianBlur(level, 3) if min(level.shape) >= 3 else level
    level = cv2.GaussianBlur(level, (0, 0), 0.8)
    return np.asarray(cv2.resize(level, (width, height), interpolation=cv2.INTER_CUBIC), dtype=np.float32)


def contrast(grey: Image, window_px: float, *, pale: bool, blur_px: float = 0.8) -> tuple[Contrast, float]:
    """How much each pixel stands out [grey levels], and the spread of the ground's own texture [grey levels].

    The spread is that of the quieter part of the picture, so things that stand out do not count as texture
    (0.253: a fifth of a normal's values lie within so many standard deviations; 0.9: from its 10th to its 35th in a
    hundred).
    """
    smooth = cv2.GaussianBlur(grey, (0, 0), blur_px) if blur_px > 0 else grey
    level = ground(grey, window_px, pale=pale)
    flat = smooth.astype(np.float32) - level
    flat = flat if pale else -flat
    gain = (EVEN + float(np.median(level))) / (EVEN + level)
    flat *= np.where(gain > 1, gain, np.sqrt(gain))
    rough = flat - cv2.blur(flat, (round(window_px / 5) | 1,) * 2)
    thin = (slice(None, None, max(1, flat.shape[0] // 400)), slice(None, None, max(1, flat.shape[1] // 400)))
    low, quiet = np.percentile(flat[thin], (10, 35))
    fine = float(np.percentile(np.abs(rough[thin]), 20)) / 0.253
    return flat, max(min(fine, float(quiet - low) / 0.9), 0.7)


def tint(picture: Image, blur_px: float) -> Contrast:
    """Colour without brightness, shape (height, width, 2): logarithms of red and of blue over green."""
    soft = cv2.GaussianBlur(picture[:, :, :3], (0, 0), max(0.5, blur_px)).astype(np.float32) + 15.0
    red, green, blue = soft[:, :, 0], soft[:, :, 1], soft[:, :, 2]
    return np.asarray(np.log(np.dstack((red / green, blue / green))), dtype=np.float32)


def blocks(mask: Image, side_px: float) -> NDArray[np.float64]:
    """Share of each square block of about `side_px` that a mask of 0 and 1 covers."""
    height, width = mask.shape
    size = (max(1, round(width / side_px)), max(1, round(height / side_px)))
    return np.asarray(cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA), dtype=np.float64)
