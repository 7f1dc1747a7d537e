"""The printed scale strip, to be cut out and laid beside what is photographed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import msgspec

from chirr.prints.paper import PAGES_MM, no_paper
from chirr.prints.typeset import CannotPrint, Head, Printed, typeset
from chirr.says import word

WORDS = {
    "title": word("Scale strips"),
    "print": word("Print at 100 %, not “fit to page”. Then measure from the beginning of the first black square to the "
                  "end of the last: the row between the two marks is 110 mm long on a long strip, 50 on a short one. "
                  "If it is not, do not use the strip."),
    "use": word("Cut along the dashes and keep it flat and clean (clear tape on both sides stands wet hands). Put it "
                "flat against the wall of the tray, at the same depth as the eggs, wholly in the picture."),
}  # fmt: skip


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


def print_strips(
    strips: Sequence[DrawnStrip], *, day: date, page: str = "a4", words: dict[str, str] = WORDS, language: str = "en"
) -> Printed:
    """Strips one below the other on plain paper ('a4' or 'letter'), `words` above them, in their `language`.

    Raises CannotPrint.
    """
    if page not in PAGES_MM:
        raise CannotPrint(no_paper(page))
    data = {"page": PAGES_MM[page], "strips": msgspec.to_builtins(tuple(strips)), "words": words}
    return typeset("strip", data, Head(words["title"], language), day=day)
