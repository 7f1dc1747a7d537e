"""Pictures of a tray's clear wall, drawn with eggs whose number is known: for tests and bench, never for the package.

Pale grains on coir, touching and overlapping, some sunk into it, under uneven light with glare, drops, scratches,
perlite and pale fibres, blurred, noisy and squeezed as JPEG. The look is our own invention; only the eggs' measures
are published (Douan et al. 2020: 2.53 x 0.75 mm fresh, 3.32 x 0.99 mm before hatching).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
FRESH_MM, RIPE_MM = (2.53, 0.75), (3.32, 0.99)


@dataclass(frozen=True, kw_only=True)
class Scene:
    """What to draw. Sizes in pixels and pixels per mm; the rest are shares and numbers of things."""

    eggs: int
    height_px: int = 600
    width_px: int = 900
    px_per_mm: float = 10.0
    ripeness: float = 0.5
    clumping: float = 0.5
    faintest: float = 0.45
    sunk: float = 0.12
    fibres: int = 6
    perlite: int = 4
    drops: int = 6
    scratches: int = 2
    glare: float = 1.0
    uneven: float = 0.35
    blur_px: float = 0.8
    noise: float = 4.0
    jpeg: int | None = 60


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """The picture, shape (height, width, 3), and the truth: one row an egg; `seen` is the share of it in sight."""

    picture: Picture
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    length: NDArray[np.float64]
    width: NDArray[np.float64]
    angle: NDArray[np.float64]
    seen: NDArray[np.float64]

    @property
    def count(self) -> int:
        """Eggs that a patient person could find: those with at least a quarter in sight."""
        return int((self.seen >= 0.25).sum())


def draw(scene: Scene, seed: int) -> Drawn:
    """The picture of a scene; the same seed gives the same picture."""
    rng = np.random.default_rng(seed)
    canvas = _coir(scene, rng)
    for _ in range(scene.perlite):
        _blob(canvas, scene, rng)
    for _ in range(scene.fibres):
        _line(canvas, scene, rng, bent=True, strength=rng.uniform(0.3, 0.8), width_mm=rng.uniform(0.1, 0.3))
    truth = _eggs(canvas, scene, rng)
    for _ in range(scene.scratches):
        _line(canvas, scene, rng, bent=False, strength=rng.uniform(0.1, 0.4), width_mm=0.08)
    for _ in range(scene.drops):
        _drop(canvas, scene, rng)
    canvas *= _light(scene, rng)
    if scene.glare and rng.random() < 0.7:
        _glare(canvas, scene, rng)
    if scene.blur_px:
        canvas = cv2.GaussianBlur(canvas, (0, 0), scene.blur_px)
    canvas += rng.normal(0, scene.noise, canvas.shape)
    picture = canvas.clip(0, 255).astype(np.uint8)
    if scene.jpeg:
        coded = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, scene.jpeg])[1]
        picture = cv2.imdecode(coded, cv2.IMREAD_COLOR)[:, :, ::-1].copy()
    return Drawn(picture=picture, **truth)


def _coir(scene: Scene, rng: np.random.Generator) -> NDArray[np.float64]:
    """Dark brown, mottled at several grains, with short fibres of its own."""
    h, w = scene.height_px, scene.width_px
    tone = np.zeros((h, w))
    for grain_mm, strength in ((4.0, 0.25), (1.2, 0.3), (0.4, 0.25), (0.15, 0.15)):
        step = max(1.0, grain_mm * scene.px_per_mm)
        small = rng.normal(0, strength, (int(h / step) + 3, int(w / step) + 3))
        tone += cv2.resize(small, (w, h), interpolation=cv2.INTER_CUBIC)
    canvas = np.array([58.0, 42.0, 30.0]) * np.exp(0.55 * tone)[:, :, None]
    for _ in range(int(h * w / (scene.px_per_mm**2) * 0.15)):
        _line(canvas, scene, rng, bent=True, strength=rng.uniform(0.1, 0.5), width_mm=rng.uniform(0.08, 0.25),
              colour=rng.choice([(95, 68, 45), (40, 28, 20), (120, 88, 58)]), length_mm=rng.uniform(1, 6))  # fmt: skip
    return canvas


def _line(canvas, scene, rng, *, bent, strength, width_mm, colour=(205, 190, 160), length_mm=None) -> None:
    h, w = canvas.shape[:2]
    length = (length_mm or rng.uniform(8, 40)) * scene.px_per_mm
    at, heading = rng.uniform((0, 0), (w, h)), rng.uniform(0, 2 * np.pi)
    points = [at]
    for _ in range(12):
        heading += rng.normal(0, 0.25) if bent else 0
        points.append(points[-1] + length / 12 * np.array([np.cos(heading), np.sin(heading)]))
    thick = max(1.0, width_mm * scene.px_per_mm)
    pts = np.array(points)
    x0, y0 = np.floor(pts.min(0) - thick - 2).astype(int).clip(0)
    x1, y1 = np.ceil(pts.max(0) + thick + 2).astype(int).clip(0, (w, h))
    if x1 - x0 < 2 or y1 - y0 < 2:
        return
    cover = np.zeros((y1 - y0, x1 - x0), np.uint8)
    cv2.polylines(
        cover, [np.round((pts - (x0, y0)) * 16).astype(np.int32)], False, 255, max(1, round(thick)), cv2.LINE_AA, 4
    )
    _lay(canvas[y0:y1, x0:x1], cover / 255.0 * strength, np.array(colour, float))


def _lay(part: NDArray[np.float64], cover: NDArray[np.float64], colour: NDArray[np.float64]) -> None:
    part += cover[:, :, None] * (colour - part)


def _blob(canvas, scene, rng) -> None:
    """A crumb of perlite: white, lumpy, about as wide as an egg is long."""
    h, w = canvas.shape[:2]
    radius = rng.uniform(0.7, 2.2) * scene.px_per_mm
    x, y = rng.uniform(0, w), rng.uniform(0, h)
    yy, xx = np.mgrid[
        max(0, int(y - 2 * radius)) : min(h, int(y + 2 * radius)),
        max(0, int(x - 2 * radius)) : min(w, int(x + 2 * radius)),
    ]
    if yy.size == 0:
        return
    turn = np.arctan2(yy - y, xx - x)
    edge = radius * (1 + sum(rng.normal(0, 0.16 / k) * np.cos(k * turn + rng.uniform(0, 6.3)) for k in range(2, 7)))
    cover = (edge - np.hypot(yy - y, xx - x) + 0.5).clip(0, 1) * 0.95
    tone = 1 + 0.08 * cv2.GaussianBlur(rng.normal(0, 3, cover.shape), (0, 0), max(0.6, 0.15 * scene.px_per_mm))
    _lay(
        canvas[yy[0, 0] : yy[-1, 0] + 1, xx[0, 0] : xx[0, -1] + 1],
        cover,
        np.array([215.0, 212.0, 205.0]) * tone[:, :, None],
    )


def _places(scene: Scene, rng: np.random.Generator) -> NDArray[np.float64]:
    """Centres of eggs: a share of them gathered round a few spots, as females lay."""
    size = np.array([scene.width_px, scene.height_px], float)
    gathered = rng.random(scene.eggs) < scene.clumping
    spots = rng.uniform(0.08, 0.92, (max(1, scene.eggs // 12), 2)) * size
    near = spots[rng.integers(len(spots), size=scene.eggs)] + rng.normal(0, 4.0 * scene.px_per_mm, (scene.eggs, 2))
    places = np.where(gathered[:, None], near, rng.uniform(0, 1, (scene.eggs, 2)) * size)
    margin = 1.3 * scene.px_per_mm
    return np.where(
        (places > margin) & (places < size - margin), places, rng.uniform(margin, size - margin, (scene.eggs, 2))
    )


def _eggs(canvas: NDArray[np.float64], scene: Scene, rng: np.random.Generator) -> dict[str, NDArray[np.float64]]:
    """Lay the eggs one over another, some partly sunk into coir, and keep who is seen how much."""
    n = scene.eggs
    at = _places(scene, rng)
    ripe = np.clip(scene.ripeness + rng.normal(0, 0.12, n), 0, 1)
    length, width = (
        scene.px_per_mm * (fresh + (full - fresh) * ripe) * rng.normal(1, 0.05, n)
        for fresh, full in zip(FRESH_MM, RIPE_MM, strict=True)
    )
    length *= np.sqrt(1 - rng.uniform(0, 0.5, n) ** 2 * 0.5)  # not all lie flat against the wall
    angle = rng.uniform(0, np.pi, n)
    faint = rng.uniform(scene.faintest, 1, n)
    faint[rng.random(n) < 0.5] = rng.uniform(0.85, 1)
    owner = np.full(canvas.shape[:2], -1, np.int32)
    whole = np.zeros(n)
    coir = canvas.copy()
    for i in np.argsort(faint):  # the deepest first, so that the nearest cover them
        ys, xs, d = _ellipse(canvas.shape[:2], at[i, 0], at[i, 1], length[i], width[i], angle[i])
        cover = ((1 - d) * width[i] / 2 + 0.5).clip(0, 1)
        bright = 0.72 + 0.28 * np.sqrt((1 - d**2).clip(0, 1))
        if rng.random() < scene.sunk:
            side = (np.cos(a := rng.uniform(0, 2 * np.pi)) * (xs - at[i, 0]) + np.sin(a) * (ys - at[i, 1])) / length[i]
            cover *= (0.5 + (rng.uniform(0.05, 0.35) - side) * 8).clip(0, 1)
        part = (slice(ys[0, 0], ys[-1, 0] + 1), slice(xs[0, 0], xs[0, -1] + 1))
        colour = np.array([226.0, 219.0, 196.0]) * rng.normal(1, 0.03) * bright[:, :, None]
        _lay(canvas[part], cover, faint[i] * colour + (1 - faint[i]) * coir[part])
        owner[part][cover > 0.5] = i
        whole[i] = np.pi / 4 * length[i] * width[i]
    seen = np.bincount(owner[owner >= 0], minlength=n) / whole
    return {"x": at[:, 0], "y": at[:, 1], "length": length, "width": width, "angle": angle, "seen": seen}


def _ellipse(shape, x, y, length, width, angle):
    h, w = shape
    r = int(length / 2 + 3)
    ys, xs = np.mgrid[max(0, int(y) - r) : min(h, int(y) + r), max(0, int(x) - r) : min(w, int(x) + r)]
    along = (xs - x) * np.cos(angle) + (ys - y) * np.sin(angle)
    across = -(xs - x) * np.sin(angle) + (ys - y) * np.cos(angle)
    return ys, xs, np.hypot(along / (length / 2), across / (width / 2))


def _drop(canvas, scene, rng) -> None:
    """A drop of condensation: a faint disc, a bright crescent and a small highlight."""
    h, w = canvas.shape[:2]
    radius = rng.uniform(0.6, 2.5) * scene.px_per_mm
    x, y = rng.uniform(0, w), rng.uniform(0, h)
    ys, xs, d = _ellipse((h, w), x, y, 2 * radius, 2 * radius, 0)
    if ys.size == 0:
        return
    part = canvas[ys[0, 0] : ys[-1, 0] + 1, xs[0, 0] : xs[0, -1] + 1]
    inside = ((1 - d) * radius + 0.5).clip(0, 1)
    rim = (
        np.exp(-(((d - 0.9) / 0.09) ** 2)) * (0.5 + 0.5 * np.sin(np.arctan2(ys - y, xs - x) + rng.uniform(0, 6.3))) ** 2
    )
    spot = np.exp(-((np.hypot(xs - x + 0.4 * radius, ys - y + 0.4 * radius) / (0.16 * radius)) ** 2))
    _lay(part, (0.12 * inside + 0.35 * rim + 0.7 * spot).clip(0, 0.9), np.array([225.0, 228.0, 232.0]))


def _light(scene: Scene, rng: np.random.Generator) -> NDArray[np.float64]:
    small = np.exp(rng.normal(0, scene.uneven, (3, 4)))
    field = cv2.resize(small, (scene.width_px, scene.height_px), interpolation=cv2.INTER_CUBIC).clip(0.35, 1.9)
    return field[:, :, None] / field.mean()


def _glare(canvas, scene, rng) -> None:
    """A lamp's reflection: a wide veil with a burnt-out heart."""
    h, w = canvas.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w]
    long, short = rng.uniform(0.08, 0.2) * w, rng.uniform(0.02, 0.06) * h
    x, y, a = rng.uniform(0, w), rng.uniform(0, h), rng.uniform(-0.4, 0.4)
    along, across = (xx - x) * np.cos(a) + (yy - y) * np.sin(a), -(xx - x) * np.sin(a) + (yy - y) * np.cos(a)
    d2 = (along / long) ** 2 + (across / short) ** 2
    canvas += scene.glare * (120 * np.exp(-d2 / 2) + 160 * np.exp(-((d2 / 0.15) ** 2)))[:, :, None]
