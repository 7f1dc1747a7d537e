"""Which of the regions that stand out are things to count, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from chirr.engine.counting import light
from chirr.engine.counting.clumps import Pick, pick_apart
from chirr.engine.counting.fibres import pieces_of_runs, thin_runs
from chirr.engine.counting.marks import Marks
from chirr.engine.counting.regions import Regions, edge_slope, regions, touches_edge
from chirr.engine.counting.typical import Typical, singles, stand_out, usual

Floats = NDArray[np.float64]
Mask = NDArray[np.uint8]

WORK_WIDTH_PX = 7.0
"""Pictures are worked on at the scale at which the usual thing is this wide: enough to tell shapes, quick to go
through."""
WORK_PIXELS, LEAST_WIDTH_PX = 4.5e6, 5.5
"""Large pictures are worked on at no more pixels than this as long as the usual thing stays this wide."""
THICK = 2.4
"""Wider than this many usual widths, a region without edges inside is one solid body, not a heap."""
SMOOTH_INSIDE = 0.42
"""Mean slope inside a solid body, in its own heights per usual width; heaps of grains are steeper."""
MOSTLY_BODIES = 0.35
DENSE = 0.3
"""Where more than DENSE of the picture stands out and more than MOSTLY_BODIES of that would be solid, it is a dense
heap after all."""
ENOUGH_FOR_COLOUR = 5
LEAST_TINT_SPREAD = 0.04
ODD_COLOUR = 5.0
"""Distance in spreads of colour from the usual one at which a thing is as likely as not something else."""
WELL_FILLED = 0.935
"""Two equal ellipses that just touch along an axis fill 0.894 of the ellipse with their moments; one large ellipse
fills all of its own."""
LEAST_CLEAR = 12.0
"""Where the ground seems rougher than the usual height over this, it is the things' own relief or their crowding
that was measured."""
HARDLY, MOSTLY_SINGLE = 6.5, 0.8  # set on drawn walls without eggs and on packaged textures
SOFT = 0.5
"""Less than this share of the usual slope along its rim, and a region is glare, shadow or out of focus."""
EDGELESS = 0.35
"""The same for an ellipse laid in a heap: of its rim much may lie inside, but not all of it can be without an edge."""
PIECE = 0.85
"""Doubt of a mark on something that runs on beyond its ends."""
SHAPED_LIKE_THINGS = 0.5
"""Below a gap in brightness are things and not texture where such a share have their shape."""
VERY_SHAPE = (0.97, 1.25)
"""Least fill, and most that slenderness is off, of a region with the very shape of the usual thing."""
LEAST_SHARE, SMALLEST_SHARE = 0.42, 0.12
"""Least area of a thing over the usual one's, and the least where things are seen to be of very unlike size."""
CROWDED = 0.2
"""Where things cover this share of the ground around them, they lie on one another."""
HOPELESS = 0.9
"""What is doubted more than this is left out altogether."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A picture made ready: contrast and mask of what stands out, its regions; at `scale` times its own size."""

    flat: light.Contrast
    spread: float
    mask: Mask
    scale: float
    usual: Typical
    tint: light.Contrast | None
    slope: light.Contrast
    rough: float
    whole: Regions


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One thing found, in pixels of the bench. `why` is single, clump, body or part; `doubt` 0 to 1."""

    x: float
    y: float
    length: float
    width: float
    angle: float
    height: float
    doubt: float
    why: str


def laid_out(picture: light.Image, seen: Typical) -> Bench:
    """The picture at working scale, its contrast, and the usual thing measured there."""
    wanted = WORK_WIDTH_PX / seen.short_px
    small_enough = (0.4e6 / (picture.shape[0] * picture.shape[1])) ** 0.5
    scale = min(2.0, wanted) if seen.short_px < 5 else min(1.0, max(wanted, small_enough))
    most = max((WORK_PIXELS / (picture.shape[0] * picture.shape[1])) ** 0.5, LEAST_WIDTH_PX / seen.short_px)
    scale = min(scale, most)
    scale = 1.0 if 0.9 < scale < 1.1 else scale
    long, short, area = seen.long_px * scale, seen.short_px * scale, seen.area_px * scale**2
    small = light.scaled(picture, scale)
    grey = light.one_channel(small)
    flat, spread = light.contrast(grey, 5 * long, pale=seen.pale, blur_px=max(0.6, short / 12))
    rough, spread = spread, min(spread, seen.height / LEAST_CLEAR)
    mask = stand_out(flat, spread, 1.2 * short)
    mask = without_holes(mask, 0.3 * area)
    whole = regions(mask, flat)
    again = usual(whole, pale=seen.pale, window_px=5 * long, area_px=(0.55 * area, 1.7 * area))
    usual_ = again or replace(seen, long_px=long, short_px=short, area_px=area, window_px=5 * long)
    tint = light.tint(light.scaled(small, 0.5), usual_.short_px / 8) if picture.ndim == 3 else None
    return Bench(
        flat=flat,
        spread=spread,
        mask=mask,
        scale=scale,
        usual=usual_,
        tint=tint,
        slope=steepness(flat),
        rough=rough,
        whole=whole,
    )


def solid_bodies(bench: Bench) -> Mask:
    """Regions far thicker than the usual thing and smooth inside: crumbs of perlite, glare, a large animal."""
    across = max(3, round(THICK * bench.usual.short_px))
    round_ = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))
    core: Mask = cv2.morphologyEx(bench.mask, cv2.MORPH_OPEN, round_)
    if not core.any():
        return core
    inner = cv2.erode(core, np.ones((round(0.5 * bench.usual.short_px) | 1,) * 2, np.uint8))
    n, labels = cv2.connectedComponents(core)
    of = labels[inner > 0]
    steep = np.bincount(of, bench.slope[inner > 0], minlength=n)
    own_height = np.maximum(np.bincount(of, bench.flat[inner > 0], minlength=n), 1)
    smooth = steep / own_height * bench.usual.short_px < SMOOTH_INSIDE
    smooth[0] = False
    body = smooth[labels].astype(np.uint8)
    if bench.mask.mean() > DENSE and body.sum() > MOSTLY_BODIES * bench.mask.sum():
        return np.zeros_like(body)
    grown = cv2.dilate(body, np.ones((3, 3), np.uint8), iterations=max(1, round(0.25 * bench.usual.short_px)))
    return np.asarray(grown & bench.mask, dtype=np.uint8)


def steepness(flat: light.Contrast) -> light.Contrast:
    """Slope of the contrast at each pixel [grey levels / px]."""
    across, down = (cv2.Sobel(flat, cv2.CV_32F, *way, scale=1 / 8) for way in ((1, 0), (0, 1)))
    return np.asarray(cv2.magnitude(across, down), dtype=np.float32)


def without_holes(mask: Mask, most_px: float) -> Mask:
    """The mask with its smaller holes filled: relief on a coin, shine on a wing case."""
    n, labels, stats, _ = cv2.connectedComponentsWithStats(1 - mask, connectivity=4)
    small = stats[:, cv2.CC_STAT_AREA] < most_px
    small[0] = False
    return mask | small[labels].astype(np.uint8) if n > 1 else mask


def find(bench: Bench) -> list[Found]:
    """Everything on the bench that may be a thing to count, with its doubt."""
    body = solid_bodies(bench)
    runs = thin_runs(bench.mask, bench.usual.long_px, bench.usual.short_px)
    rest = regions(bench.mask & (1 - body) & (1 - runs), bench.flat)
    cut = faintest(rest, bench)
    solid = regions(body, bench.flat)
    bodies = [_as_body(solid, i, bench) for i in range(len(solid))]
    alone, heaps = _sorted_out(rest, bench, LEAST_SHARE)
    sharp = edge_slope(rest, bench.slope)
    crisp = float(np.median(sharp[alone])) if alone.any() else 0.0
    least = least_share(rest, bench, sharp, crisp)
    if least < LEAST_SHARE:
        alone, heaps = _sorted_out(rest, bench, least)
    soft = sharp < SOFT * crisp
    alone, heaps = alone & ~soft, heaps & ~soft
    edge = touches_edge(rest)
    cuts = np.where(_shaped(rest, bench, *VERY_SHAPE), barely(bench), cut)
    alone_ones = [
        _as_single(rest, i, bench, float(cuts[i]), least, cut_off=bool(edge[i])) for i in np.flatnonzero(alone).tolist()
    ]
    odd = odd_colour(alone_ones, bench)
    heaps &= _of_the_colour(rest, odd)
    crowded = crowding(bench) > CROWDED
    heap = np.flatnonzero(heaps).tolist()
    picked = [thing for i in heap for thing in _as_heap(rest, i, bench, cut, crisp, crowded=crowded)]
    piece = pieces_of_runs(bench.mask, runs, picked).tolist()
    picked = [replace(t, doubt=_doubt(t.doubt, PIECE * p)) for t, p in zip(picked, piece, strict=True)]
    things = [_colour_doubted(t, odd) for t in (*bodies, *alone_ones, *picked) if t is not None]
    return [thing for thing in things if thing.doubt < HOPELESS]


def odd_colour(singles: list[Found], bench: Bench) -> light.Contrast | None:
    """How far each pixel is from the colour of the surest single things, in their spreads, at half the bench's size;
    None where too few are sure.

    Things of a kind are of one colour; rims, cloth, shadows and crumbs are mostly of another.
    """
    sure = [t for t in singles if t.doubt < 0.3]
    if bench.tint is None or len(sure) < ENOUGH_FOR_COLOUR:
        return None
    colour = np.array([bench.tint[_pixel(t, bench.tint)] for t in sure], dtype=np.float64)
    middle = np.median(colour, axis=0)
    spread = np.maximum(1.4826 * np.median(np.abs(colour - middle), axis=0), LEAST_TINT_SPREAD)
    off = (bench.tint - middle.astype(np.float32)) / spread.astype(np.float32)
    return np.hypot(off[:, :, 0], off[:, :, 1])


def _pixel(thing: Found, half: light.Contrast) -> tuple[int, int]:
    """Where a thing lies on a plane of half the bench's size."""
    height, width = half.shape[:2]
    return min(max(round(thing.y / 2), 0), height - 1), min(max(round(thing.x / 2), 0), width - 1)


