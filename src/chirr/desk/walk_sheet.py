"""The run sheet of a day: the round as it goes on paper, kept under a code so that its pen marks can be typed in later.

A line of the sheet knows the whole entry that ticking it writes, its id included, so typing a sheet in twice writes
nothing twice.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from datetime import date, timedelta

import msgspec
from django.utils import translation
from uuid_utils.compat import uuid7

from chirr.book import papers
from chirr.book.actions import allow
from chirr.book.papers import KeptSheet
from chirr.deeds import DEEDS, missing_columns
from chirr.desk import clock, codes, farm
from chirr.desk.round import NONE_YET, round_sheet
from chirr.desk.shapes import RoundItem, RoundStop
from chirr.desk.spoken import again, day_words, moment_words, say, say_n
from chirr.engine.counting import corners
from chirr.prints.paper import PAGES_MM
from chirr.prints.typeset import CannotPrint, Printed
from chirr.prints.walk import (
    WORDS,
    BoxPlace,
    CornerMark,
    Walk,
    WalkLine,
    WalkStop,
    box_places,
    print_walk,
)
from chirr.records import Person
from chirr.says import word

LETTERS = "ABCDEFGHJKMNPQRTUVWXY346789"
"""Of the codes: none that a hand writes or an eye reads as another."""
CODE_LENGTH = 6
FURTHEST = timedelta(days=31)
GROUPS = {
    "hatching": word("Hatching"), "nursery": word("Nursery"), "grow-out": word("Grow-out"),
    "breeding": word("Breeding"), "sick": word("Sick: last, then wash your hands"),
}  # fmt: skip
CAPTIONS = {
    "quantity": word("how many"), "sample": word("crickets in the sample"), "to_bin": word("to bin"),
    "to_lot": word("as lot"), "to_place": word("to room/stack/level"), "clutch": word("name of the clutch"),
    "tray_type": word("tray type"), "note": word("seen"), "substrate": word("substrate"), "cycle": word("use"),
    "unit": word("unit"), "lot": word("lot"), "bin": word("bin"),
}  # fmt: skip
UNITS = {"harvest": word("kg"), "weigh": word("g together"), "split": word("crickets")}
CAUTIONS = (
    word("Air the room before you go in. Leave it when your head aches, your eyes sting or the CO₂ meter is high."),
    word("Dust of frass and cast skins causes allergy and asthma: mask and gloves, damp the dust, do not sweep dry."),
    word("A full bin is heavy: keep it close, two people for high ones, steps that stand firm."),
    word("Heaters, mats and humidifiers stand near water: wiring is for a licensed electrician."),
    word("Nothing living leaves the room by accident: lids, doors, and freeze what goes out."),
    word("Your local rules and the people who hold a licence come before this sheet."),
)


class SheetLine(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to do: its short code on paper, the id and columns of its entry, and what a person must still fill.

    `look`: what is ticked is one of two, pinheads seen or none yet.
    """

    code: str
    entry: str
    deed: str
    what: str
    why: str
    urgency: str
    values: dict[str, str]
    blanks: tuple[str, ...] = ()
    look: bool = False

    @property
    def plain(self) -> bool:
        """Whether a tick says it all."""
        return not (self.blanks or self.look)

    @property
    def asked(self) -> tuple[tuple[str, str], ...]:
        """Columns to be filled, each with what stands beside its blank."""
        return tuple((column, self.caption(column)) for column in self.blanks)

    def caption(self, column: str) -> str:
        """What stands beside the blank of a column."""
        unit = UNITS.get(self.deed, "") if column == "quantity" else ""
        return again(unit or CAPTIONS.get(column, column))


class SheetStop(msgspec.Struct, frozen=True, kw_only=True):
    """One place on the walk."""

    number: int
    name: str
    place: str
    duty: str | None
    group: str
    level: int
    lines: tuple[SheetLine, ...]

    @property
    def key(self) -> str:
        """Begins the names of this stop's fields."""
        return f"s{self.number}"


