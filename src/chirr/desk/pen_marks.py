"""From the pen marks on a run sheet back to the book: what was ticked is written, and what cannot be is shown and kept.

The marks are kept as they were typed, so a sheet can be typed in bit by bit. Names of their fields: `person`, `day` and
`at` for the sheet; `s3.tick`, `s3.at`, `s3.person` for its stop 3; `3b.tick`, `3b.none` (looked, no pinheads yet),
`3b.at`, `3b.person`, `3b.<column>` for its line 3b, and `3b.again` or `3b.note` for a line that was held back.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import date
from zoneinfo import ZoneInfo

import msgspec
import numpy as np
from django.db import transaction
from numpy.typing import NDArray
from uuid_utils.compat import uuid7

from chirr.book import actions, ledger, papers
from chirr.desk import clock, counting, photos, sentences
from chirr.desk.forms import FormFaults, Sheet, entry_from_form
from chirr.desk.misfit_words import does_not_fit, read_back
from chirr.desk.notes_said import NOT_TAKEN, TICKED, TICKED_TYPED
from chirr.desk.people import get as person_called
from chirr.desk.spoken import say, term
from chirr.desk.walk_sheet import SheetLine, SheetStop, WalkSheet, load, none_yet, values_with
from chirr.desk.walk_sheet import boxes as walk_boxes
from chirr.prints.paper import PAGES_MM
from chirr.prints.typeset import CannotPrint
from chirr.records import Entry, Person

MOST_PHOTOS = 30
LONGEST_FIELD = 2000
NOT_MARKS = ("csrfmiddlewaretoken", "saves")


class Held(msgspec.Struct, frozen=True):
    """Why a ticked line is not in the book: what the book found against it, and expected, in the book's own words.

    `later`: it is a later entry that would no longer fit. Without a finding it is the marks themselves that will not
    do, or an entry that says the same; that is looked at anew whenever the sheet is opened.
    """

    found: str = ""
    expected: str = ""
    later: bool = False

    def words(self) -> str:
        """The finding in the language of the reader."""
        if not self.later:
            return does_not_fit(self.found, self.expected)
        return say(
            "A later entry would no longer fit: {found}; expected {expected}.",
            found=read_back(self.found), expected=read_back(self.expected),
        )  # fmt: skip


class Marks(msgspec.Struct, frozen=True, kw_only=True):
    """What was typed in from a sheet so far; `held` says why lines are not in the book; `photos` by their ids.

    `saves` counts how often they were kept, so that a page opened before somebody else saved takes nothing away.
    """

    values: dict[str, str] = {}
    held: dict[str, Held] = {}
    photos: tuple[str, ...] = ()
    saves: int = 0


class LineNow(msgspec.Struct, frozen=True, kw_only=True):
    """A line of the sheet and how it stands: `written` from this sheet, else `other` says who did the same that day."""

    line: SheetLine
    written: str = ""
    other: str = ""
    held: str = ""


class StopNow(msgspec.Struct, frozen=True, kw_only=True):
    """A stop of the sheet with its lines as they stand; `whole`: whether one tick can stand for several of them."""

    stop: SheetStop
    lines: tuple[LineNow, ...]
    whole: bool

    @property
    def open(self) -> bool:
        """Whether any of its lines is not in the book."""
        return any(not x.written for x in self.lines)


class Opened(msgspec.Struct, frozen=True, kw_only=True):
    """A sheet opened to be typed in."""

    sheet: WalkSheet
    marks: Marks
    stops: tuple[StopNow, ...]

    @property
    def written(self) -> int:
        return sum(bool(x.written) for stop in self.stops for x in stop.lines)


class Seen(msgspec.Struct, frozen=True, kw_only=True):
    """What was read from a photograph of page `page`: fields that are ticked, and stops or lines in doubt."""

    page: int
    ticked: tuple[str, ...]
    doubtful: tuple[str, ...]


class Outcome(msgspec.Struct, frozen=True, kw_only=True):
    """What came of typing in: entries written now, and for each line held back why."""

    written: int
    held: dict[str, str]


def opened(code: str) -> Opened:
    """A kept sheet with its marks and with what the book says of each line now. LookupError when there is none."""
    sheet, kept = load(code)
    marks = _marks(kept.marks)
    there = _there(sheet)
    others = _same_day(sheet, there)
    form, zone = _form_again(sheet, marks), clock.zone()

    def now(stop: SheetStop, line: SheetLine) -> LineNow:
        entry, other = there.get(line.entry), others.get(line.code)
        if entry is not None:
            return LineNow(line=line, written=_told(entry, zone))
        held, known = marks.held.get(line.code), _told(other, zone) if other else ""
        if held is None or held.found:
            return LineNow(line=line, other=known, held=held.words() if held else "")
        return LineNow(line=line, other=known, held=_amiss(form, stop, line, known) if form else "")

    stops = tuple(
        StopNow(stop=stop, lines=tuple(now(stop, x) for x in stop.lines), whole=any(x.plain for x in stop.lines))
        for stop in sheet.stops
    )
    return Opened(sheet=sheet, marks=marks, stops=stops)


def _form_again(sheet: WalkSheet, marks: Marks) -> _Form | None:
    """The marks that were kept, read anew for whoever opens the sheet; None where its own fields will not do."""
    try:
        return _Form(sheet, marks.values, Person(person="", role="hand"))
    except FormFaults:
        return None


def _amiss(form: _Form, stop: SheetStop, line: SheetLine, known: str) -> str:
    """What is wrong with the marks of a line themselves, or that the book has the same (`known`) already."""
    try:
        form.entry(stop, line)
    except FormFaults as fault:
        return str(fault)
    if known and not form.has(f"{line.code}.again"):
        return say("The book has this already: {known}. Tick ‘write it again’ if both are true.", known=known)
    return ""


def type_in(code: str, values: Mapping[str, str], *, actor: Person) -> Outcome:
    """Write what is ticked and not yet in the book; keep the marks. Raises FormFaults for the sheet's own fields.

    A line is held back, with its reason, where a number is missing or wrong, where the book has the same deed of that
    day already (until `again` is ticked), and where the book contradicts it; `note` then writes it down as a note.
    """
    actions.allow(actor, "owner", "hand")
    with transaction.atomic():
        return _type_in(code, values, actor)


def _type_in(code: str, values: Mapping[str, str], actor: Person) -> Outcome:
    sheet, kept = load(code)
    before = _marks(kept.marks)
    form = _Form(sheet, values, actor)
    there = _there(sheet)
    others = _same_day(sheet, there, form.day)
    held, says, entries, notes = dict[str, Held](), dict[str, str](), dict[str, Entry](), dict[str, Entry]()
    for stop in sheet.stops:
        for line in stop.lines:
            if line.entry in there or not form.ticked(stop, line):
                continue
            try:
                if form.has(f"{line.code}.note"):
                    notes[line.code] = form.note(stop, line, before.held.get(line.code, Held()))
                    continue
            except FormFaults as fault:
                held[line.code], says[line.code] = Held(), str(fault)
                continue
            other = others.get(line.code)
            amiss = _amiss(form, stop, line, _told(other, clock.zone()) if other else "")
            if amiss:
                held[line.code], says[line.code] = Held(), amiss
            else:
                entries[line.code] = form.entry(stop, line)
    refused = _write(list(entries.values()), actor) | _write(list(notes.values()), actor)
    held |= {name: refused[e.id] for name, e in (entries | notes).items() if e.id in refused}
    says |= {name: why.words() for name, why in held.items() if why.found}
    typed = {k: v[:LONGEST_FIELD] for k, v in values.items() if v and k not in NOT_MARKS}
    if values.get("saves", str(before.saves)) != str(before.saves):  # somebody else saved since this page was opened
        typed = {k: v for k, v in before.values.items() if not values.get(k)} | typed
        held = {k: why for k, why in before.held.items() if k not in entries and k not in notes} | held
    _keep(sheet.code, msgspec.structs.replace(before, values=typed, held=held, saves=before.saves + 1), actor)
    return Outcome(written=len(entries) + len(notes) - len(refused), held=says)


def add_photo(code: str, data: bytes, name: str, *, actor: Person) -> Seen | None:
    """Keep a photograph of the marked sheet with it, and tick the lines whose boxes are seen to be ticked.

    Nothing is written into the book: the ticks are there to be looked over. None when the boxes cannot be read. Raises
    counting.CannotCount in one sentence, with nothing kept.
    """
    actions.allow(actor, "owner", "hand")
    sheet, kept = load(code)
    if len(_marks(kept.marks).photos) >= MOST_PHOTOS:
        raise counting.CannotCount(say("This sheet has {n} photographs already.", n=MOST_PHOTOS))
    picture = counting.upright(data, name)
    seen = _seen(sheet, picture)
    photo = str(uuid7())
    photos.folder().mkdir(exist_ok=True)
    counting.write_plain(picture, photos.picture_path(photo))
    ticks = dict.fromkeys(seen.ticked, "on") if seen else {}
    with transaction.atomic():
        marks = _marks(load(code)[1].marks)
        fresh = msgspec.structs.replace(marks, photos=(*marks.photos, photo), values=ticks | marks.values)
        _keep(sheet.code, msgspec.structs.replace(fresh, saves=marks.saves + 1), actor)
    return seen


def _seen(sheet: WalkSheet, picture: NDArray[np.uint8]) -> Seen | None:
    """What the boxes on a photograph, red, green and blue, say; None when the page's corner marks are not seen."""
    import cv2

    from chirr.engine.counting import ticks

    def boxes(page: str) -> list[ticks.Box]:
        return [ticks.Box(b.key, b.page, b.x_mm, b.y_mm, b.side_mm) for b in walk_boxes(sheet, page)]

    try:
        found = ticks.read(np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), np.uint8), PAGES_MM, boxes)
    except CannotPrint:
        return None
    if found is None:
        return None
    other = found.code.rsplit("/", 1)[-1]
    if "/AT/SHEET/" in found.code and other != sheet.code:
        raise counting.CannotCount(say("This is a photograph of sheet {code}, not of this one.", code=other))
    return Seen(page=found.page + 1, ticked=found.ticked, doubtful=tuple(k.split(".")[0] for k in found.doubtful))


