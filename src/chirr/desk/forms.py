"""From what a person typed to a record: every field checked, each fault one plain sentence beside its field."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import msgspec
from uuid_utils.compat import uuid7

from chirr.book import actions, ledger, shelf
from chirr.book.models import EntryRow
from chirr.deeds import DEEDS, Deed, missing_columns
from chirr.desk.misfit_words import does_not_fit, read_back
from chirr.desk.numbers_read import TwoWays, read_number, shown_number
from chirr.desk.spoken import again, listed, say, term
from chirr.records import STAGES, Entry, Person
from chirr.says import word

AHEAD_S = 5 * 60
"""A clock may run this much fast before a time counts as future."""
LONGEST_NAME = 60
LONGEST_NOTE = 2000

MOST: dict[str, float] = {
    "crickets": 5e6, "pinheads": 5e6, "eggs": 5e6, "g": 1e6, "kg": 5e3, "l": 5e3, "": 5e6,
}  # fmt: skip
"""More than this in one entry of a small farm is a slip of the finger (judgement)."""

OTHER_UNITS: dict[str, tuple[str, float]] = {
    "oz": ("g", 28.349523125), "lb": ("kg", 0.45359237), "gal": ("l", 3.785411784),
}  # fmt: skip
"""Units a form takes and the book does not: (unit of the book, factor).

International yard and pound agreement of 1959; US gallon of 231 cubic inches.
"""

NEEDED: dict[str, str] = {
    "bin": word("Say which bin."), "lot": word("Say which lot."), "clutch": word("Say which clutch."),
    "tray_type": word("Say which type of tray."), "to_bin": word("Say which bin it goes to."),
    "to_lot": word("Give the name of the lot it goes to."),
    "to_place": word("Say where it stands: room, stack and level."),
    "from_lots": word("Name the lots that are joined."), "stage": word("Choose pinhead, nymph or adult."),
    "age_days": word("Give the age in days."), "quantity": word("Give the amount."), "unit": word("Choose the unit."),
    "sample": word("Say how many crickets were in the sample."), "note": word("Write what there is to say."),
    "replaces": word("Say which entry was wrong."),
}  # fmt: skip


class FormFaults(Exception):  # noqa: N818 - it is the answer to a form
    """What is wrong with a form: a sentence for each field; '' is the form as a whole."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        super().__init__(" ".join(faults.values()))
        self.faults = dict(faults)


class Sheet:
    """A form being read: asks for one field after another and gathers the faults."""

    def __init__(self, values: Mapping[str, str]) -> None:
        self.values = values
        self.faults: dict[str, str] = {}

    def text(self, name: str, needed: str = "", longest: int = LONGEST_NAME) -> str | None:
        """A trimmed text, None when empty."""
        value = (
            " ".join((self.values.get(name) or "").split())
            if longest <= LONGEST_NAME
            else (self.values.get(name) or "").strip()
        )
        if not value:
            if needed:
                self.faults[name] = again(needed)
            return None
        if len(value) > longest:
            self.faults[name] = say("Keep this under {longest} letters; it has {n}.", longest=longest, n=len(value))
        elif any(ord(c) < 32 and c not in "\n\r\t" for c in value):
            self.faults[name] = say("Take out the characters that cannot be printed.")
        return value

    def number(self, name: str, low: float, high: float, needed: str = "") -> float | None:
        """A number between two bounds, None when empty."""
        text = (self.values.get(name) or "").strip()
        if not text:
            if needed:
                self.faults[name] = again(needed)
            return None
        value = self._read_number(name, text)
        if value is None:
            return None
        if value < low:
            self.faults[name] = (
                say("This cannot be less than nothing.")
                if low == 0
                else say("The least that makes sense here is {low:g}.", low=low)
            )
        elif value > high:
            self.faults[name] = say(
                "{text} cannot be right: the most that makes sense here is {high:,.0f}. Check the number and its unit.",
                text=text, high=float(high),
            )  # fmt: skip
        return value

    def _read_number(self, name: str, text: str) -> float | None:
        try:
            value = read_number(text)
        except TwoWays as two:
            self.faults[name] = say(
                "{text} can be read two ways. Write {whole} or {part}.", text=text, whole=two.whole, part=two.part
            )
            return None
        if value is None:
            self.faults[name] = say(
                "“{text}” is not a number. Write digits, such as 12 or {half}.", text=text[:30], half=shown_number(0.5)
            )
        return value

    def whole(self, name: str, low: int, high: int, needed: str = "") -> int | None:
        """A whole number between two bounds, None when empty."""
        value = self.number(name, low, high, needed)
        if value is None:
            return None
        if value != int(value):
            self.faults.setdefault(name, say("Write a whole number."))
        return int(value)

    def choice(self, name: str, allowed: Collection[str], needed: str = "") -> str | None:
        """One of the allowed words, None when empty."""
        value = (self.values.get(name) or "").strip()
        if not value:
            if needed:
                self.faults[name] = again(needed)
            return None
        if value not in allowed:
            self.faults[name] = say(
                "“{value}” does not fit here. Choose {words}.", value=value[:30], words=_or(allowed)
            )
        return value

    def done(self) -> None:
        """Raise FormFaults if anything was wrong."""
        if self.faults:
            raise FormFaults(self.faults)