class WalkSheet(msgspec.Struct, frozen=True, kw_only=True):
    """The run sheet of a day as it was printed."""

    code: str
    day: str
    made_at: int
    minutes: float
    stops: tuple[SheetStop, ...]
    language: str = "en-gb"
    """That in which it was made, and in which it is printed again."""

    @property
    def lines(self) -> tuple[SheetLine, ...]:
        return tuple(line for stop in self.stops for line in stop.lines)


def make(day: date, *, actor: Person) -> WalkSheet:
    """Make the run sheet of a day and keep it. Raises CannotPrint when nothing is due, NotAllowed."""
    allow(actor, "owner", "hand")
    if abs(day - clock.today()) > FURTHEST:
        raise CannotPrint(say("A run sheet is for a day not more than {n} days off.", n=FURTHEST.days))
    sheet = sheet_of(day)
    papers.keep_sheet(
        KeptSheet(code=sheet.code, day=sheet.day, made_at=sheet.made_at, sheet=msgspec.json.encode(sheet).decode()),
        actor=actor,
    )
    return sheet


def sheet_of(day: date) -> WalkSheet:
    """The run sheet of a day, not kept. Raises CannotPrint when nothing is due."""
    walked = round_sheet(day)
    stops: list[SheetStop] = []
    for stop in walked.stops:
        due = [item for item in stop.items if item.urgency != "soon"]
        if due:
            stops.append(_stop(stop, due, len(stops) + 1))
    if not stops:
        raise CannotPrint(say("Nothing is due on {day}, so there is nothing to print.", day=day_words(day, year=True)))
    code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))
    return WalkSheet(
        code=code, day=walked.day, made_at=clock.now(), minutes=walked.minutes, stops=tuple(stops),
        language=translation.get_language() or "en-gb",
    )  # fmt: skip


def _stop(stop: RoundStop, due: list[RoundItem], number: int) -> SheetStop:
    lines = tuple(_line(item, f"{number}{_letter(i)}") for i, item in enumerate(due))
    return SheetStop(
        number=number, name=stop.bin or say("Hatch rack"),
        place=say("{room} · stack {stack} · level {level}", room=stop.room, stack=stop.stack, level=stop.level),
        duty=stop.duty, group=stop.group, level=stop.level, lines=lines,
    )  # fmt: skip


