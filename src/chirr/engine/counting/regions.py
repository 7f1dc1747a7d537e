"""Connected regions of a mask, with their moments."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Regions:
    """Regions of a mask, numbered from 0; arrays have shape (regions,), boxes (regions, 4) as left, top, width, height.

    `long_px` and `short_px` are the axes of the ellipse with the same second moments; `fill` is the region's area over
    that ellipse's: 1 for an ellipse, less for anything bent, branched or jagged. `height` is the mean contrast.
    """

    labels: NDArray[np.int32]
    area: Floats
    x: Floats
    y: Floats
    long_px: Floats
    short_px: Floats
    angle: Floats
    fill: Floats
    height: Floats
    box: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.area)


def regions(mask: Mask, contrast: NDArray[np.float32]) -> Regions:
    """The connected regions (8 neighbours) of a mask, shape (height, width), with the mean of `contrast` in each."""
    _, labels, stats, centres = cv2.connectedComponentsWithStats(mask, connectivity=8)
    return _measured(labels, stats, centres, contrast)


def cut_at_waists(mask: Mask, contrast: NDArray[np.float32]) -> Regions:
    """The regions of a mask, those with a waist cut in two there: each pixel goes to the nearest thick heart.

    A heart is where the inscribed circle is more than 0.7 of the widest within reach of it, so plain ellipses have one.
    """
    inward = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    reach = max(3, round(float(np.percentile(inward[mask > 0], 90)) * 1.5) | 1) if mask.any() else 3
    widest = cv2.dilate(inward, np.ones((reach, reach), np.uint8))
    heart = ((inward > 0.7 * widest) & (mask > 0)).astype(np.uint8)
    n, hearts = cv2.connectedComponents(heart, connectivity=8)
    _, near = cv2.distanceTransformWithLabels(1 - heart, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    owner = np.zeros(int(near.max()) + 1, np.int32)
    owner[near[heart > 0]] = hearts[heart > 0]
    labels = np.where(mask > 0, owner[near], 0).astype(np.int32)
    boxes, centres = np.zeros((n, 5), np.int32), np.zeros((n, 2))
    ys, xs = np.nonzero(labels)
    of = labels[ys, xs]
    area = np.bincount(of, minlength=n)
    for axis, values in ((0, xs), (1, ys)):
        centres[:, axis] = np.bincount(of, values, minlength=n) / np.maximum(area, 1)
        low, high = np.full(n, np.iinfo(np.int32).max), np.full(n, -1)
        np.minimum.at(low, of, values)
        np.maximum.at(high, of, values)
        boxes[:, axis], boxes[:, axis + 2] = low, high - low + 1
    boxes[:, cv2.CC_STAT_AREA] = area
    return _measured(labels, boxes, centres, contrast)


def _measured(
    labels: NDArray[np.int32], stats: NDArray[np.int32], centres: Floats, contrast: NDArray[np.float32]
) -> Regions:
    n = len(stats)
    mask = labels > 0
    ys, xs = np.nonzero(mask)
    of = labels[ys, xs] - 1
    area = stats[1:, cv2.CC_STAT_AREA].astype(np.float64)
    x, y = centres[1:, 0], centres[1:, 1]
    dx, dy = xs - x[of], ys - y[of]
    count = n - 1

    def mean(values: Floats) -> Floats:
        return np.bincount(of, values, minlength=count) / np.maximum(area, 1)

    xx, yy, xy = mean(dx * dx) + 1 / 12, mean(dy * dy) + 1 / 12, mean(dx * dy)
    half_sum, half_gap = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    major, minor = half_sum + half_gap, np.maximum(half_sum - half_gap, 1 / 12)
    return Regions(
        labels=labels, area=area, x=x, y=y, long_px=4 * np.sqrt(major), short_px=4 * np.sqrt(minor),
        angle=0.5 * np.arctan2(2 * xy, xx - yy), fill=area / (4 * np.pi * np.sqrt(major * minor)),
        height=mean(contrast[ys, xs].astype(np.float64)), box=stats[1:, :4],
    )  # fmt: skip


def touches_edge(found: Regions) -> NDArray[np.bool_]:
    """Which regions are cut by the picture's edge."""
    height, width = found.labels.shape
    left, top, wide, high = found.box.T
    cut: NDArray[np.bool_] = (left <= 0) | (top <= 0) | (left + wide >= width) | (top + high >= height)
    return cut


def edge_slope(found: Regions, slope: NDArray[np.float32]) -> Floats:
    """Mean slope of the contrast along the rim of each region, over the region's own height [1 / px]; soft things
    have little."""
    mask = (found.labels > 0).astype(np.uint8)
    rim = cv2.morphologyEx(mask, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)) & mask
    of = found.labels[rim > 0]
    total = np.bincount(of, slope[rim > 0], minlength=len(found) + 1)[1:]
    return total / np.maximum(np.bincount(of, minlength=len(found) + 1)[1:], 1) / np.maximum(found.height, 1)
