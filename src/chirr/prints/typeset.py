"""From a layout and plain data to a PDF: the same bytes for the same data on any machine with the pinned letters."""

from __future__ import annotations

import atexit
import re
import shutil
import tempfile
from datetime import UTC, date, datetime
from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import msgspec

from chirr.says import said, word

if TYPE_CHECKING:
    from typst import Fonts

HERE = Path(__file__).resolve().parent
WEIGHTS = ("Regular", "Semibold", "Bold")
_NO_LETTER = re.compile(r'the text `"(.+?)"` could not be displayed')


class CannotPrint(Exception):  # noqa: N818 - it is told to a person as it is
    """Nothing can be printed; `says` is why and what to do."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


class Head(msgspec.Struct, frozen=True):
    """What a document says of itself to whoever lists it or reads it aloud: its title, and its language (BCP 47)."""

    title: str
    language: str = "en"


class Printed(msgspec.Struct, frozen=True):
    """A finished PDF, and what there is to say about it."""

    pdf: bytes
    remarks: tuple[str, ...] = ()


def typeset(layout: str, data: dict[str, Any], head: Head, *, day: date) -> Printed:
    """Set `data` (anything JSON can hold) by the layout `layout`.typ of this room; `day` is the document's date.

    Letters that the pinned font lacks are taken from this machine's own fonts, and that is said; where those lack them
    too, that is said. Raises CannotPrint where the packages for printing are missing.
    """
    fonts = _fonts()
    text = _as_json(data, head)
    wanting = _compile(layout, text, day, fonts)
    if isinstance(wanting, bytes):
        return Printed(wanting)
    own = _compile(layout, text, day, _fonts(system=True))
    if isinstance(own, bytes):
        return Printed(
            own, (said("The letters {letters} are set in a font of this machine.", letters=_listed(wanting)),)
        )
    plain = _compile(layout, text, day, _fonts(system=True), strict=False)
    assert isinstance(plain, bytes)  # noqa: S101 - without the strictness no letter is asked for
    words = said(
        "No font on this machine has {letters}: there is an empty box in its place. The code still works.",
        letters=_listed(own),
    )
    return Printed(plain, (words,))


def _as_json(data: dict[str, Any], head: Head) -> str:
    return msgspec.json.encode({**data, "head": head}).decode()


def places(layout: str, data: dict[str, Any], head: Head, label: str, *, day: date) -> str:
    """What the layout says of the things it labelled, as a JSON list. Raises CannotPrint."""
    fonts = _fonts()
    import typst

    return str(
        typst.query(
            str(HERE / f"{layout}.typ"), f"<{label}>", field="value", format="json", root=str(HERE), font_paths=fonts,
            ignore_system_fonts=True,
            sys_inputs={"data": _as_json(data, head), "day": day.isoformat()},
        )
    )  # fmt: skip


def _listed(letters: tuple[str, ...]) -> str:
    shown = " ".join(letters[:12])
    return f"{shown} …" if len(letters) > 12 else shown


def _compile(layout: str, text: str, day: date, fonts: Fonts, *, strict: bool = True) -> bytes | tuple[str, ...]:
    """The PDF; or, as far as the archive standard PDF/A-2b (ISO 19005-2) finds them, the letters that no font has."""
    import typst

    standards: Literal["a-2b"] | list[Any] = "a-2b" if strict else []
    try:
        return typst.compile(
            str(HERE / f"{layout}.typ"), root=str(HERE), font_paths=fonts, ignore_system_fonts=True, pdf_tags=False,
            sys_inputs={"data": text, "day": day.isoformat()}, pdf_standards=standards,
            timestamp=datetime(day.year, day.month, day.day, tzinfo=UTC),
        )  # fmt: skip
    except typst.TypstError as error:
        letters = tuple(dict.fromkeys(_letter(found) for found in _NO_LETTER.findall(error.diagnostic)))
        if not letters:
            raise
        return letters


def _letter(found: str) -> str:
    """A letter as the error tells it: those that cannot stand alone as \\u{e48}, shown here on a ring."""
    escaped = re.fullmatch(r"\\u\{([0-9a-f]+)\}", found)
    return f"◌{chr(int(escaped[1], 16))}" if escaped else found


@cache
def _fonts(*, system: bool = False) -> Fonts:
    """The pinned font and those that come inside typst; with `system` those of this machine too."""
    try:
        import typst

        files = resources.files("font_source_sans_pro") / "files"
    except ImportError as error:
        raise CannotPrint(
            word("Printing needs the packages of the 'prints' extra; install them with: pip install 'chirr[prints]'")
        ) from error
    # The package holds every letter twice (OTF and TTF) and the order of a folder is the file system's own.
    chosen = _folder()
    for weight in WEIGHTS:
        (Path(chosen) / f"{weight}.otf").write_bytes((files / f"SourceSansPro-{weight}.otf").read_bytes())
    return typst.Fonts(include_system_fonts=system, include_embedded_fonts=True, font_paths=[chosen])


@cache
def _folder() -> str:
    """A folder of this process alone; letters are read from it only when they are first set."""
    chosen = tempfile.mkdtemp(prefix="chirr-letters-")
    atexit.register(shutil.rmtree, chosen, ignore_errors=True)
    return chosen
