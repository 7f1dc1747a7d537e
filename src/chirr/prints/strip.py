"""The printed scale strip, to be cut out and laid beside what is photographed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import msgspec

from chirr.prints.paper import PAGES_MM
from chirr.prints.typeset import CannotPrint, Printed, typeset


class DrawnStrip(msgspec.Struct, frozen=True, kw_only=True):
    """A strip to draw: its size, its black rectangles (x, y, width, height) from its top left, and the row to measure.

    All in mm; `copies` of it go on the page, each with white `margin_mm` round it inside the line to cut along.
    """

    length_mm: float
    height_mm: float
    margin_mm: float
    black_mm: tuple[tuple[float, float, float, float], ...]
    row_mm: float
    copies: int


def print_strips(strips: Sequence[DrawnStrip], *, day: date, page: str = "a4") -> Printed:
    """Strips one below the other on plain paper ('a4' or 'letter'). Raises CannotPrint."""
    if page not in PAGES_MM:
        raise CannotPrint(f"There is no paper {page}; choose one of {', '.join(PAGES_MM)}.")
    return typeset("strip", {"page": PAGES_MM[page], "strips": msgspec.to_builtins(tuple(strips))}, day=day)