def _or(words: Collection[str]) -> str:
    return listed([again(w) if w else say("no unit") for w in words], "or")


def farm_zone() -> ZoneInfo:
    """The farm's time zone."""
    card = shelf.card()
    return ZoneInfo(card.timezone if card else "UTC")


def entry_from_form(values: Mapping[str, str], *, actor: Person, now: int) -> Entry:
    """The entry that a filled form means.

    `values` has the columns of an entry as text; `at` as local time of the farm ('2031-02-03T07:10', empty for now);
    `cv_pct` instead of `cv`; `to_place` whole or as `to_room`, `to_stack`, `to_level`. Raises FormFaults.
    """
    deed = DEEDS.get((values.get("deed") or "").strip())
    if deed is None:
        raise FormFaults({"deed": say("Choose what was done.")})
    sheet = Sheet(values)
    columns = _columns(sheet, deed)
    at = _moment(sheet, now)
    filled = {name for name, value in columns.items() if value not in (None, ())}
    for name in missing_columns(deed, filled | set(sheet.faults)):
        sheet.faults.setdefault(name, again(NEEDED.get(name, word("Fill this in."))))
    sheet.done()
    return Entry(id=_entry_id(values), at=at, deed=deed.name, person=actor.person, **columns)  # type: ignore[arg-type]


def _entry_id(values: Mapping[str, str]) -> str:
    """The id that the form was given when it was drawn, so that sending it twice writes it once; else a fresh one."""
    given = (values.get("id") or "").strip().lower()
    return (
        given
        if re.fullmatch(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}", given)
        else str(uuid7())
    )


def fresh_id() -> str:
    """A new entry id, made when a form is drawn."""
    return str(uuid7())


def _columns(sheet: Sheet, deed: Deed) -> dict[str, object]:
    uses = {c for way in deed.needs for c in way} | set(deed.may)
    read: dict[str, object] = {
        name: sheet.text(name)
        for name in ("bin", "lot", "clutch", "tray_type", "substrate", "to_bin", "to_lot") if name in uses
    }  # fmt: skip
    if "to_place" in uses:
        read["to_place"] = _place(sheet)
    if "from_lots" in uses:
        read["from_lots"] = tuple(
            filter(None, (p.strip() for p in re.split(r"[;,]", sheet.values.get("from_lots") or "")))
        )
    if "stage" in uses:
        read["stage"] = sheet.choice("stage", STAGES)
    if "age_days" in uses:
        read["age_days"] = sheet.number("age_days", 0, 400)
    if "cycle" in uses:
        read["cycle"] = sheet.whole("cycle", 1, 50)
    if "sample" in uses:
        read["sample"] = sheet.whole("sample", 1, 100_000)
    if "cv" in uses and (pct := sheet.number("cv_pct", 0, 200)) is not None:
        read["cv"] = round(pct / 100, 6)
    if "quantity" in uses:
        read["quantity"], read["unit"] = _amount(sheet, deed)
    read["minutes"] = sheet.number("minutes", 0, 24 * 60)
    read["note"] = sheet.text("note", longest=LONGEST_NOTE)
    read["replaces"] = sheet.text("replaces")
    return read


def _amount(sheet: Sheet, deed: Deed) -> tuple[float | None, str | None]:
    others = [name for name, (unit, _) in OTHER_UNITS.items() if unit in deed.units]
    unit = sheet.choice("unit", [*deed.units, *others]) or ("" if "" in deed.units else None)
    if unit is None and len(deed.units) == 1:
        unit = deed.units[0]
    factor = 1.0
    if unit in OTHER_UNITS:
        unit, factor = OTHER_UNITS[unit]
    quantity = sheet.number("quantity", 0, MOST.get(unit or "", 5e6) / factor)
    if quantity is not None and "quantity" not in sheet.faults:
        if quantity == 0 and deed.name not in ("count", "deaths"):
            sheet.faults["quantity"] = say(
                "Nothing is not an amount. Leave the field empty or give a number above nought."
            )
        elif unit in ("crickets", "pinheads", "eggs") and quantity != int(quantity):
            sheet.faults["quantity"] = say("Give whole {unit}.", unit=term("unit", unit))
        elif not unit and deed.name in ("feed", "water"):
            sheet.faults["unit"] = say(
                "Say what was measured: choose {words}.", words=_or([u for u in deed.units if u])
            )
        quantity = round(quantity * factor, 6)
    return quantity, (unit or None) if quantity is not None or unit else None


