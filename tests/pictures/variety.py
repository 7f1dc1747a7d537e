"""Grains and small animals of many kinds on many grounds, drawn with exact truth: what the finder is developed on.

Dark grains on pale ground (paper, a scanner's grey plate, cloth) and pale bodies on dark ground (plastic, soil, felt),
round, oval, slender or bent, of like or of mixed size, scattered or in heaps, with crumbs, chaff, scratches, bubbles
and glare, under uneven light and colour casts, sharp or soft, from 1 to 24 megapixels, squeezed as JPEG. The looks are
our own invention.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from pictures.eggs import Drawn


@dataclass(frozen=True, kw_only=True)
class Mix:
    """What to draw. Lengths in pixels; `spread` is the CV of sizes; `heaped` the share that lies in heaps; `bend` the
    sagitta over the length; `edges` whether a rim and a shadow cross the picture."""

    pale: bool
    things: int
    width_px: int
    height_px: int
    length: float
    slender: float
    spread: float
    bend: float
    heaped: float
    ground: tuple[float, float, float]
    colour: tuple[float, float, float]
    texture: float
    crumbs: int
    lines: int
    bubbles: int
    gradient: float
    blur: float
    noise: float
    jpeg: int | None
    edges: bool = False
    giants: int = 0


def seeds(seed: int, megapixels: float | None = None) -> Mix:
    """Brown to black grains on pale ground, as a scanner or a camera above a table sees them."""
    rng = np.random.default_rng([seed, 1])
    width, height = _size(rng, megapixels)
    length = float(np.exp(rng.uniform(np.log(9), np.log(60)))) * max(1.0, (width / 3000))
    brown = np.array([120.0, 82, 50]) * rng.uniform(0.4, 1.15) * rng.normal(1, 0.06, 3)
    pale = rng.uniform(165, 245) * np.array([1, rng.uniform(0.95, 1), rng.uniform(0.85, 1)])
    room = width * height / length**2
    return Mix(
        pale=False, things=_number(rng, room), width_px=width, height_px=height, length=length,
        slender=float(rng.choice([1.0, 1.3, 1.6, 2.0, 2.8])), spread=float(rng.uniform(0.04, 0.14)), bend=0.0,
        heaped=float(rng.uniform(0, 0.6)), ground=tuple(pale), colour=tuple(brown), texture=float(rng.uniform(0, 0.04)),
        crumbs=int(rng.integers(0, 25)), lines=int(rng.integers(0, 10)), bubbles=0, gradient=float(rng.uniform(0,
        0.25)),
        blur=float(rng.uniform(0.3, 0.07 * length)), noise=float(rng.uniform(1, 5)), jpeg=int(rng.integers(60, 96)),
        edges=bool(rng.random() < 0.4),
    )  # fmt: skip


def animals(seed: int, megapixels: float | None = None) -> Mix:
    """White, slender, often bent bodies on dark ground, as a camera above a box sees them."""
    rng = np.random.default_rng([seed, 2])
    width, height = _size(rng, megapixels)
    length = float(np.exp(rng.uniform(np.log(14), np.log(60)))) * max(1.0, (width / 3000))
    dark = rng.uniform(25, 85) * rng.uniform(0.7, 1.3, 3)
    white = np.array([235.0, 230, 222]) * rng.uniform(0.75, 1.0)
    room = width * height / length**2
    return Mix(
        pale=True, things=max(6, _number(rng, room) // 2), width_px=width, height_px=height, length=length,
        slender=float(rng.uniform(2.0, 4.0)), spread=float(rng.uniform(0.05, 0.3)), bend=float(rng.uniform(0, 0.15)),
        heaped=float(rng.uniform(0, 0.3)), ground=tuple(dark), colour=tuple(white), texture=float(rng.uniform(0.03,
        0.2)),
        crumbs=int(rng.integers(0, 30)), lines=int(rng.integers(0, 5)), bubbles=int(rng.integers(0, 10)),
        gradient=float(rng.uniform(0, 0.35)), blur=float(rng.uniform(0.3, 0.06 * length)), noise=float(rng.uniform(1,
        6)),
        jpeg=int(rng.integers(60, 96)), edges=bool(rng.random() < 0.3), giants=int(rng.integers(0, 3)),
    )  # fmt: skip


def _size(rng, megapixels):
    pixels = 1e6 * (megapixels or float(np.exp(rng.uniform(np.log(0.4), np.log(6)))))
    aspect = float(rng.choice([1.0, 4 / 3, 3 / 4, 16 / 9]))
    return round((pixels * aspect) ** 0.5), round((pixels / aspect) ** 0.5)


def _number(rng, room):
    return int(min(1500, room * 0.25, max(8, np.exp(rng.uniform(np.log(12), np.log(900))))))


def draw_mix(mix: Mix, seed: int) -> Drawn:
    """The picture of a mix with its truth; the same seed gives the same picture."""
    rng = np.random.default_rng([seed, 3])
    canvas = _ground(mix, rng)
    if mix.edges:
        _rim(canvas, rng)
    for _ in range(mix.lines):
        _scratch(canvas, mix, rng)
    for _ in range(mix.crumbs):
        _crumb(canvas, mix, rng)
    truth = _lay_things(canvas, mix, rng)
    for _ in range(mix.bubbles):
        _bubble(canvas, mix, rng)
    light = np.exp(rng.normal(0, mix.gradient, (3, 3)))
    light = cv2.resize(light, (mix.width_px, mix.height_px), interpolation=cv2.INTER_CUBIC).clip(0.4, 1.8)
    canvas *= (light / np.median(light)).astype(np.float32)[:, :, None]
    if mix.blur > 0.35:
        canvas = cv2.GaussianBlur(canvas, (0, 0), mix.blur)
    canvas += rng.normal(0, mix.noise, canvas.shape).astype(np.float32)
    picture = canvas.clip(0, 255).astype(np.uint8)
    if mix.jpeg:
        coded = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, mix.jpeg])[1]
        picture = cv2.imdecode(coded, cv2.IMREAD_COLOR)[:, :, ::-1].copy()
    return Drawn(picture=picture, **truth)


def _ground(mix: Mix, rng):
    h, w = mix.height_px, mix.width_px
    tone = np.zeros((h, w), np.float32)
    for grain in (6.0, 2.0, 0.6, 0.2):
        step = max(1.0, grain * mix.length / 4)
        few = rng.normal(0, mix.texture, (int(h / step) + 3, int(w / step) + 3)).astype(np.float32)
        tone += cv2.resize(few, (w, h), interpolation=cv2.INTER_CUBIC)
    return np.exp(tone)[:, :, None] * np.array(mix.ground, np.float32)


def _rim(canvas, rng) -> None:
    """The rim of a dish or plate: a bright and a dark band, with another tone beyond."""
    h, w = canvas.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    a = rng.uniform(0, 2 * np.pi)
    far = (xx / w - 0.5) * np.cos(a) + (yy / h - 0.5) * np.sin(a) + 0.05 * ((xx / w - 0.5) ** 2 + (yy / h - 0.5) ** 2)
    at = rng.uniform(0.4, 0.47)
    canvas *= np.where(far > at, rng.uniform(0.6, 1.3), 1.0)[:, :, None].astype(np.float32)
    band = np.exp(-(((far - at) / 0.006) ** 2)) * rng.uniform(-60, 60)
    canvas += band[:, :, None].astype(np.float32)


def _part(canvas, x, y, r):
    h, w = canvas.shape[:2]
    ys = slice(max(0, int(y - r)), min(h, int(y + r) + 1))
    xs = slice(max(0, int(x - r)), min(w, int(x + r) + 1))
    yy, xx = np.mgrid[ys, xs].astype(np.float32)
    return canvas[ys, xs], yy - y, xx - x, (ys, xs)


def _put(part, cover, colour) -> None:
    part += cover[:, :, None].astype(np.float32) * (np.asarray(colour, np.float32) - part)


def _scratch(canvas, mix, rng) -> None:
    h, w = canvas.shape[:2]
    cover = np.zeros((h, w), np.uint8)
    start, turn = rng.uniform((0, 0), (w, h)), rng.uniform(0, 6.3)
    end = start + rng.uniform(1, 12) * mix.length * np.array([np.cos(turn), np.sin(turn)])
    thick = max(1, round(rng.uniform(0.03, 0.12) * mix.length))
    cv2.line(cover, tuple(start.astype(int).tolist()), tuple(end.astype(int).tolist()), 255, thick, cv2.LINE_AA)
    tone = np.array(mix.ground) * (rng.uniform(1.3, 2.2) if mix.pale else rng.uniform(0.5, 0.85))
    _put(canvas, cover / 255.0 * rng.uniform(0.4, 1), tone)


def _crumb(canvas, mix, rng) -> None:
    """Chaff or soil: lumpy, of any size, of the colour of neither ground nor things."""
    size = mix.length * float(np.exp(rng.uniform(np.log(0.15), np.log(1.5))))
    x, y = rng.uniform(0, canvas.shape[1]), rng.uniform(0, canvas.shape[0])
    part, dy, dx, _ = _part(canvas, x, y, 1.6 * size)
    if part.size == 0:
        return
    turn, a, flat = np.arctan2(dy, dx), rng.uniform(0, np.pi), rng.uniform(0.4, 1)
    edge = size / 2 * (1 + sum(rng.normal(0, 0.2 / k) * np.cos(k * turn + rng.uniform(0, 6.3)) for k in range(2, 6)))
    along, across = dx * np.cos(a) + dy * np.sin(a), (dy * np.cos(a) - dx * np.sin(a)) / flat
    cover = (edge - np.hypot(along, across) + 0.5).clip(0, 1)
    tan = np.array([150.0, 112, 66]) if mix.pale else np.array([185.0, 160, 120])
    _put(part, cover * rng.uniform(0.5, 1), tan * rng.uniform(0.5, 1.15))


def _lay_things(canvas, mix: Mix, rng):
    h, w = canvas.shape[:2]
    n = mix.things
    heaps = rng.uniform(0.1, 0.9, (max(1, n // 14), 2)) * (w, h)
    at = rng.uniform(0.6, 1, (n, 1)) * 0 + rng.uniform(0, 1, (n, 2)) * (w, h)
    near = heaps[rng.integers(len(heaps), size=n)] + rng.normal(0, 1.6 * mix.length / mix.slender**0.5, (n, 2))
    at = np.where(rng.random((n, 1)) < mix.heaped, near, at)
    edge = 0.75 * mix.length
    at = np.where((at > edge) & (at < np.array([w, h]) - edge), at, rng.uniform(edge, np.array([w, h]) - edge, (n, 2)))
    size = np.exp(rng.normal(0, mix.spread, n))
    size[: mix.giants] *= 4
    length, width = mix.length * size, mix.length / mix.slender * size * np.exp(rng.normal(0, 0.05, n))
    if not mix.pale:
        at = _pushed_apart(at, 0.75 * np.sqrt(length * width), (w, h), edge)
    angle, bend = rng.uniform(0, np.pi, n), rng.normal(0, mix.bend, n)
    owner, whole = np.full((h, w), -1, np.int32), np.zeros(n)
    for i in range(n):
        part, dy, dx, window = _part(canvas, at[i, 0], at[i, 1], 0.7 * length[i] + 3)
        along, across = dx * np.cos(angle[i]) + dy * np.sin(angle[i]), dy * np.cos(angle[i]) - dx * np.sin(angle[i])
        across = across + bend[i] * length[i] * (4 * (along / length[i]) ** 2 - 0.5)
        d = np.hypot(along / (length[i] / 2), across / (width[i] / 2))
        cover = ((1 - d) * width[i] / 2 + 0.5).clip(0, 1)
        hill = 0.8 + 0.25 * np.sqrt((1 - d**2).clip(0, 1)) if mix.pale else 1.1 - 0.25 * np.sqrt((1 - d**2).clip(0, 1))
        shade = 1 if mix.pale else 0.75
        if not mix.pale:  # a soft shadow to one side
            soft = np.exp(
                -np.clip(np.hypot((along - 0.1 * length[i]) / length[i] * 2, across / width[i] * 2) - 1, 0, 9) * 6
            )
            part *= (1 - 0.12 * soft * (1 - cover))[:, :, None].astype(np.float32)
        colour = np.array(mix.colour) * rng.normal(1, 0.05) * hill[:, :, None] * shade
        _put(part, cover, colour)
        owner[window][cover > 0.5] = i
        whole[i] = max(1.0, float((cover > 0.5).sum()))
    seen = np.bincount(owner[owner >= 0], minlength=n) / whole
    return {"x": at[:, 0], "y": at[:, 1], "length": length, "width": width, "angle": angle, "seen": seen}


def _pushed_apart(at, reach, size, edge):
    """Hard grains lie beside one another, hardly on one another: those that overlap are pushed apart a little."""
    from scipy.spatial import cKDTree

    at = at.copy()
    for _ in range(25):
        pairs = cKDTree(at).query_pairs(2 * float(reach.max()), output_type="ndarray")
        if not len(pairs):
            break
        i, j = pairs.T
        gap = at[j] - at[i]
        far = np.maximum(np.hypot(*gap.T), 1e-6)
        push = np.clip((reach[i] + reach[j]) - far, 0, None) * 0.3
        step = gap / far[:, None] * push[:, None]
        np.add.at(at, i, -step)
        np.add.at(at, j, step)
        at = np.clip(at, edge, np.array(size) - edge)
    return at


def _bubble(canvas, mix, rng) -> None:
    """A bubble or a lamp's reflection: a thin bright ring and a small burnt-out spot."""
    r = mix.length * rng.uniform(0.2, 1.2)
    part, dy, dx, _ = _part(canvas, rng.uniform(0, canvas.shape[1]), rng.uniform(0, canvas.shape[0]), 1.2 * r)
    if part.size == 0:
        return
    d = np.hypot(dx, dy) / r
    ring = np.exp(-(((d - 0.9) / 0.1) ** 2)) * (0.5 + 0.5 * np.sin(np.arctan2(dy, dx) + rng.uniform(0, 6.3))) ** 2
    spot = np.exp(-((np.hypot(dx + 0.4 * r, dy + 0.4 * r) / (0.15 * r)) ** 2))
    _put(part, (0.5 * ring + 0.8 * spot).clip(0, 0.9), (235, 238, 242))
