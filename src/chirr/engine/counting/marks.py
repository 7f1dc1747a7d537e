"""What counting a picture gives: marks, a count, an interval, and whether to believe it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SURE_BELOW = 0.5
"""A mark with less doubt than this is counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What is looked for: its shape in life [mm], and whether it is paler or darker than its ground.

    `length_mm` and `width_mm` are (least, most) and matter only when the picture's scale is known.
    `pale`: True, False, or None to let the picture decide.
    """

    name: str
    length_mm: tuple[float, float]
    width_mm: tuple[float, float]
    pale: bool | None = None


# Eggs 2.53 x 0.75 mm fresh, 3.32 x 0.99 mm before hatching (Douan et al. 2020, Int. J. Trop. Insect Sci.), with a fifth
# either way for the camera's angle. Pinheads 1 to 3 mm and crickets 3 to 30 mm long: common practice, no published
# source.
KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(name="eggs", length_mm=(2.0, 4.0), width_mm=(0.6, 1.2)),
        Kind(name="pinheads", length_mm=(0.8, 4.0), width_mm=(0.2, 1.6)),
        Kind(name="crickets", length_mm=(2.5, 35.0), width_mm=(0.7, 10.0)),
    )
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """One row for each thing found. Positions of centres, lengths and widths in pixels of the picture as given.

    `angle_rad` is the direction of the long axis, clockwise from the picture's right; `doubt` is 0 (sure) to 1.
    All arrays have shape (marks,).
    """

    x_px: Floats
    y_px: Floats
    length_px: Floats
    width_px: Floats
    angle_rad: Floats
    doubt: Floats

    def __len__(self) -> int:
        return len(self.x_px)

    @property
    def sure(self) -> NDArray[np.bool_]:
        """Which marks are counted."""
        return self.doubt < SURE_BELOW


def no_marks() -> Marks:
    """No marks at all."""
    return Marks(**{name: np.zeros(0) for name in ("x_px", "y_px", "length_px", "width_px", "angle_rad", "doubt")})


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoCount:
    """What one picture shows.

    `low` to `high` should hold the true number in nine pictures of ten. With `unsure` the figures are not to be
    used, and `why` says what stands in the way. `length_mm` is there when the scale is known, one for each mark.
    """

    count: int
    low: int
    high: int
    unsure: bool = False
    why: str = ""
    pale: bool = True
    marks: Marks = field(default_factory=no_marks)
    length_mm: Floats | None = None

    @property
    def cv(self) -> float:
        """Relative standard error: the interval's width on the log scale over that of a normal's middle nine tenths."""
        return float((np.log(self.high + 0.5) - np.log(self.low + 0.5)) / (2 * 1.645))
