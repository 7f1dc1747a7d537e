"""The run sheet: a day's round on paper, with boxes to tick and blanks for numbers, in walking order."""

from __future__ import annotations

from datetime import date

import msgspec

from chirr.prints.codes import qr_svg
from chirr.prints.paper import PAGES_MM
from chirr.prints.typeset import CannotPrint, Printed, typeset


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
    """The whole sheet: `title` and `farm` at its head, `code` and `address` lead back to it, `cautions` at its foot."""

    code: str
    address: str
    title: str
    farm: str
    sums: str
    stops: tuple[WalkStop, ...]
    cautions: tuple[str, ...]
    made: str


def print_walk(walk: Walk, *, day: date, page: str = "a4") -> Printed:
    """The run sheet as PDF on plain paper ('a4' or 'letter'). Raises CannotPrint."""
    if page not in PAGES_MM:
        raise CannotPrint(f"There is no paper {page}; choose one of {', '.join(PAGES_MM)}.")
    if not walk.stops:
        raise CannotPrint("Nothing is due that day, so there is nothing to print.")
    data = msgspec.to_builtins(walk) | {"page": PAGES_MM[page], "qr": qr_svg(walk.address)}
    return typeset("walk", data, day=day)
