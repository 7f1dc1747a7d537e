"""Counting the things in a picture."""

from __future__ import annotations

import numpy as np

from chirr.engine.counting import light, sift
from chirr.engine.counting.marks import KINDS, Kind, Marks, PhotoCount
from chirr.engine.counting.typical import first_look


def count_photo(picture: light.Image, *, kind: Kind = KINDS["eggs"], mm_per_px: float | None = None) -> PhotoCount:
    grey = light.one_channel(picture)
    seen = first_look(grey, kind.pale)
    if seen is None:
        return PhotoCount(count=0, low=0, high=0, unsure=True, why="Nothing stands out from the ground.")
    bench = sift.laid_out(picture, seen)
    things = sift.find(bench)
    marks = as_marks(things, bench.scale)
    count = int(marks.sure.sum())
    return PhotoCount(count=count, low=count, high=count, pale=seen.pale, marks=marks)


def as_marks(things: list[sift.Found], scale: float) -> Marks:
    """Marks in pixels of the picture as given."""

    def column(name: str, factor: float = 1.0, shift: float = 0.0) -> np.ndarray:
        return np.array([getattr(t, name) * factor + shift for t in things], dtype=np.float64)

    half = 0.5 / scale - 0.5
    return Marks(
        x_px=column("x", 1 / scale, half), y_px=column("y", 1 / scale, half), length_px=column("length", 1 / scale),
        width_px=column("width", 1 / scale), angle_rad=column("angle"), doubt=column("doubt"),
    )  # fmt: skip
