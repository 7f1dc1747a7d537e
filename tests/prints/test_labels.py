"""Labels as they come out of a printer: every code read back, every letter inside, the same bytes each time."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from datetime import date

import numpy as np
import pytest

from chirr.prints.labels import Label, print_labels
from chirr.prints.paper import STOCKS, Stock
from chirr.prints.typeset import CannotPrint
from prints.conftest import Picture, Raster

DAY = date(2027, 5, 3)
BASE = "HTTPS://LONG-BARN.LOCAL:8765/AT"
AWKWARD = (
    "N1-3",
    "Größe & Übermaß – Raum 3 / hinten links",
    "averyverylongnamewithoutanyblankthatgoesonandonuntilsixtych",
    'He said "hi" \\ #[x] $y$ *z* _q_ @a <b> `c` ~d',
    '#import "x"; #panic()',
    "Τροφή Корм ăêš",
    "1",
)


def label(name: str, number: int = 0, **more: object) -> Label:
    """A label with all its parts."""
    parts: dict[str, object] = {
        "word": "breeding bin", "shape": "breeding", "facts": ("north · stack 1 · level 3", "since Mon 3 May 2027"),
        "pen": ("lot", "since", "note"),
    }  # fmt: skip
    return Label(code=name, address=f"{BASE}/BIN/N{number}-1", **(parts | more))  # type: ignore[arg-type]


def filling(stock: Stock, pages: int = 1) -> list[Label]:
    """Labels for whole pages of a stock, awkward names among them."""
    return [label(AWKWARD[i % len(AWKWARD)], i) for i in range(stock.a_page * pages)]


@pytest.mark.parametrize("dpi", [150, 300])
@pytest.mark.parametrize("key", STOCKS)
def test_every_code_of_a_sheet_is_read_back(
    key: str, dpi: int, raster: Raster, codes: Callable[[Picture], list[str]]
) -> None:
    stock = STOCKS[key]
    labels = filling(stock, pages=1 if not stock.is_roll else 4)
    pages = raster(print_labels(labels, stock, day=DAY).pdf, dpi)
    assert sorted(text for page in pages for text in codes(page)) == sorted(x.address for x in labels)


@pytest.mark.parametrize(
    "text", ["(01)09506000134352(10)ABC123", "https://id.example.org/01/09506000134352", "éü", "0123456789AB" * 10]
)
def test_whatever_text_a_code_holds_a_reader_gives_it_back(
    text: str, raster: Raster, codes: Callable[[Picture], list[str]]
) -> None:
    """The kinds of text of ISO/IEC 18004 codes in daily use: GS1 element string, link, UTF-8, a long one."""
    one = Label(code="A", word="lot", shape="lot", address=text)
    assert codes(raster(print_labels([one], STOCKS["roll-62x29"], day=DAY).pdf, 300)[0]) == [text]


@pytest.mark.parametrize("key", STOCKS)
def test_nothing_is_printed_outside_the_labels_or_on_the_white_at_their_edge(key: str, raster: Raster) -> None:
    stock, dpi = STOCKS[key], 200
    for picture in raster(print_labels(filling(stock), stock, day=DAY, farm="Long Barn").pdf, dpi):
        inside = np.zeros(picture.shape, dtype=bool)
        white_x, white_y = stock.white_mm
        for number in range(stock.a_page):
            _, x, y = stock.place_mm(number)
            left, right = x + white_x - 0.2, x + stock.label_mm[0] - white_x + 0.2
            top, bottom = y + white_y - 0.2, y + stock.label_mm[1] - white_y + 0.2
            inside[_px(top, dpi) : _px(bottom, dpi) + 1, _px(left, dpi) : _px(right, dpi) + 1] = True
        assert picture[~inside].min() > 200


def _px(mm: float, dpi: int) -> int:
    return round(mm * dpi / 25.4)


def test_label_n_stands_in_place_n(raster: Raster, codes: Callable[[Picture], list[str]]) -> None:
    stock, dpi = STOCKS["letter-3x10"], 200
    [picture] = raster(print_labels(filling(stock), stock, day=DAY).pdf, dpi)
    for number in range(stock.a_page):
        _, x, y = stock.place_mm(number)
        cell = picture[_px(y, dpi) : _px(y + stock.label_mm[1], dpi), _px(x, dpi) : _px(x + stock.label_mm[0], dpi)]
        assert codes(np.ascontiguousarray(cell)) == [f"{BASE}/BIN/N{number}-1"]


def test_a_part_used_sheet_is_begun_at_its_first_free_place(
    raster: Raster, codes: Callable[[Picture], list[str]]
) -> None:
    stock = STOCKS["a4-3x7"]
    pages = raster(print_labels([label("A", i) for i in range(20)], stock, day=DAY, first=5).pdf, 150)
    assert [len(codes(page)) for page in pages] == [17, 3]
    _, _, y = stock.place_mm(3)
    assert pages[0][: _px(y, 150)].min() > 200, "the used row stays empty"


def test_a_shift_moves_everything_by_that_much(raster: Raster) -> None:
    stock, dpi = STOCKS["a4-2x7"], 300
    ink = [
        np.argwhere(raster(print_labels([label("A")], stock, day=DAY, nudge_mm=shift).pdf, dpi)[0] < 128).min(axis=0)
        for shift in ((0.0, 0.0), (1.5, -0.5))
    ]
    down, right = (ink[1] - ink[0]) * 25.4 / dpi
    assert (down, right) == pytest.approx((-0.5, 1.5), abs=0.1)


@pytest.mark.parametrize("key", ["a4-3x8", "roll-62x29"])
def test_the_same_labels_are_the_same_bytes(key: str) -> None:
    labels = filling(STOCKS[key])[:9]
    assert print_labels(labels, STOCKS[key], day=DAY).pdf == print_labels(labels, STOCKS[key], day=DAY).pdf


def test_the_same_labels_are_the_same_bytes_in_another_process() -> None:
    program = (
        "import hashlib; from datetime import date; from chirr.prints.labels import Label, print_labels;"
        "from chirr.prints.paper import STOCKS;"
        "x = [Label(code='N1-3', word='lot', shape='lot', address='HTTPS://B.LOCAL/AT/LOT/N1', facts=('Größe',))];"
        "print(hashlib.sha256(print_labels(x, STOCKS['a4-3x8'], day=date(2027, 5, 3)).pdf).hexdigest())"
    )
    runs = {
        subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout
        for _ in range(2)
    }
    assert len(runs) == 1


def test_letters_of_many_alphabets_are_in_the_pinned_font() -> None:
    for name in AWKWARD:
        assert print_labels([label(name)], STOCKS["a4-3x8"], day=DAY).remarks == (), name


def test_a_letter_that_the_pinned_font_lacks_is_told_in_one_sentence_and_the_code_still_reads(
    raster: Raster, codes: Callable[[Picture], list[str]]
) -> None:
    printed = print_labels([label("ถาด 🦗")], STOCKS["roll-62x29"], day=DAY)
    [remark] = printed.remarks
    assert "ถ" in remark
    assert remark.count(".") <= 2
    assert codes(raster(printed.pdf, 150)[0]) == [f"{BASE}/BIN/N0-1"]


def test_long_names_are_smaller_but_never_smaller_than_can_be_read(raster: Raster) -> None:
    """A capital letter 1.2 mm high can be read at 30 cm (judgement); sixty letters must stay above that."""
    stock, dpi = STOCKS["a4-3x8"], 600
    name = "W" * 60
    _, x, _ = stock.place_mm(0)
    shots = [raster(print_labels([label(n, facts=(), pen=())], stock, day=DAY).pdf, dpi)[0] for n in (name, " ")]
    ink = np.argwhere(shots[0].astype(int) < shots[1].astype(int) - 60)
    rows = np.unique(ink[:, 0])
    heights = [len(run) for run in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)]
    assert min(heights) * 25.4 / dpi > 1.2
    assert ink[:, 1].max() * 25.4 / dpi < x + stock.label_mm[0] - stock.white_mm[0]


def test_three_hundred_labels_come_in_one_go(raster: Raster) -> None:
    printed = print_labels([label(f"N{i}", i) for i in range(300)], STOCKS["a4-3x8"], day=DAY)
    assert len(raster(printed.pdf, 20)) == 13


@pytest.mark.parametrize(
    ("labels", "first", "says"),
    [([], 1, "nothing"), ([label("A")], 25, "places 1 to 24"), ([label("A")] * 3001, 1, "at most 3,000")],
)
def test_what_cannot_be_printed_is_told_in_a_sentence(labels: list[Label], first: int, says: str) -> None:
    with pytest.raises(CannotPrint, match=says):
        print_labels(labels, STOCKS["a4-3x8"], day=DAY, first=first)


def test_without_the_packages_one_sentence_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    from chirr.prints import typeset

    monkeypatch.setitem(sys.modules, "typst", None)
    typeset._fonts.cache_clear()
    with pytest.raises(CannotPrint, match="pip install 'chirr\\[prints\\]'"):
        print_labels([label("A")], STOCKS["a4-3x8"], day=DAY)
    typeset._fonts.cache_clear()


def test_every_shape_that_a_label_names_is_there() -> None:
    from chirr.prints.labels import SHAPES

    for shape in SHAPES:
        assert print_labels([label("A", shape=shape)], STOCKS["roll-50x30"], day=DAY).pdf.startswith(b"%PDF")


@pytest.mark.parametrize("key", STOCKS)
def test_the_labels_of_a_stock_lie_on_its_page_and_not_on_one_another(key: str) -> None:
    stock = STOCKS[key]
    left, top = stock.margin_mm
    assert left >= -1e-9
    assert top >= -1e-9
    _, x, y = stock.place_mm(stock.a_page - 1)
    assert x + stock.label_mm[0] == pytest.approx(stock.page_mm[0] - left, abs=0.01)
    assert y + stock.label_mm[1] == pytest.approx(stock.page_mm[1] - top, abs=0.01)
    assert min(stock.gap_mm) >= 0
