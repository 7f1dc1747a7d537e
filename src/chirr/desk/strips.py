"""The scale strips as PDF: the finder's own geometry, drawn."""

from __future__ import annotations

from datetime import date

from django.conf import settings

from chirr.desk.spoken import again, language
from chirr.engine.counting import strip as geometry
from chirr.prints.strip import WORDS, DrawnStrip, print_strips
from chirr.prints.typeset import CannotPrint, Printed

__all__ = ("CannotPrint", "strips")

COPIES = {"long": 5, "short": 4}


def strips(page: str = "a4", *, day: date) -> Printed:
    """A page of long and short strips; `day` is the document's date. Raises CannotPrint."""
    drawn = [_drawn(strip, COPIES[strip.name]) for strip in geometry.STRIPS]
    if not settings.configured:  # the command without a farm
        return print_strips(drawn, day=day, page=page)
    words = {key: again(text) for key, text in WORDS.items()}
    return print_strips(drawn, day=day, page=page, words=words, language=language())


def _drawn(strip: geometry.Strip, copies: int) -> DrawnStrip:
    side = geometry.SQUARE_MM
    black = [(x, y, side, side) for x, y in strip.black_squares_mm()]
    for number, corners in strip.corners_mm().items():
        black += _mark(number, *corners[0])
    return DrawnStrip(
        length_mm=strip.length_mm, height_mm=strip.height_mm, margin_mm=geometry.MARGIN_MM, black_mm=tuple(black),
        row_mm=strip.row_mm, copies=copies,
    )  # fmt: skip


def _mark(number: int, x: float, y: float) -> list[tuple[float, float, float, float]]:
    """A mark as black bars, one for each run of black modules in a row."""
    module = geometry.MARK_MM / geometry.MARK_MODULES
    rim = "0" * geometry.MARK_MODULES
    rows = (rim, *(f"0{bits}0" for bits in geometry.MARK_BITS[number]), rim)
    bars = []
    for down, row in enumerate(rows):
        start = None
        for across, bit in enumerate(row + "1"):
            if bit == "0" and start is None:
                start = across
            elif bit == "1" and start is not None:
                bars.append((x + start * module, y + down * module, (across - start) * module, module))
                start = None
    return bars
