"""What the tests of the prints share: a PDF as pictures, and the codes on them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Raster = Callable[[bytes, int], list[Picture]]


@pytest.fixture
def raster() -> Raster:
    """Each page of a PDF in grey, at so many dots an inch, drawn by PDFium."""
    pypdfium2 = pytest.importorskip("pypdfium2")

    def pages(pdf: bytes, dpi: int) -> list[Picture]:
        document = pypdfium2.PdfDocument(pdf)
        try:
            return [np.asarray(page.render(scale=dpi / 72).to_pil().convert("L")) for page in document]
        finally:
            document.close()

    return pages


@pytest.fixture
def codes() -> Callable[[Picture], list[str]]:
    """The texts of all codes on a picture, read by zxing-cpp: a reader that knows nothing of how they were made."""
    zxingcpp = pytest.importorskip("zxingcpp")
    return lambda picture: [found.text for found in zxingcpp.read_barcodes(picture)]
