"""Counting the things in a picture."""

from __future__ import annotations

import numpy as np

from chirr.engine.counting import light, sift
from chirr.engine.counting.marks import KINDS, Floats, Kind, Marks, PhotoCount, no_marks
from chirr.engine.counting.typical import Typical, first_look
from chirr.says import word

LEAST_SIDE_PX = 24
TOO_SMALL_PX = 2.8
"""Narrower than this many pixels of the picture as given, a thing cannot be told from a speck of noise."""
OTHER_WAY_ROUND = 0.2
"""Noise and texture are as rough one way as the other: where the dark between weighs this share of the pale, it is
not things."""
FELL_AWAY = 0.55
"""Where at a closer look the usual thing stands out so much less than at the first, it was never one kind of thing."""
FEWEST_ALIKE = 4
UNLIKE = word("Too few things are alike to know what to count: give the scale of the picture.")
CERTAIN, ENOUGH_CERTAIN = 0.15, 10
"""So many marks with hardly a doubt are things, whatever else the picture shows."""
MOSTLY_HEAPED, MOST_HIDDEN = 0.4, 1.5
"""Where more than this share lies in heaps some may be hidden, but no more than so many times those counted."""
BLURRED, BLUR_SHOWS_PX = 0.46, 9.0

"""A sharp thing keeps most of its area at three quarters of its height; a wholly blurred one, a Gaussian, keeps 0.415.
Things of few pixels are never sharp, and are counted well all the same."""


def count_photo(picture: light.Image, *, kind: Kind = KINDS["eggs"], mm_per_px: float | None = None) -> PhotoCount:
    """Count the things of a kind in a picture, with an interval, or say why that cannot be done.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width) or (height, width, 3)
        Grey, or red, green and blue.
    kind : Kind
        What is looked for; its measures matter where the scale is known.
    mm_per_px : float, optional
        Scale of the picture.
    """
    if min(picture.shape[:2]) < LEAST_SIDE_PX:
        return _not_sure(word("The picture is too small to see anything in."))
    seen = first_look(picture, kind.pale, _areas(kind, mm_per_px))
    if seen is None or seen.height < 6:
        return _not_sure(word("Nothing stands out from the ground: a blank wall, or too little light."))
    if seen.against > OTHER_WAY_ROUND * seen.weight:
        return _not_sure(word("What stands out looks like the grain of the ground, not like separate things."))
    if seen.short_px < TOO_SMALL_PX:
        return _not_sure(word("What stands out is too small to tell apart: go nearer, or take a sharper picture."))
    bench = sift.laid_out(picture, seen)
    if bench.usual.height < FELL_AWAY * seen.height or sift.grainy(bench):
        return _not_sure(word("What stands out looks like the grain of the ground, not like separate things."))
    things = sift.find(bench)
    marks = as_marks(things, bench.scale)
    if mm_per_px is not None:
        marks = of_size(marks, kind, mm_per_px)
    count = int(marks.sure.sum())
    heaped = np.array([t.why == "clump" for t in things], dtype=bool)
    low, high = interval(marks, sift.crowding(bench), heaped, by_cover(bench))
    why = unclear(seen, bench, marks, scale_known=mm_per_px is not None)
    if seen.alike < FEWEST_ALIKE < count and mm_per_px is None:
        count, low, high = 0, 0, 0  # a usual size that hardly anything has says nothing of so many
    return PhotoCount(
        count=count, low=low, high=high, unsure=bool(why), why=why, pale=seen.pale, marks=marks,
        length_mm=None if mm_per_px is None else marks.length_px * mm_per_px,
    )  # fmt: skip


def _not_sure(why: str) -> PhotoCount:
    return PhotoCount(count=0, low=0, high=0, unsure=True, why=why)


def _areas(kind: Kind, mm_per_px: float | None) -> tuple[float, float]:
    """Least and most area of one thing [px2]: half of the smallest, since some are seen from their end or half
    hidden."""
    if mm_per_px is None:
        return 0.0, np.inf
    least, most = (np.pi / 4 * kind.length_mm[i] * kind.width_mm[i] / mm_per_px**2 for i in (0, 1))
    return 0.5 * least, 1.3 * most