class _Form:
    """The typed marks being read. Raises FormFaults at once where the sheet's own person, day or time will not do."""

    def __init__(self, sheet: WalkSheet, values: Mapping[str, str], actor: Person) -> None:
        self._values, self._actor, self._now = values, actor, clock.now()
        self._code = sheet.code
        fields = Sheet(values)
        self.day = self._day(fields, sheet.day)
        self._person = self._somebody(fields, "person") or actor
        self._at = self._time(fields, "at") or ""
        fields.done()

    def has(self, name: str) -> bool:
        return bool(self._values.get(name))

    def ticked(self, stop: SheetStop, line: SheetLine) -> bool:
        """Whether a line, or its whole stop for a line that a tick says all of, was ticked."""
        own = self.has(f"{line.code}.tick") or self.has(f"{line.code}.none")
        return own or (line.plain and self.has(f"s{stop.number}.tick"))

    def entry(self, stop: SheetStop, line: SheetLine) -> Entry:
        """The entry that the marks of a line mean. Raises FormFaults."""
        if self.has(f"{line.code}.tick") and self.has(f"{line.code}.none"):
            raise FormFaults({"tick": say("Both boxes are ticked: pinheads seen, or none yet?")})
        if self.has(f"{line.code}.none"):
            return self._made(stop, line, none_yet(line) | {"id": line.entry})
        return self._made(stop, line, values_with(line, self._typed(line)))

    def note(self, stop: SheetStop, line: SheetLine, why: Held) -> Entry:
        """What was ticked and typed as a note, for a line that the book does not take. Raises FormFaults."""
        typed = "; ".join(f"{c} {v}" for c, v in self._typed(line).items() if v)
        facts = {"sheet": self._code, "line": line.code, "how": line.deed, "thing": _thing(line)[1]}
        words = (TICKED_TYPED if typed else TICKED).format(**facts, typed=typed)
        if why.found:
            words += " " + NOT_TAKEN.format(found=why.found, expected=why.expected)
        values = {"deed": "note", "id": line.entry, "bin": line.values.get("bin", ""), "note": words.strip()[:2000]}
        return self._made(stop, line, values)

    def _typed(self, line: SheetLine) -> dict[str, str]:
        return {column: self._values.get(f"{line.code}.{column}", "") for column in line.blanks}

    def _made(self, stop: SheetStop, line: SheetLine, values: Mapping[str, str]) -> Entry:
        """An entry with the time and the person of its line."""
        fields = Sheet(self._values)
        at = self._time(fields, f"{line.code}.at") or self._time(fields, f"s{stop.number}.at") or self._at
        who = self._somebody(fields, f"{line.code}.person") or self._somebody(fields, f"s{stop.number}.person")
        if not at and not fields.faults:
            raise FormFaults({"at": say("Give a time: for the line, the stop or the whole sheet.")})
        fields.done()
        doer = who or self._person
        entry = entry_from_form({**values, "at": f"{self.day}T{at}"}, actor=doer, now=self._now)
        typist = {} if doer.person == self._actor.person else {"typed_in_by": self._actor.person}
        return msgspec.structs.replace(entry, extra={"run_sheet": self._code, **typist})

    def _day(self, fields: Sheet, otherwise: str) -> date:
        text = (self._values.get("day") or otherwise).strip()
        try:
            return date.fromisoformat(text)
        except ValueError:
            fields.faults["day"] = say("“{text}” is not a day. Write it like {day}.", text=text[:20], day=otherwise)
            return date.fromisoformat(otherwise)

    def _time(self, fields: Sheet, name: str) -> str | None:
        text = (self._values.get(name) or "").strip()
        if not text:
            return None
        hour = time_of_day(text)
        if hour is None:
            fields.faults[name] = say("“{text}” is not a time. Write it like 07:40.", text=text[:20])
        return hour

    def _somebody(self, fields: Sheet, name: str) -> Person | None:
        given = fields.text(name)
        if not given:
            return None
        try:
            person = person_called(given)
        except LookupError as unknown:
            fields.faults[name] = str(unknown)
            return None
        if person.role not in ("owner", "hand"):
            fields.faults[name] = say(
                "{person} is a {role}, who writes no entries.", person=given, role=term("role", person.role)
            )
        return person


