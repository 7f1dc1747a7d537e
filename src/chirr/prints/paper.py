"""Label stocks by their plain dimensions: sheets of stickers, and rolls with one label to a page.

The dimensions are those that such sheets and rolls are sold with: common practice, no published source. The labels of
a sheet stand in the middle of the page.
"""

from __future__ import annotations

from typing import NamedTuple

from chirr.says import said, word

A4_MM = (210.0, 297.0)
LETTER_MM = (215.9, 279.4)
PRINTERS_EDGE_MM = 5.0
"""Most office printers leave so much of a page's edge white (common practice, no published source)."""
WHITE_MM = 2.0
"""White kept inside a label's own edge, since no printer feeds to the tenth of a millimetre (judgement)."""


class Stock(NamedTuple):
    """A label stock: page, rows and columns, and one label's size with the gaps between labels [mm]."""

    key: str
    words: str
    page_mm: tuple[float, float]
    columns: int
    rows: int
    label_mm: tuple[float, float]
    gap_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def a_page(self) -> int:
        """Labels on a page."""
        return self.columns * self.rows

    @property
    def is_roll(self) -> bool:
        return self.a_page == 1

    @property
    def margin_mm(self) -> tuple[float, float]:
        """Left and top edge of the first label."""
        left = (self.page_mm[0] - self.columns * self.label_mm[0] - (self.columns - 1) * self.gap_mm[0]) / 2
        top = (self.page_mm[1] - self.rows * self.label_mm[1] - (self.rows - 1) * self.gap_mm[1]) / 2
        return left, top

    @property
    def white_mm(self) -> tuple[float, float]:
        """White inside a label's left and right, and its top and bottom edge: more where it touches the page's edge."""
        edge = 0.0 if self.is_roll else PRINTERS_EDGE_MM
        left, top = self.margin_mm
        return max(WHITE_MM, edge - left), max(WHITE_MM, edge - top)

    def place_mm(self, number: int) -> tuple[int, float, float]:
        """Page (from 0), left and top edge of the label with this number, counted from 0 along the rows.

        >>> A4_3X8.place_mm(4), A4_3X8.place_mm(24)
        ((0, 70.0, 37.5), (1, 0.0, 0.5))
        """
        page, on_page = divmod(number, self.a_page)
        row, column = divmod(on_page, self.columns)
        left, top = self.margin_mm
        x = left + column * (self.label_mm[0] + self.gap_mm[0])
        y = top + row * (self.label_mm[1] + self.gap_mm[1])
        return page, round(x, 3), round(y, 3)


def _roll(width: float, height: float) -> Stock:
    size = f"{width:g}x{height:g}"
    return Stock(
        f"roll-{size}",
        said("Roll, {width:g} × {height:g} mm", width=width, height=height),
        (width, height),
        1,
        1,
        (width, height),
    )


def _a4(columns: int, rows: int, width: float, height: float, gap_x: float = 0.0) -> Stock:
    words = said(
        "A4, {columns} × {rows} labels of {width:g} × {height:g} mm",
        columns=columns, rows=rows, width=width, height=height,
    )  # fmt: skip
    key = f"a4-{columns}x{rows}"
    return Stock(key, words, A4_MM, columns, rows, (width, height), (gap_x, 0.0))


A4_3X8 = _a4(3, 8, 70.0, 37.0)
STOCKS: dict[str, Stock] = {
    stock.key: stock
    for stock in (
        A4_3X8,
        _a4(3, 7, 63.5, 38.1, 2.54),
        _a4(2, 7, 99.1, 38.1, 2.5),
        _a4(2, 4, 99.1, 67.7, 2.5),
        Stock(
            "letter-3x10",
            word("US Letter, 3 × 10 labels of 66.7 × 25.4 mm"),
            LETTER_MM,
            3,
            10,
            (66.7, 25.4),
            (3.15, 0.0),
        ),
        _roll(62.0, 29.0),
        _roll(100.0, 50.0),
        _roll(57.0, 32.0),
        _roll(50.0, 30.0),
    )
}
"""Label stocks by their short names."""
PAGES_MM: dict[str, tuple[float, float]] = {"a4": A4_MM, "letter": LETTER_MM}
"""Plain paper by its short name."""


def no_paper(page: str) -> str:
    """What to say about a paper that is not among PAGES_MM."""
    return said("There is no paper {page}; choose one of {papers}.", page=page, papers=", ".join(PAGES_MM))
