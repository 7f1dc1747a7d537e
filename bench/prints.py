"""How long three hundred labels take, against an office printer that prints them and against another PDF library."""

from __future__ import annotations

import importlib.util
import io
import statistics
import time
from datetime import date

from chirr.prints.codes import qr_svg
from chirr.prints.labels import Label, print_labels
from chirr.prints.paper import STOCKS

HOW_MANY = 300
PAGES_A_MINUTE = 40
"""A fast office printer (common practice, no published source): what nobody can print quicker than."""
STOCK = STOCKS["a4-3x8"]
LABELS = [
    Label(
        code=f"N{i // 10}-{i % 10}",
        word="breeding bin",
        shape="breeding",
        address=f"HTTPS://BARN.LOCAL:8765/AT/BIN/N{i // 10}-{i % 10}",
        facts=(f"north · stack {i // 10} · level {i % 10}",),
        pen=("lot", "since", "note"),
    )
    for i in range(HOW_MANY)
]


def once() -> float:
    """Processor seconds for all labels, codes made afresh."""
    qr_svg.cache_clear()
    start = time.process_time()
    printed = print_labels(LABELS, STOCK, day=date(2031, 5, 6))
    assert printed.remarks == ()
    return time.process_time() - start


def codes_alone() -> float:
    """Processor seconds for the codes of all labels and nothing else."""
    qr_svg.cache_clear()
    start = time.process_time()
    for label in LABELS:
        qr_svg(label.address)
    return time.process_time() - start


def other() -> float | None:
    """Processor seconds for the same labels, codes and names only, by reportlab where it is installed; else None."""
    if importlib.util.find_spec("reportlab") is None:
        return None
    from reportlab.graphics import renderPDF
    from reportlab.graphics.barcode.qr import QrCodeWidget
    from reportlab.graphics.shapes import Drawing
    from reportlab.lib.units import mm
    from reportlab.pdfgen.canvas import Canvas

    start = time.process_time()
    sheet = Canvas(io.BytesIO(), pagesize=tuple(side * mm for side in STOCK.page_mm))
    for number, label in enumerate(LABELS):
        page, x, y = STOCK.place_mm(number)
        if number and page != STOCK.place_mm(number - 1)[0]:
            sheet.showPage()
        drawing = Drawing(25 * mm, 25 * mm)
        drawing.add(QrCodeWidget(label.address, barWidth=25 * mm, barHeight=25 * mm))
        renderPDF.draw(drawing, sheet, x * mm, (STOCK.page_mm[1] - y - 30) * mm)
        sheet.setFont("Helvetica-Bold", 30)
        sheet.drawString((x + 30) * mm, (STOCK.page_mm[1] - y - 15) * mm, label.code)
    sheet.save()
    return time.process_time() - start


def main() -> None:
    took = [once() for _ in range(5)]
    middle, codes = statistics.median(took), statistics.median(codes_alone() for _ in range(3))
    pages = -(-HOW_MANY // STOCK.a_page)
    printer = pages / PAGES_A_MINUTE * 60
    against = f"a printer of {PAGES_A_MINUTE} pages a minute: {printer:.0f} s, {printer / middle:.0f} times as long"
    print(f"{HOW_MANY} labels as PDF: {middle:.2f} s, {codes:.2f} s of it codes | {against} | under 5 s")
    if (rival := other()) is not None:
        print(f"the same, codes and names alone, by reportlab: {rival:.2f} s | {rival / middle:.1f} times ours | -")


if __name__ == "__main__":
    main()
