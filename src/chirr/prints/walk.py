"""The run sheet: a day's round on paper, with boxes to tick and blanks for numbers, in walking order."""

from __future__ import annotations

from datetime import date

import msgspec

from chirr.prints.codes import qr_svg
from chirr.prints.paper import PAGES_MM, no_paper
from chirr.prints.typeset import CannotPrint, Head, Printed, places, typeset
from chirr.says import word

WORDS = {
    "sheet": word("sheet"), "who": word("who"), "from": word("from"), "to": word("to"), "time": word("time"),
    "page": word("page {page} of {pages}"), "made": word("Made {when}. Sick bins last, then wash your hands."),
    "how": word("Tick what was done; the large box is the whole stop. Cross out what could not be. To type it in, scan "
                "the code or look for the sheet on the Round."),
    "besides": word("Seen or done besides"), "where": word("where"), "what": word("what"), "many": word("how many"),
    "cautions": word("Cautions"), "high": word("high up: firm steps, two for a full bin"),
    "overdue": word("OVERDUE"), "open": word("window open"), "optional": word("if there is time"),
}  # fmt: skip
"""What stands on every sheet, in English; whoever prints may give the same words in another language."""


class WalkLine(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to do. `boxes`: words beside its tick boxes ('' for a plain one); `blanks`: captions, lengths [mm]."""

    code: str
    what: str
    why: str
    urgency: str
    boxes: tuple[str, ...] = ("",)
    blanks: tuple[tuple[str, float], ...] = ()


class WalkStop(msgspec.Struct, frozen=True, kw_only=True):
    """One place on the walk; `group` is its heading where a new part of the walk begins, else ''.

    `whole`: whether one tick can stand for the whole stop.
    """

    number: int
    name: str
    place: str
    shape: str
    group: str
    high: bool
    whole: bool
    lines: tuple[WalkLine, ...]


class Walk(msgspec.Struct, frozen=True, kw_only=True):
    """The whole sheet: `title` and `farm` at its head, `code` and `address` lead back to it, `cautions` at its foot.

    `language` is that of its words.
    """

    code: str
    address: str
    title: str
    farm: str
    sums: str
    stops: tuple[WalkStop, ...]
    cautions: tuple[str, ...]
    made: str
    language: str = "en"
    words: dict[str, str] = msgspec.field(default_factory=WORDS.copy)


class CornerMark(msgspec.Struct, frozen=True, kw_only=True):
    """A mark at a corner of a page, by which a photograph is laid straight: its top left [mm] and its 4 x 4 bits."""

    x: float
    y: float
    bits: str


class BoxPlace(msgspec.Struct, frozen=True, kw_only=True):
    """Where a tick box stands: its field's name, page from 0, top left and side [mm]."""

    key: str
    page: int
    x_mm: float
    y_mm: float
    side_mm: float


def print_walk(
    walk: Walk, *, day: date, page: str = "a4", marks: tuple[tuple[CornerMark, ...], ...] = (), mark_mm: float = 6.0
) -> Printed:
    """The run sheet as PDF on plain paper ('a4' or 'letter'), with `marks` at the corners of each page.

    Raises CannotPrint.
    """
    return typeset("walk", _data(walk, page, marks, mark_mm), _head(walk), day=day)


def box_places(walk: Walk, *, day: date, page: str = "a4") -> list[BoxPlace]:
    """Where each tick box of the sheet stands. Raises CannotPrint."""
    found = places("walk", _data(walk, page, (), 6.0), _head(walk), "box", day=day)
    return msgspec.json.decode(found, type=list[BoxPlace])


def _head(walk: Walk) -> Head:
    return Head(f"{walk.title} · {walk.words['sheet']} {walk.code}", walk.language)


def _data(walk: Walk, page: str, marks: tuple[tuple[CornerMark, ...], ...], mark_mm: float) -> dict[str, object]:
    if page not in PAGES_MM:
        raise CannotPrint(no_paper(page))
    if not walk.stops:
        raise CannotPrint(word("Nothing is due that day, so there is nothing to print."))
    more = {"page": PAGES_MM[page], "qr": qr_svg(walk.address), "mark-mm": mark_mm}
    return {**msgspec.to_builtins(walk), **more, "marks": msgspec.to_builtins(marks)}