def time_of_day(text: str) -> str | None:
    """A time of day as HH:MM, however the pen wrote it; None for what is no time.

    >>> time_of_day("7.40"), time_of_day("1805"), time_of_day("9"), time_of_day("25:00")
    ('07:40', '18:05', '09:00', None)
    """
    match = re.fullmatch(r"(\d{1,2})(?:\s*[:.h]?\s*(\d{2}))?h?", text.strip())
    if match is None or int(match[1]) > 23 or int(match[2] or 0) > 59:
        return None
    return f"{int(match[1]):02d}:{int(match[2] or 0):02d}"


def _write(entries: list[Entry], actor: Person) -> dict[str, Held]:
    """Write entries, all that the book takes; the reason for each of the others by its id."""
    refused: dict[str, Held] = {}
    rest = entries
    while rest:
        try:
            actions.record(rest, actor=actor)
        except actions.Refused as no:
            ours = {m.entry: m for m in no.misfits if any(m.entry == e.id for e in rest)}
            if not ours and len(rest) > 1:  # a later entry would no longer fit, because of one of these
                for entry in rest:
                    refused |= _write([entry], actor)
                return refused
            if not ours:
                m = no.misfits[0]
                refused[rest[0].id] = Held(m.found, m.expected, later=True)
                return refused
            for m in ours.values():
                refused[m.entry] = Held(m.found, m.expected)
            rest = [e for e in rest if e.id not in ours]
        else:
            break
    return refused


