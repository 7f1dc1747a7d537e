"""Long thin runs that are no things: fibres, scratches, rims of drops, stems."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.uint8]
Floats = NDArray[np.float64]

THIN = 0.85
"""Narrower than this share of the usual width, a long run is a fibre."""
LONG = 1.25
"""A thin run longer than this many usual lengths is one."""
STEPS = np.arange(0.25, 1.01, 0.25)
"""How far beyond its ends a mark is followed, over its length."""
FAN = np.radians(np.linspace(-50, 50, 17))
RUNS_ON = 5
"""On so many of the steps beyond both ends something narrow goes on: more than one neighbour in line would give."""
RUNS_INTO = 2
"""The same where it is a thin run that goes on."""
NO_WAIST = 0.85
"""Width at the ends over that in the middle above which nothing tapers there, as grains do."""


class Laid(Protocol):
    """An ellipse laid on the picture [px]; `angle` clockwise from the right."""

    @property
    def x(self) -> float: ...
    @property
    def y(self) -> float: ...
    @property
    def length(self) -> float: ...
    @property
    def width(self) -> float: ...
    @property
    def angle(self) -> float: ...


def thin_runs(mask: Mask, long_px: float, short_px: float) -> Mask:
    """What of a mask is too thin to be things and too long to be their tips. What lies across it stays."""
    across = max(2, round(THIN * short_px))
    round_ = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))
    thick = cv2.dilate(cv2.morphologyEx(mask, cv2.MORPH_OPEN, round_), np.ones((3, 3), np.uint8))
    n, labels, stats, _ = cv2.connectedComponentsWithStats(mask & (1 - thick), connectivity=8)
    reach = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    long = reach > LONG * long_px
    long[0] = False
    return np.asarray(long[labels], dtype=np.uint8) if n > 1 else np.zeros_like(mask)


def pieces_of_runs(mask: Mask, runs: Mask, laid: Sequence[Laid]) -> NDArray[np.bool_]:
    """Which of the ellipses laid on a mask are pieces of something as wide as they are that runs on beyond their ends,
    or into one of the thin `runs`.

    A grain tapers at its ends, and seldom has a neighbour in line at both.
    """
    if not laid:
        return np.zeros(0, dtype=bool)
    x, y, length, width, angle = (
        np.array([getattr(one, name) for one in laid], dtype=np.float64)
        for name in ("x", "y", "length", "width", "angle")
    )
    going, into = np.zeros(len(laid), dtype=np.int64), np.zeros(len(laid), dtype=bool)
    for way in (1.0, -1.0):
        end_x, end_y = x + way * length / 2 * np.cos(angle), y + way * length / 2 * np.sin(angle)
        on = np.ones(len(laid), dtype=bool)
        for step in STEPS:
            reach = (step * length)[:, None]
            turn = angle[:, None] + FAN + (0.0 if way > 0 else np.pi)
            at = end_x[:, None] + reach * np.cos(turn), end_y[:, None] + reach * np.sin(turn)
            hit = _at(mask, *at)
            into |= _at(runs, *at).any(1)
            wide = hit.sum(1) * (FAN[1] - FAN[0]) * reach[:, 0]
            on &= hit.any(1) & (wide < 1.5 * width)
            going += on
    middle, *ends = (_breadth(mask, x, y, length, width, angle, share) for share in (0.0, 0.42, -0.42))
    on = (going >= RUNS_ON) | (into & (going >= RUNS_INTO))
    return np.asarray(on & (np.minimum(*ends) > NO_WAIST * middle), dtype=bool)


def _breadth(mask: Mask, x: Floats, y: Floats, length: Floats, width: Floats, angle: Floats, share: float) -> Floats:
    """How broad the mask is across each ellipse, `share` of its length from its middle, in widths."""
    px, py = x + share * length * np.cos(angle), y + share * length * np.sin(angle)
    total = np.zeros(len(x))
    for side in (1.0, -1.0):
        out = side * np.linspace(0, 1.2, 13) * width[:, None]
        hit = _at(mask, px[:, None] - out * np.sin(angle)[:, None], py[:, None] + out * np.cos(angle)[:, None])
        total += np.cumprod(hit, axis=1).sum(1) * 0.1
    return total


def _at(mask: Mask, x: Floats, y: Floats) -> NDArray[np.bool_]:
    column, row = np.round(x).astype(np.int64), np.round(y).astype(np.int64)
    inside = (column >= 0) & (row >= 0) & (column < mask.shape[1]) & (row < mask.shape[0])
    found = np.zeros(x.shape, dtype=bool)
    found[inside] = mask[row[inside], column[inside]] > 0
    return found
