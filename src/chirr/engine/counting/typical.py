"""What the things in a picture are like: how large, paler or darker than the ground, how far they stand out."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from chirr.engine.counting import light
from chirr.engine.counting.regions import Regions, cut_at_waists, regions, touches_edge

Floats = NDArray[np.float64]

LOOK_PIXELS = 1.5e6
"""The first look is at a picture of this many pixels at most."""
LEAST_AREA_PX = 9
EDGE_OF_TEXTURE = 4.0
"""Nothing that stands out less than this many times the spread of the ground is looked at."""
EXPECTED_SLENDER = 1.05
"""Log of the length over the width of what is looked for: eggs are 3.4 times as long as wide (Douan et al. 2020),
less when
they are not seen from the side. It only weighs groups against each other: round things are still found where there
is nothing else."""
SLENDER = 1.35
BY_FAR = 0.08
"""A group of things longer than SLENDER times their width comes first unless its weight is less than this share of
all others'."""
ENOUGH_ALIKE = 4
AS_HIGH = 0.4
"""What stands out less than this share of the usual thing is the ground's own unevenness."""
PARTS_MORE = 1.5
"""Where cutting at waists gives so many times more things alike, the uncut ones were pairs and heaps."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Typical:
    """The usual single thing: axes [px of the picture it was looked at in], its area [px2], how far it stands out.

    `alike` things made this group; `weight` ranks groups; `against` is the weight of the same picture seen the other
    way round.
    """

    long_px: float
    short_px: float
    area_px: float
    height: float
    pale: bool
    alike: int
    weight: float
    window_px: float
    against: float = 0.0


def stand_out(flat: light.Contrast, spread: float, reach_px: float) -> NDArray[np.uint8]:
    """Pixels inside things: above the texture, and above half of the most that stands out within `reach_px`.

    Half height is where the edge of a thing lies however blurred it is.
    """
    side = max(3, round(reach_px) | 1)
    top = cv2.dilate(flat, np.ones((side, side), np.uint8))
    return np.asarray((flat > 0.5 * top) & (flat > EDGE_OF_TEXTURE * spread), dtype=np.uint8)


def singles(found: Regions) -> NDArray[np.bool_]:
    """Which regions look like one thing by themselves: filled, convex, whole."""
    return (found.fill > 0.87) & (found.area >= LEAST_AREA_PX) & ~touches_edge(found)


def usual(
    found: Regions, *, pale: bool, window_px: float, area_px: tuple[float, float] = (0, np.inf)
) -> Typical | None:
    """The heaviest group of single things of like area; None where there is none. Only areas within `area_px` count.

    Slender things come first as long as they are not outweighed by far: eggs among crumbs of perlite.
    """
    ok = singles(found) & (found.area > area_px[0]) & (found.area < area_px[1])
    slender = ok & (found.long_px > SLENDER * found.short_px)
    first, any_ = (_heaviest(found, some, pale=pale, window_px=window_px) for some in (slender, ok))
    if first is None or any_ is None or first.weight < BY_FAR * any_.weight:
        return any_
    return first if first.alike >= 3 else any_


def _heaviest(found: Regions, ok: NDArray[np.bool_], *, pale: bool, window_px: float) -> Typical | None:
    if not ok.any():
        return None
    area, height = np.log(found.area[ok]), found.height[ok]
    slender = np.log(found.long_px[ok] / found.short_px[ok])
    weight = height**2 * np.sqrt(found.area[ok]) * (0.05 + np.exp(-0.5 * ((slender - EXPECTED_SLENDER) / 0.7) ** 2))
    grid = np.arange(np.log(LEAST_AREA_PX), area.max() + 0.1, 0.1)
    near = np.exp(-0.5 * ((grid[:, None] - area) / 0.35) ** 2) * weight
    best = int(near.sum(1).argmax())
    group = np.abs(area - grid[best]) < 0.7
    if not group.any():
        return None
    share = weight[group]
    many = share.sum() ** 2 / (share**2).sum()
    return Typical(
        long_px=_middle(found.long_px[ok][group], share), short_px=_middle(found.short_px[ok][group], share),
        area_px=_middle(found.area[ok][group], share), height=_middle(height[group], share), pale=pale,
        alike=round(many), weight=float(near[best].sum() * min(1.0, many / 4)), window_px=window_px,
    )  # fmt: skip


def _middle(values: Floats, weight: Floats) -> float:
    order = np.argsort(values)
    running = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(running, running[-1] / 2)])


def first_look(picture: light.Image, pale: bool | None, area_px: tuple[float, float] = (0, np.inf)) -> Typical | None:
    """The usual thing of a picture, in its own pixels: the group that explains most of what stands out.

    Three sizes of ground are tried, and pale and dark, since neither is known beforehand. `area_px` are the least and
    most area of one thing, where the picture's scale tells them.
    """
    scale = min(1.0, (LOOK_PIXELS / (picture.shape[0] * picture.shape[1])) ** 0.5)
    small = light.one_channel(light.scaled(picture, scale))
    within = (area_px[0] * scale**2, area_px[1] * scale**2)
    seen: list[Typical] = []
    for share in (24, 8, 2.2):
        window = max(12.0, min(small.shape) / share)
        for way in (True, False) if pale is None else (pale,):
            flat, spread = light.contrast(small, window, pale=way)
            mask = stand_out(flat, spread, window / 5)
            if (group := usual(regions(mask, flat), pale=way, window_px=window, area_px=within)) is not None:
                seen.append(group)
    if not seen:
        return None
    best = max(seen, key=lambda t: t.weight)
    other = [t for t in seen if t.pale != best.pale and t.alike >= ENOUGH_ALIKE and t.height > AS_HIGH * best.height]
    against = max((t.weight for t in other), default=0.0)
    like = _or_its_parts(best, small, within)
    return Typical(
        long_px=like.long_px / scale, short_px=like.short_px / scale, area_px=like.area_px / scale**2,
        height=like.height, pale=best.pale, alike=like.alike, weight=best.weight, window_px=best.window_px / scale,
        against=against,
    )  # fmt: skip


def _or_its_parts(best: Typical, small: light.Image, within: tuple[float, float]) -> Typical:
    """The usual thing, or what it falls into when cut at its waists, where that makes far more things of like size."""
    flat, spread = light.contrast(small, best.window_px, pale=best.pale)
    cut = cut_at_waists(stand_out(flat, spread, best.window_px / 5), flat)
    parts = usual(cut, pale=best.pale, window_px=best.window_px, area_px=within)
    if parts is None or parts.alike < PARTS_MORE * best.alike or parts.area_px > 0.7 * best.area_px:
        return best
    return parts