def _there(sheet: WalkSheet) -> dict[str, Entry]:
    """Entries of the book that were written from this sheet, by id, those taken back left out."""
    ids = tuple(line.entry for line in sheet.lines)
    marks = ", ".join(["%s"] * len(ids))
    return {e.id: e for e in ledger.entries(f"id IN ({marks})", ids)}


def _same_day(sheet: WalkSheet, there: Mapping[str, Entry], day: date | None = None) -> dict[str, Entry]:
    """For each line the latest other entry of that day that says the same deed of the same thing was done."""
    start, end = clock.day_bounds(day or date.fromisoformat(sheet.day))
    that_day = list(ledger.entries("at >= %s AND at < %s", (start, end)))
    ids = tuple(e.id for e in that_day)
    gone = {e.replaces for e in ledger.entries(f"replaces IN ({', '.join(['%s'] * len(ids))})", ids)}
    done: dict[tuple[str, str, str], Entry] = {}
    for entry in that_day:
        if entry.id not in there and entry.id not in gone:
            for kind in ("clutch", "lot", "bin"):
                if name := getattr(entry, kind):
                    done[entry.deed, kind, name] = entry
    found = {line.code: done.get((line.deed, *_thing(line))) for line in sheet.lines}
    return {code: entry for code, entry in found.items() if entry is not None}


def _thing(line: SheetLine) -> tuple[str, str]:
    """What a line is about: a new tray is of its bin, everything else of the narrowest thing it names."""
    kinds: Iterable[str] = ("bin",) if line.deed == "lay" else ("clutch", "lot", "bin")
    return next(((kind, line.values[kind]) for kind in kinds if line.values.get(kind)), ("", ""))


def _told(entry: Entry, zone: ZoneInfo) -> str:
    who = f"{entry.person}, " if entry.person else ""
    return f"{sentences.say(entry).rstrip('.')} ({who}{sentences.say_when(entry.at, zone)})"


def _marks(text: str) -> Marks:
    return msgspec.json.decode(text, type=Marks) if text else Marks()


def _keep(code: str, marks: Marks, actor: Person) -> None:
    text = msgspec.json.encode(marks).decode()
    if len(text) > papers.MOST_MARKS:
        raise FormFaults({"": say("This is more than the marks of one sheet can be. Nothing was written.")})
    papers.keep_marks(code, text, actor=actor)