def _colour_doubted(thing: Found, odd: light.Contrast | None) -> Found:
    if odd is None:
        return thing
    off = float(odd[_pixel(thing, odd)])
    return replace(thing, doubt=_doubt(thing.doubt, 1 / (1 + np.exp(-(off - ODD_COLOUR) / 0.6))))


def _of_the_colour(rest: Regions, odd: light.Contrast | None) -> NDArray[np.bool_]:
    """Regions that have a good part of the right colour."""
    if odd is None:
        return np.ones(len(rest), dtype=bool)
    labels = rest.labels[::2, ::2][: odd.shape[0], : odd.shape[1]]
    right = labels[(labels > 0) & (odd[: labels.shape[0], : labels.shape[1]] < ODD_COLOUR)]
    return np.bincount(right, minlength=len(rest) + 1)[1:] > 0.2 * rest.area / 4


def _sorted_out(rest: Regions, bench: Bench, least: float) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which regions are single things, and which are heaps; the others are specks and fibres."""
    usual_, ratio = bench.usual, rest.area / bench.usual.area_px
    thick = _thickness(rest)
    slim = 0.55 * min(1.0, (least / LEAST_SHARE) ** 0.5) * usual_.short_px
    fibre = (thick < slim) | ((rest.long_px > 2.2 * usual_.long_px) & (thick < 0.8 * usual_.short_px))
    longest = np.where(rest.fill > WELL_FILLED, 1.9, 1.6) * usual_.long_px
    compact = (rest.fill > 0.86) & (rest.long_px < longest) & (rest.short_px < 1.5 * usual_.short_px)
    alone = (ratio > least / 1.4) & (ratio < 1.65) & compact & ~fibre
    slender = rest.long_px / rest.short_px / (usual_.long_px / usual_.short_px)
    larger = (rest.short_px > 1.08 * usual_.short_px) & (slender > 0.65) & (slender < 1.5) & (ratio < 6)
    alone |= larger & ((rest.fill > WELL_FILLED) | one_body(rest, thick, usual_.short_px))
    crumb = (usual_.long_px > 2 * usual_.short_px) & (rest.long_px < 1.45 * rest.short_px) & (rest.fill > 0.92)
    heaps = (ratio > 0.6) & (thick > 0.68 * usual_.short_px) & ~alone & ~fibre & ~crumb
    return alone, heaps


def one_body(rest: Regions, thick: Floats, short_px: float) -> NDArray[np.bool_]:
    """Regions as thick all over as their moments say: one large body, perhaps bent. Of two side by side or one across
    the other the widest circle inside is no wider than one of them."""
    whole = (thick > 0.85 * rest.short_px) & (thick > 1.2 * short_px) & (rest.fill > 0.86)
    return np.asarray(whole, dtype=bool)


def _thickness(rest: Regions) -> Floats:
    """Widest inscribed circle of each region."""
    inward = cv2.distanceTransform((rest.labels > 0).astype(np.uint8), cv2.DIST_L2, 3)
    at = rest.labels > 0
    widest = np.zeros(len(rest) + 1, np.float32)
    np.maximum.at(widest, rest.labels[at], inward[at])
    return 2.0 * widest[1:].astype(np.float64)


def faintest(rest: Regions, bench: Bench) -> float:
    """How far a thing must stand out to be one: the gap between things and texture where there is one, else a share
    of the usual. A gap between things in light and things in shade is none: what lies below has their shape."""
    ratio = rest.area / bench.usual.area_px
    size = (ratio > 0.4) & (ratio < 1.7)
    height = bench.usual.height
    floor, ceiling = barely(bench), 0.8 * height
    logs = np.log(np.maximum(rest.height[size], 1))
    grid = np.linspace(np.log(floor), np.log(ceiling), 40)
    density = np.exp(-0.5 * ((grid[:, None] - logs) / 0.08) ** 2).sum(1)
    gap = int(density.argmin())
    below = density[: gap + 1].max()
    if density[gap] >= 0.5 * below:
        return floor
    lower = size & (rest.height > floor) & (rest.height < np.exp(grid[gap]))
    in_shade = (lower & _shaped(rest, bench)).sum() > SHAPED_LIKE_THINGS * lower.sum()
    return floor if in_shade else float(np.exp(grid[gap]))


def least_share(rest: Regions, bench: Bench, sharp: Floats, crisp: float) -> float:
    """Least area of a thing over the usual one's: less than usual where many small regions have the shape, brightness
    and edges of things and few have not, as among animals of unlike age."""
    ratio = rest.area / bench.usual.area_px
    small = (ratio > SMALLEST_SHARE) & (ratio < LEAST_SHARE) & (rest.height > 0.35 * bench.usual.height)
    good = _shaped(rest, bench) & (rest.height > 0.6 * bench.usual.height) & (sharp > 0.7 * crisp)
    usual_ones = int((good & (ratio >= LEAST_SHARE) & (ratio < 2)).sum())
    alike, other = int((small & good).sum()), int((small & ~good).sum())
    tiny = (SMALLEST_SHARE**0.5) * bench.usual.short_px < 2.5
    many = alike >= max(3, 0.08 * usual_ones) and alike > 2 * other
    return SMALLEST_SHARE if many and not tiny else LEAST_SHARE


def barely(bench: Bench) -> float:
    """How far a thing of the very shape of the usual one must stand out."""
    return max(0.25 * bench.usual.height, 5 * bench.spread)


def _shaped(rest: Regions, bench: Bench, fill: float = 0.9, off: float = 1.5) -> NDArray[np.bool_]:
    """Regions filled and slender as the usual thing is."""
    slender = rest.long_px / rest.short_px * bench.usual.short_px / bench.usual.long_px
    return np.asarray((rest.fill > fill) & (slender > 1 / off) & (slender < off), dtype=bool)


def _doubt(*parts: float) -> float:
    """Doubts of several kinds together."""
    return float(1 - np.prod([1 - min(max(part, 0.0), 1.0) for part in parts]))


def _faint(height: float, cut: float) -> float:
    """0.5 where a thing stands out just enough."""
    return float(1 / (1 + np.exp((np.log(max(height, 1.0)) - np.log(cut)) / 0.12)))


def _as_single(rest: Regions, i: int, bench: Bench, cut: float, least: float, *, cut_off: bool) -> Found:
    usual_ = bench.usual
    ratio = rest.area[i] / usual_.area_px
    small = 1 / (1 + np.exp((ratio / least - 1) / 0.12))
    slim = 1 / (1 + np.exp((rest.short_px[i] / usual_.short_px - 0.55 * (least / LEAST_SHARE) ** 0.5) / 0.05))
    odd = 1 / (1 + np.exp((rest.fill[i] - 0.86) / 0.02))
    slender = usual_.long_px / usual_.short_px
    stout = (
        1
        / (1 + np.exp((rest.long_px[i] / rest.short_px[i] / slender - 0.5) / 0.05))
        * (rest.short_px[i] > 1.15 * usual_.short_px)
    )
    return Found(
        x=float(rest.x[i]), y=float(rest.y[i]), length=float(rest.long_px[i]), width=float(rest.short_px[i]),
        angle=float(rest.angle[i]), height=float(rest.height[i]), why="part" if cut_off else "single",
        doubt=_doubt(0.8 * small if cut_off else small, slim, stout, 0.6 * odd, _faint(rest.height[i], cut)),
    )  # fmt: skip


def _as_body(body: Regions, i: int, bench: Bench) -> Found | None:
    """A solid body is a large animal when it is as slender as the usual thing and as bright; otherwise a crumb."""
    usual_ = bench.usual
    slender, its = usual_.long_px / usual_.short_px, body.long_px[i] / body.short_px[i]
    if (
        its < max(1.6, 0.7 * slender)
        or body.fill[i] < 0.75
        or body.area[i] > 25 * usual_.area_px
        or body.height[i] < 0.6 * usual_.height
    ):
        return None
    return Found(
        x=float(body.x[i]), y=float(body.y[i]), length=float(body.long_px[i]), width=float(body.short_px[i]),
        angle=float(body.angle[i]), height=float(body.height[i]), doubt=0.3, why="body",
    )  # fmt: skip


def _as_heap(rest: Regions, i: int, bench: Bench, cut: float, crisp: float, *, crowded: bool) -> list[Found]:
    left, top, wide, high = rest.box[i]
    window = (slice(top, top + high), slice(left, left + wide))
    mask = (rest.labels[window] == i + 1).astype(np.uint8)
    flat = bench.flat[window] * mask
    side = round(1.5 * bench.usual.short_px) | 1
    local = cv2.blur(cv2.dilate(flat, np.ones((side, side), np.uint8)), (side, side))
    bright = np.clip(flat / np.maximum(0.85 * local, cut * 0.5), 0, 1.2)
    usual_ = bench.usual
    picks = pick_apart(bright, mask, usual_.long_px, usual_.short_px, crowded=crowded)
    return [_as_picked(pick, flat, bench.slope[window], int(left), int(top), cut, crisp) for pick in picks]


def _as_picked(
    pick: Pick, flat: light.Contrast, slope: light.Contrast, left: int, top: int, cut: float, crisp: float
) -> Found:
    height = _mean_at(flat, pick.stencil.offsets, pick)
    hidden = 1 / (1 + np.exp((pick.new - 0.44) / 0.05))
    loose = 1 / (1 + np.exp((pick.fit - 0.12) / 0.05))
    rim = _mean_at(slope, pick.stencil.rim, pick) / max(height, 1.0)
    edgeless = 1 / (1 + np.exp((rim / crisp - EDGELESS) / 0.05)) if crisp > 0 else 0.0
    return Found(
        x=pick.x + left,
        y=pick.y + top,
        length=pick.stencil.length,
        width=pick.stencil.width,
        angle=pick.stencil.angle,
        height=height,
        doubt=_doubt(hidden, loose, edgeless, _faint(height, cut)),
        why="clump",
    )


def _mean_at(plane: light.Contrast, offsets: NDArray[np.intp], pick: Pick) -> float:
    at = offsets + np.array([round(pick.y), round(pick.x)])
    inside = at[(at >= 0).all(1) & (at < plane.shape).all(1)]
    return float(plane[inside[:, 0], inside[:, 1]].mean()) if len(inside) else 0.0


def crowding(bench: Bench) -> float:
    """Share of the picture that things cover, where there are any: the mean over blocks of a few lengths, weighed by
    itself."""
    cover = light.blocks(bench.mask, 4 * bench.usual.long_px)
    return float((cover**2).sum() / max(cover.sum(), 1e-9))


def crispness(bench: Bench) -> float:
    """Share of a usual single thing that stands out at three quarters of its height, the middle one of all: 0.415
    when all blur."""
    found = bench.whole
    ratio = found.area / bench.usual.area_px
    pick = np.flatnonzero((ratio > 0.5) & (ratio < 2) & (found.fill > 0.87))[:400]
    shares = []
    for i in pick:
        left, top, wide, high = found.box[i]
        window = (slice(top, top + high), slice(left, left + wide))
        values = bench.flat[window][found.labels[window] == i + 1]
        shares.append(float((values > 0.75 * np.percentile(values, 97)).mean()))
    return float(np.median(shares)) if shares else 1.0


def grainy(bench: Bench) -> bool:
    """Whether what stands out is hardly higher than the ground is rough, and mostly not in single shapes either."""
    if bench.usual.height > HARDLY * bench.rough:
        return False
    found = bench.whole
    return bool(found.area[singles(found)].sum() < MOSTLY_SINGLE * found.area.sum())


def explained(bench: Bench, marks: Marks) -> float:
    """Share of all that stands out that the counted marks cover."""
    area = float((np.pi / 4 * marks.length_px * marks.width_px)[marks.sure].sum()) * bench.scale**2
    return area / max(float(bench.mask.sum()), 1.0)
