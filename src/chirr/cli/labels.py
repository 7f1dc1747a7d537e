"""`chirr labels`, `chirr sheet` and `chirr count strip`: what goes out on paper."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from chirr.cli.farm import open_farm
from chirr.cli.say import BadInput, Trouble, say, sorry

if TYPE_CHECKING:
    from chirr.desk.labels import Printed
    from chirr.records import Person

Answer = TypeVar("Answer")


def labels(
    kinds: Annotated[
        list[str] | None,
        typer.Argument(metavar="KIND", help="bins, trays, clutches, lots or substrate; without it, all of them."),
    ] = None,
    room: Annotated[str | None, typer.Option(metavar="ROOM", help="Only what stands in this room.")] = None,
    name: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Only this bin, clutch, lot or batch; may be repeated.")
    ] = None,
    since: Annotated[
        str | None, typer.Option(metavar="DAY", help="Only what is new since this day, such as 2031-05-06.")
    ] = None,
    new: Annotated[bool, typer.Option("--new", help="Only what no label was printed for yet.")] = False,
    to_come: Annotated[
        int, typer.Option(min=0, max=3000, metavar="N", help="Only the next N trays, before they are laid.")
    ] = 0,
    stock: Annotated[
        str, typer.Option(metavar="STOCK", help="The label stock; 'chirr labels --stocks' lists them.")
    ] = "a4-3x8",
    start: Annotated[int, typer.Option(min=1, metavar="N", help="First free place on a part-used sheet.")] = 1,
    shift: Annotated[
        str, typer.Option(metavar="X,Y", help="Millimetres to move everything right and down, such as 1.5,-0.5.")
    ] = "0,0",
    address: Annotated[
        str | None,
        typer.Option(metavar="URL", help="Where phones find the pages; without it, as on the labels printed last."),
    ] = None,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The PDF to write.")] = Path("labels.pdf"),
    stocks: Annotated[bool, typer.Option("--stocks", help="List the label stocks and print nothing.")] = False,
) -> None:
    """Labels with a code to scan, as a PDF: for bins, trays, clutches, lots and substrate batches."""
    if stocks:
        from chirr.prints.paper import STOCKS

        for one in STOCKS.values():
            say(f"{one.key:<14} {one.words}")
        return
    _must_be_writable(out)
    open_farm()
    from chirr.desk import labels as desk

    _need_farm()
    which = desk.Which(
        kinds=_kinds(kinds or []),
        room=_room(room),
        names=tuple(name or ()),
        since=_since(since),
        unprinted=new,
        to_come=to_come,
    )
    job = desk.Job(
        stock=stock, first=start, nudge_mm=_shift(shift), address=address or desk.last_address() or _no_address()
    )
    many = len(_asking(lambda: desk.wanted(which)))
    printed = _asking(lambda: desk.make(which, job, actor=_owner()))
    _write(out, printed)
    say(f"{many} label{'s' if many != 1 else ''} in {out}. Print at 100 %, not 'fit to page'.")


def sheet(
    day: Annotated[
        str | None, typer.Option(metavar="DAY", help="Which day, such as 2031-05-06; without it, today.")
    ] = None,
    again: Annotated[
        str | None, typer.Option(metavar="CODE", help="Print a sheet once more that was made before.")
    ] = None,
    page: Annotated[str, typer.Option(metavar="PAPER", help="a4 or letter.")] = "a4",
    address: Annotated[
        str | None,
        typer.Option(metavar="URL", help="Where phones find the pages; without it, as on the labels printed last."),
    ] = None,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The PDF to write.")] = Path("round.pdf"),
) -> None:
    """The run sheet of a day as a PDF: boxes to tick and blanks for numbers, to be typed in again on the pages."""
    wanted = _day("--day", day)
    _must_be_writable(out)
    open_farm()
    _need_farm()
    from chirr.desk import clock, walk_sheet
    from chirr.desk.labels import PAGES_MM, last_address

    if page not in PAGES_MM:
        raise BadInput(f"There is no paper {page}; choose one of {', '.join(PAGES_MM)}.")
    where = address or last_address() or _no_address()
    if again is not None:
        made = _asking(lambda: walk_sheet.load(again)[0])
    else:
        made = _asking(lambda: walk_sheet.make(wanted or clock.today(), actor=_owner()))
    _write(out, _asking(lambda: walk_sheet.pdf(made, address=where, page=page)))
    say(f"Run sheet {made.code} of {made.day}: {len(made.lines)} lines at {len(made.stops)} stops, in {out}.")
    say("Type it in on the pages: Round, Print the round.")


def strip(
    page: Annotated[str, typer.Option(metavar="PAPER", help="a4 or letter.")] = "a4",
    out: Annotated[Path, typer.Option(metavar="FILE", help="The PDF to write.")] = Path("scale-strips.pdf"),
) -> None:
    """Scale strips to print, cut out and lay beside what is photographed."""
    from datetime import UTC, datetime

    from chirr.desk.strips import CannotPrint, strips

    try:
        _write(out, strips(page, day=datetime.now(UTC).date()))
    except CannotPrint as why:
        raise BadInput(str(why)) from why
    say(f"Scale strips in {out}. Print at 100 %, not 'fit to page', and measure one before you use it.")


def _kinds(words: list[str]) -> tuple[str, ...]:
    from chirr.desk.labels import KINDS

    plural = {"bins": "bin", "trays": "tray", "clutches": "clutch", "lots": "lot", "substrate": "substrate"}
    for word in words:
        if word not in plural:
            raise BadInput(f"There are no labels for {word!r}; choose among {', '.join(plural)}.")
    return tuple(plural[word] for word in words) or KINDS


def _room(name: str | None) -> str | None:
    from chirr.desk import farm

    if name is not None:
        _asking(lambda: farm.room(name))
    return name


def _since(text: str | None) -> int | None:
    from chirr.desk import clock

    day = _day("--since", text)
    return None if day is None else clock.day_bounds(day)[0]


def _day(option: str, text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(f"{option} is {text}; write a day such as 2031-05-06.") from error


def _shift(text: str) -> tuple[float, float]:
    try:
        right, down = (float(part) for part in text.split(","))
    except ValueError as error:
        raise BadInput(f"--shift is {text}; write two numbers of millimetres, such as 1.5,-0.5.") from error
    if not max(abs(right), abs(down)) <= 20:
        raise BadInput(f"--shift is {text}; more than 20 mm is not a matter of the printer's feed.")
    return right, down


def _no_address() -> str:
    raise Trouble(
        "No label was printed here yet, so the farm's address is not known; give it with --address, such as "
        "--address https://barn.local:8765."
    )


def _need_farm() -> None:
    from chirr.desk import farm

    if farm.card() is None:
        raise Trouble(
            "This book holds no farm yet; bring one in with 'chirr import FOLDER', or set it up on its pages."
        )


def _owner() -> Person:
    from chirr.desk.transfer import IMPLICIT_OWNER

    return IMPLICIT_OWNER


def _asking(question: Callable[[], Answer]) -> Answer:
    """An answer of the desk; what cannot be is told in its own sentence."""
    from chirr.desk.codes import NoAddress
    from chirr.desk.labels import CannotPrint

    try:
        return question()
    except (LookupError, NoAddress, CannotPrint) as fault:
        raise BadInput(str(fault)) from fault


def _must_be_writable(path: Path) -> None:
    """Told before anything counts as printed."""
    if path.is_dir() or not path.parent.is_dir() or not os.access(path if path.exists() else path.parent, os.W_OK):
        raise BadInput(f"{path} cannot be written; choose another place with --out.")


def _write(path: Path, printed: Printed) -> None:
    try:
        path.write_bytes(printed.pdf)
    except OSError as error:
        raise BadInput(f"{path} cannot be written ({error.strerror}); choose another place with --out.") from error
    for remark in printed.remarks:
        sorry(remark)
