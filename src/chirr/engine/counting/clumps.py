"""Single grains told apart in a clump: ellipses of the usual size are laid over it, the best fitting first."""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.float32]
Floats = NDArray[np.float64]

SIZES, SIZES_CROWDED = (0.85, 1.08), (0.77, 0.92, 1.07)
"""Lengths and widths tried, over the usual ones. Where things lie on one another, smaller parts of them are looked for;
where few do, that would only find more in fibres and rims."""
RING = 1.45
"""Outer edge of the ring around an ellipse that should be ground, over the ellipse's own axes."""
RING_WEIGHT = 0.55
LEAST_INSIDE = 0.72
"""Share of an ellipse that must lie within the clump."""
LEAST_NEW = 0.36
"""Share of an ellipse that no better one has covered yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stencil:
    """One ellipse: offsets from the centre of its pixels and of those along its rim,
    shape (pixels, 2) as y, x, and its matched filter."""

    length: float
    width: float
    angle: float
    offsets: NDArray[np.intp]
    rim: NDArray[np.intp]
    matched: Plane


@lru_cache(maxsize=64)
def stencils(length_px: float, width_px: float, *, crowded: bool) -> tuple[Stencil, ...]:
    """The ellipses to try: of each size, and at as many angles as can be told apart; fewer of the rarer sizes."""
    slender = length_px / width_px
    most = 1 if slender < 1.15 else 8 if slender < 2 else 12
    bank = []
    for size in SIZES_CROWDED if crowded else SIZES:
        turns = most if size == SIZES_CROWDED[1] or not crowded else max(1, most * 2 // 3)
        bank += [_stencil(length_px * size, width_px * size, np.pi * k / turns) for k in range(turns)]
    return tuple(bank)


def _stencil(length: float, width: float, angle: float) -> Stencil:
    half = int(np.ceil(length / 2 * RING)) + 1
    yy, xx = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float64)
    along, across = xx * np.cos(angle) + yy * np.sin(angle), yy * np.cos(angle) - xx * np.sin(angle)
    d = np.hypot(along / (length / 2), across / (width / 2))
    grow = np.hypot(along / (length / 2 + 0.25 * width), across / (width / 2 * RING))
    inside = (((1 - d) * width / 2 + 0.5).clip(0, 1)).astype(np.float32)
    ring = ((grow <= 1) & (d > 1.05)).astype(np.float32)
    hill = inside * (1.25 - 0.5 * np.minimum(d, 1)).astype(np.float32)  # grains are brightest along the middle
    matched = hill / hill.sum() - RING_WEIGHT * ring / ring.sum()
    offsets = np.argwhere(inside >= 0.5) - half
    rim = np.argwhere((d > 0.8) & (grow < 0.95)) - half
    tall, wide = (int(np.abs(np.argwhere(matched != 0)[:, axis] - half).max()) for axis in (0, 1))
    tight = matched[half - tall : half + tall + 1, half - wide : half + wide + 1]
    return Stencil(
        length=length, width=width, angle=angle, offsets=offsets, rim=rim, matched=np.ascontiguousarray(tight)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """An ellipse laid in a clump: where, which, how well it fits its surroundings, the share that it alone explains."""

    x: float
    y: float
    stencil: Stencil
    fit: float
    new: float


def pick_apart(
    bright: Plane, mask: NDArray[np.uint8], length_px: float, width_px: float, *, crowded: bool
) -> list[Pick]:
    """Ellipses that explain a clump, the surest first.

    `bright` is contrast over the local height of a thing, shape (height, width), about 1 on things and 0 on ground;
    `mask` is 1 on the clump. Each next ellipse is the one with the best fit times share not yet explained.
    """
    pad = int(np.ceil(length_px * max(SIZES) / 2)) + 2
    bright = cv2.copyMakeBorder(bright, pad, pad, pad, pad, cv2.BORDER_CONSTANT, value=0)
    mask = cv2.copyMakeBorder(mask, pad, pad, pad, pad, cv2.BORDER_CONSTANT, value=0)
    bank = stencils(round(length_px, 1), round(width_px, 1), crowded=crowded)
    fits, tops = _candidates(bright, mask, bank)
    left = mask.astype(np.float32)
    queue = [(-_worth(float(fits[k][y, x]), 1.0), k, int(y), int(x)) for k, y, x in tops]
    heapq.heapify(queue)
    picks: list[Pick] = []
    while queue:
        before, k, y, x = heapq.heappop(queue)
        stencil = bank[k]
        ys, xs = stencil.offsets[:, 0] + y, stencil.offsets[:, 1] + x
        new, fit = float(left[ys, xs].mean()), float(fits[k][y, x])
        if new < LEAST_NEW:
            continue
        worth = _worth(fit, new)
        if queue and worth < -queue[0][0] - 1e-9 and worth < -before - 1e-9:
            heapq.heappush(queue, (-worth, k, y, x))
            continue
        left[ys, xs] = 0
        picks.append(Pick(x=x - pad, y=y - pad, stencil=stencil, fit=fit, new=new))
    return picks


def _worth(fit: float, new: float) -> float:
    return float((0.35 + max(fit, 0.0)) * new**1.5)


def _candidates(
    bright: Plane, mask: NDArray[np.uint8], bank: tuple[Stencil, ...]
) -> tuple[list[Plane], list[tuple[int, int, int]]]:
    """How well each ellipse fits everywhere, and the places (stencil, y, x) where it fits better than close by."""
    fits, tops = [], []
    square = np.ones((3, 3), np.uint8)
    for k, stencil in enumerate(bank):
        fit = cv2.filter2D(bright, cv2.CV_32F, stencil.matched, borderType=cv2.BORDER_CONSTANT)
        fits.append(fit)
        ys, xs = np.nonzero((fit >= cv2.dilate(fit, square)) & (mask > 0))
        inside = mask[stencil.offsets[:, 0] + ys[:, None], stencil.offsets[:, 1] + xs[:, None]].mean(1) >= LEAST_INSIDE
        tops += [(k, y, x) for y, x in zip(ys[inside].tolist(), xs[inside].tolist(), strict=True)]
    return fits, tops