def _place(sheet: Sheet) -> str | None:
    whole = sheet.text("to_place")
    parts = [sheet.text(name) for name in ("to_room", "to_stack", "to_level")]
    if whole is None and any(parts):
        if not all(parts):
            sheet.faults["to_place"] = again(NEEDED["to_place"])
            return None
        whole = "/".join(str(p) for p in parts)
    if whole is None:
        return None
    match = re.fullmatch(r"(.+)/(\d{1,3})/(\d{1,3})", whole)
    if match is None or int(match[2]) < 1 or int(match[3]) < 1:
        sheet.faults["to_place"] = say(
            "“{whole}” is not a place. Give room, stack and level, such as north, 2 and 1.", whole=whole
        )
        return whole
    room = match[1].strip()
    names = [r.room for r in shelf.rooms()]
    if room not in names:
        sheet.faults["to_place"] = say(
            "The farm has no room {room}. Its rooms are {names}.", room=room, names=", ".join(names)
        )
    return f"{room}/{int(match[2])}/{int(match[3])}"


def _moment(sheet: Sheet, now: int) -> int:
    text = (sheet.values.get("at") or "").strip()
    if not text:
        return now
    try:
        local = datetime.fromisoformat(text)
    except ValueError:
        sheet.faults["at"] = say("“{text}” is not a date and time. Write it like 2031-02-03 07:10.", text=text[:30])
        return now
    zoned = local if local.tzinfo else local.replace(tzinfo=farm_zone())
    if local.year < 1990:
        sheet.faults["at"] = say("This date is too long ago for a book of crickets. Check the year.")
        return now
    at = int(zoned.astimezone(UTC).timestamp())
    if at > now + AHEAD_S:
        sheet.faults["at"] = say("This time is still to come. Write what was done once it is done.")
    return at


def add_entry(values: Mapping[str, str], *, actor: Person, now: int) -> Entry:
    """Read a form, write its entry into the book and return it.

    Raises FormFaults, also when the book contradicts the entry; NotAllowed when the actor may not write.
    """
    actions.allow(actor, "owner", "hand")
    entry = entry_from_form(values, actor=actor, now=now)
    written = EntryRow.objects.filter(id=entry.id).values_list("record", flat=True).first()
    if written is not None:
        return _sent_twice(entry, ledger.from_record(written), values)
    write(entry, actor=actor)
    return entry


def _sent_twice(entry: Entry, written: Entry, values: Mapping[str, str]) -> Entry:
    """The entry as the book has it, when the same form comes again; a form changed since is told to start afresh."""
    same_time = written if not (values.get("at") or "").strip() else entry
    if msgspec.structs.replace(entry, at=same_time.at) != written:
        raise FormFaults({"": say("This form is in the book already. Open a new one, or replace the entry.")})
    return written


def write(entry: Entry, *, actor: Person) -> None:
    """Write one entry; what the book contradicts becomes FormFaults beside the columns concerned."""
    try:
        actions.record([entry], actor=actor)
    except actions.Refused as refused:
        faults: dict[str, str] = {}
        for misfit in refused.misfits:
            own = misfit.entry == entry.id
            if own:
                faults.setdefault(misfit.column, does_not_fit(misfit.found, misfit.expected))
            else:
                words = say(
                    "A later entry would no longer fit: {found}; expected {expected}.",
                    found=read_back(misfit.found), expected=read_back(misfit.expected),
                )  # fmt: skip
                faults.setdefault("", words)
        raise FormFaults(faults) from refused


def withdraw(entry_id: str, reason: str, *, actor: Person, now: int) -> Entry:
    """Write that an entry never happened. Raises FormFaults without a reason or when later entries rest on it."""
    values = {"deed": "correct", "replaces": entry_id, "note": reason}
    if not reason.strip():
        raise FormFaults({"note": say("Write why the entry is wrong.")})
    return add_entry(values, actor=actor, now=now)


def values_of(entry: Entry, zone: ZoneInfo) -> dict[str, str]:
    """An entry as the values of its form: what `entry_from_form` would read back."""
    values: dict[str, str] = {}
    for name, value in msgspec.to_builtins(entry).items():
        if name in ("id", "person", "extra", "replaces") or value in (None, (), []):
            continue
        values[name] = _plain(value)
    values["at"] = datetime.fromtimestamp(entry.at, zone).strftime("%Y-%m-%dT%H:%M")
    if entry.from_lots:
        values["from_lots"] = "; ".join(entry.from_lots)
    if entry.cv is not None:
        values["cv_pct"] = shown_number(entry.cv * 100, "g")
        values.pop("cv", None)
    if entry.to_place:
        room, stack, level = entry.to_place.rsplit("/", 2)
        values.update(to_room=room, to_stack=stack, to_level=level)
        values.pop("to_place")
    return values


def _plain(value: object) -> str:
    return shown_number(value) if isinstance(value, float) else str(value)
