"""Paper in the language of whoever prints it."""

from __future__ import annotations

import re
from datetime import date

import pytest
from django.utils import translation

from builders import small_farm
from chirr.desk import labels, strips, walk_sheet

pypdfium2 = pytest.importorskip("pypdfium2")


def words_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return " ".join(" ".join(page.get_textpage().get_text_range() for page in document).split())
    finally:
        document.close()


@pytest.fixture(autouse=True)
def farm(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    from chirr.book import ledger
    from chirr.desk import belief, clock

    monkeypatch.setattr(clock, "now", lambda: small_farm.NOW)
    monkeypatch.setattr(belief, "_beside", lambda key, *_: belief._busy.discard(key))
    ledger.forget()
    belief.forget()
    small_farm.found()


def says_of_itself(pdf: bytes) -> tuple[str, str]:
    """A document's own title and language: the Title of ISO 32000, 14.3.3, and the Lang of 14.9.2."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        title = document.get_metadata_value("Title")
    finally:
        document.close()
    (tag,) = set(re.findall(rb"/Lang\s*\(([\w-]+)\)", pdf))
    return title, tag.decode()


@pytest.mark.parametrize(
    ("language", "tag", "titles"),
    [
        ("en-gb", "en-GB", ("Labels", "Scale strips", "Round of Wed 31 Mar 2027 · sheet")),
        ("es", "es", ("Etiquetas", "Tiras de escala", "Ronda del mié 31 mar 2027 · hoja")),
        ("es-mx", "es-MX", ("Etiquetas", "Tiras de escala", "Ronda del mié 31 mar 2027 · hoja")),
    ],
)
def test_a_document_says_its_title_and_its_language_in_that_language(
    language: str, tag: str, titles: tuple[str, ...]
) -> None:
    job = labels.Job(stock="a4-2x7", address="https://granja.local:8765")
    with translation.override(language):
        sheet = walk_sheet.make(date(2027, 3, 31), actor=small_farm.OWNER)
        papers = (
            labels.make(labels.Which(), job, actor=small_farm.OWNER),
            strips.strips(day=date(2027, 3, 31)),
            walk_sheet.pdf(sheet, address="https://granja.local:8765"),
        )
    for printed, title in zip(papers, titles, strict=True):
        says, in_language = says_of_itself(printed.pdf)
        assert says.startswith(title)
        assert in_language.lower() == tag.lower()


def test_labels_are_in_spanish_where_the_page_is() -> None:
    job = labels.Job(stock="a4-2x7", address="https://granja.local:8765")
    with translation.override("es"):
        printed = labels.make(labels.Which(), job, actor=small_farm.OWNER)
    words = words_of(printed.pdf)
    assert "caja de reproducción" in words
    assert "bandeja de puesta" in words
    assert "breeding" not in words
    assert printed.remarks == ()


def test_the_run_sheet_is_in_spanish_and_stays_as_it_was_made() -> None:
    with translation.override("es"):
        sheet = walk_sheet.make(date(2027, 3, 31), actor=small_farm.OWNER)
        words = words_of(walk_sheet.pdf(sheet, address="https://granja.local:8765").pdf)
    assert "Ronda del mié 31 mar 2027" in words
    assert "Precauciones" in words
    assert "Cautions" not in words
    kept, _ = walk_sheet.load(sheet.code)
    assert kept == sheet