def of_size(marks: Marks, kind: Kind, mm_per_px: float) -> Marks:
    """The marks with more doubt where their length or width is not that of the kind."""
    length, width = marks.length_px * mm_per_px, marks.width_px * mm_per_px
    far = np.maximum(length / kind.length_mm[1], width / kind.width_mm[1])
    near = np.minimum(length / kind.width_mm[0], width / kind.width_mm[0])
    doubt = 1 - (1 - marks.doubt) / (1 + np.exp((far - 1.3) / 0.05)) / (1 + np.exp((0.5 - near) / 0.05))
    return Marks(
        x_px=marks.x_px, y_px=marks.y_px, length_px=marks.length_px, width_px=marks.width_px,
        angle_rad=marks.angle_rad, doubt=doubt,
    )  # fmt: skip


def unclear(seen: Typical, bench: sift.Bench, marks: Marks, *, scale_known: bool) -> str:
    """Why the count is not to be used; empty where it is."""
    if not marks.sure.any():
        return word("Nothing here has the look of something to count.")
    if seen.short_px > BLUR_SHOWS_PX and sift.crispness(bench) < BLURRED:
        return word("The picture is out of focus: hold still, and tap the screen on the wall.")
    if seen.alike < FEWEST_ALIKE and not scale_known:
        return UNLIKE
    if sift.explained(bench, marks) < 0.03 and int((marks.doubt < CERTAIN).sum()) < ENOUGH_CERTAIN:
        return word("Most of what stands out is something else: glare, cloth, print or a rim.")
    return ""


def by_cover(bench: sift.Bench) -> float:
    """How many things would cover as much ground as is covered if they lay at random over one another.

    Of grains strewn so that they would cover `c` times a patch, the share 1 - exp(-c) is covered (Boolean model:
    Chiu, Stoyan, Kendall and Mecke, Stochastic Geometry and its Applications).
    """
    side = 3 * bench.usual.long_px
    cover = light.blocks(bench.mask & (1 - sift.solid_bodies(bench)), side).clip(0, 0.97)
    return float(-np.log1p(-cover).sum() * bench.mask.size / cover.size / bench.usual.area_px)


def interval(marks: Marks, crowding: float, heaped: np.ndarray, cover: float = 0.0) -> tuple[int, int]:
    """Least and most that the true number may be, in nine pictures of ten.

    Three parts, added as variances: marks in doubt, each a coin of its own; a share that any picture may be out by;
    and, upward only, what lies hidden in heaps: the number that the covered ground speaks for, `cover`, where most
    lie in heaps. The shares were set on drawn pictures (`bench/counting.py` shows how they hold).
    """
    keep = 1 - marks.doubt
    count = float(marks.sure.sum())
    coins = float((keep * marks.doubt).sum())
    middle = float(keep.sum())
    share = float((marks.sure & heaped).sum()) / max(count, 1.0)
    common = 0.04 * count + 0.03 * share * count
    spread = 1.645 * np.sqrt(coins + common**2 + 2.0)
    hidden = count * (0.06 * share + 0.9 * crowding**2 * share)
    low = min(count, middle) - spread
    high = max(count, middle) + spread + hidden
    if share > MOSTLY_HEAPED:
        high = max(high, min(cover, (1 + MOST_HIDDEN) * count))
    return max(0, int(np.floor(low))), int(np.ceil(high))


def as_marks(things: list[sift.Found], scale: float) -> Marks:
    """Marks in pixels of the picture as given, from things found at `scale` times its size."""
    if not things:
        return no_marks()

    def column(name: str, factor: float = 1.0, shift: float = 0.0) -> Floats:
        return np.array([getattr(t, name) * factor + shift for t in things], dtype=np.float64)

    half = 0.5 / scale - 0.5
    return Marks(
        x_px=column("x", 1 / scale, half), y_px=column("y", 1 / scale, half), length_px=column("length", 1 / scale),
        width_px=column("width", 1 / scale), angle_rad=column("angle"), doubt=column("doubt"),
    )  # fmt: skip