def _letter(i: int) -> str:
    """a, b ... z, then aa, ab..."""
    return chr(97 + i) if i < 26 else _letter(i // 26 - 1) + _letter(i % 26)


def _line(item: RoundItem, code: str) -> SheetLine:
    deed = DEEDS[item.deed]
    uses = {c for way in deed.needs for c in way} | set(deed.may)
    things = {n: v for n in ("bin", "lot", "clutch") if n in uses and (v := getattr(item, n))}
    values = things | dict(item.prefill)
    if "unit" in uses and "unit" not in values and len(deed.units) == 1:
        values["unit"] = deed.units[0]
    missing = missing_columns(deed, set(values) | set(item.asks))
    return SheetLine(
        code=code, entry=str(uuid7()), deed=item.deed, what=again(item.what), why=again(item.why),
        urgency=item.urgency, values=values, blanks=tuple(dict.fromkeys([*item.asks, *missing])),
        look=item.deed == "hatch",
    )  # fmt: skip


def none_yet(line: SheetLine) -> dict[str, str]:
    """Columns of the note that a look without pinheads writes."""
    return {n: v for n, v in line.values.items() if n in ("bin", "clutch")} | {"deed": "note", "note": NONE_YET}


def load(code: str) -> tuple[WalkSheet, KeptSheet]:
    """A kept run sheet, and as it is kept. LookupError when there is none."""
    wanted = code.strip().upper()
    try:
        kept = papers.sheet(wanted)
    except LookupError as unknown:
        raise LookupError(say("There is no run sheet {code}.", code=wanted[:20])) from unknown
    return msgspec.json.decode(kept.sheet, type=WalkSheet), kept


def pdf(sheet: WalkSheet, *, address: str, page: str = "a4") -> Printed:
    """The run sheet on paper; the same sheet gives the same bytes. Raises CannotPrint, codes.NoAddress."""
    base = codes.base_address(address)
    marks = tuple(
        tuple(_corner(page, n, corner) for corner in range(4)) for n in range(corners.PAGES) if page in corners.PAPERS
    )
    made = clock.local(sheet.made_at).date()
    with translation.override(sheet.language):
        walk = _walk(sheet, base)
    printed = print_walk(walk, day=made, page=page, marks=marks, mark_mm=corners.MARK_MM)
    return Printed(printed.pdf, (*printed.remarks, *codes.doubts(base)))


def boxes(sheet: WalkSheet, page: str) -> list[BoxPlace]:
    """Where the tick boxes of a sheet stand on this paper, by the names of their fields. Raises CannotPrint."""
    with translation.override(sheet.language):
        walk = _walk(sheet, "")
    return box_places(walk, day=clock.local(sheet.made_at).date(), page=page)


def _corner(page: str, number: int, corner: int) -> CornerMark:
    x, y = corners.left_top_mm(PAGES_MM[page], corner)
    return CornerMark(x=x, y=y, bits=corners.bits_of(corners.number_of(page, number, corner)))


def _walk(sheet: WalkSheet, base: str) -> Walk:
    day, made, card = date.fromisoformat(sheet.day), clock.local(sheet.made_at), farm.card()
    things = say_n("{n} thing", "{n} things", len(sheet.lines))
    places = say_n("at {n} stop", "at {n} stops", len(sheet.stops))
    return Walk(
        code=sheet.code, address=base + codes.path_of("sheet", sheet.code), farm=card.name if card else "",
        title=say("Round of {day}", day=day_words(day, year=True)), sums=f"{things} {places}, {_hours(sheet.minutes)}",
        stops=_on_paper(sheet), cautions=tuple(map(again, CAUTIONS)), made=moment_words(made),
        words={key: again(text) for key, text in WORDS.items()}, language=sheet.language,
    )  # fmt: skip


def _hours(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return (
        say("about {hours} h {minutes} min", hours=hours, minutes=f"{rest:02d}")
        if hours
        else say("about {minutes} min", minutes=rest)
    )


def _on_paper(sheet: WalkSheet) -> tuple[WalkStop, ...]:
    shown, group = [], ""
    for stop in sheet.stops:
        heading = again(GROUPS.get(stop.group, stop.group)) if stop.group != group else ""
        group = stop.group
        lines = tuple(
            WalkLine(
                code=line.code, what=line.what, why=line.why, urgency=line.urgency,
                boxes=(say("pinheads seen"), say("none yet")) if line.look else ("",),
                blanks=tuple((line.caption(c), 100 if c == "note" else 22) for c in line.blanks),
            )
            for line in stop.lines
        )  # fmt: skip
        shown.append(
            WalkStop(number=stop.number, name=stop.name, place=stop.place, shape=stop.duty or "clutch", group=heading,
                     high=stop.level > 3, whole=any(line.plain for line in stop.lines), lines=lines)
        )  # fmt: skip
    return tuple(shown)


def recent() -> list[tuple[KeptSheet, WalkSheet]]:
    """The run sheets made last, newest first."""
    return [(kept, msgspec.json.decode(kept.sheet, type=WalkSheet)) for kept in papers.sheets()]


def values_with(line: SheetLine, typed: Mapping[str, str]) -> dict[str, str]:
    """Columns of a line's entry: those that it knew, and those typed in."""
    return {"deed": line.deed, "id": line.entry, **line.values, **{c: typed.get(c, "") for c in line.blanks}}
