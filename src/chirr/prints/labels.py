"""Labels: each with its code to scan, its name in large letters, its duty as shape and word, and lines for the pen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import msgspec

from chirr.prints.codes import qr_svg
from chirr.prints.paper import Stock
from chirr.prints.typeset import CannotPrint, Head, Printed, typeset
from chirr.says import said, word

SHAPES = ("breeding", "nursery", "grow-out", "tray", "clutch", "lot", "substrate")
TITLE = word("Labels")
MOST = 3000
"""Labels in one go; more than a farm puts up in a year."""


class Label(msgspec.Struct, frozen=True, kw_only=True):
    """One label. `code` is the name in large letters, `word` what kind of thing or duty it is, with its shape.

    `facts` are small lines, `pen` the captions of empty lines, the most important first; `address` is what the square
    code holds.
    """

    code: str
    word: str
    shape: str
    address: str
    facts: tuple[str, ...] = ()
    pen: tuple[str, ...] = ()


def print_labels(
    labels: Sequence[Label],
    stock: Stock,
    *,
    day: date,
    first: int = 1,
    nudge_mm: tuple[float, float] = (0.0, 0.0),
    farm: str = "",
    title: str = TITLE,
    language: str = "en",
) -> Printed:
    """Labels on a stock, the first of them at place `first` (1 = top left) of a part-used sheet.

    `nudge_mm` moves everything right and down, for a printer that prints beside the mark. `title` is that of the
    document, in the `language` of the labels. Raises CannotPrint.
    """
    if not labels:
        raise CannotPrint(word("There is nothing to print a label for."))
    if len(labels) > MOST:
        raise CannotPrint(said("These are {n:,} labels; print at most {most:,} at a time.", n=len(labels), most=MOST))
    if not 1 <= first <= stock.a_page:
        raise CannotPrint(
            said(
                "Such a sheet has the places 1 to {last}; there is no place {n} to start at.",
                last=stock.a_page,
                n=first,
            )
        )
    data = {
        "page": stock.page_mm, "size": stock.label_mm, "white": stock.white_mm, "nudge": nudge_mm, "farm": farm,
        "pages": _pages(labels, stock, first),
    }  # fmt: skip
    return typeset("labels", data, Head(title, language), day=day)


def _pages(labels: Sequence[Label], stock: Stock, first: int) -> list[list[dict[str, object]]]:
    pages: list[list[dict[str, object]]] = []
    for number, label in enumerate(labels, first - 1):
        page, x, y = stock.place_mm(number)
        while len(pages) <= page:
            pages.append([])
        shown = msgspec.to_builtins(label) | {"at": (x, y), "qr": qr_svg(label.address)}
        pages[page].append(shown)
    return pages
