"""The farm itself: its card and things, changed by forms; what forms may choose from; founding a new farm."""

from __future__ import annotations

import string
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import TypeVar
from zoneinfo import available_timezones

import msgspec
from django.db import transaction

from chirr.book import actions, ledger, shelf
from chirr.desk import people
from chirr.desk.forms import FormFaults, Sheet
from chirr.desk.lengths import mass_of_length
from chirr.desk.spoken import again, say
from chirr.records import (
    DUTIES,
    SPECIES,
    WEEKDAYS,
    Bin,
    Days,
    FarmCard,
    FarmFolder,
    Person,
    Room,
    SizeClass,
    TrayType,
)  # fmt: skip
from chirr.says import word

SPECIES_NAMES: dict[str, str] = dict(
    zip(SPECIES, (word("House cricket"), word("Banded cricket"), word("Two-spotted cricket")), strict=True)
)
KINDS = {"room": word("room"), "bin": word("bin"), "tray_type": word("tray type"), "person": word("person")}
NAMING = {
    "room": (word("Give the room a name."), word("There is a room {name} already.")),
    "bin": (word("Give the bin a name."), word("There is a bin {name} already.")),
    "tray_type": (word("Give the tray type a name."), word("There is a tray type {name} already.")),
}
MOST_ROOMS = 12
PRICES = ("price_per_kg", "feed_price_per_kg", "bin_day_cost")
"""Keys of the farm card for what a kilogram of crickets sells for, what one of feed costs, and what a bin costs in a
day, in the farm's currency; the owner's to know."""
_Thing = TypeVar("_Thing")


class Choices(msgspec.Struct, frozen=True, kw_only=True):
    """What the forms offer: names of things that are there now. `lots` and `clutches` map to where they are."""

    rooms: tuple[str, ...]
    bins: tuple[str, ...]
    lots: dict[str, str]
    breeders: tuple[str, ...]
    clutches: dict[str, str]
    tray_types: tuple[str, ...]
    substrates: tuple[str, ...]
    next_clutch: str
    next_lot: str


def card() -> FarmCard | None:
    """The farm card; None before a farm is set up."""
    return shelf.card()


def rooms() -> list[Room]:
    """The rooms in their order."""
    return shelf.rooms()


def bins() -> list[Bin]:
    """The bins where they stood at first, in their order."""
    return ledger.bins()


def tray_types() -> list[TrayType]:
    """The sizes of laying tray."""
    return shelf.tray_types()


def room(name: str) -> Room:
    """A room by name; LookupError when there is none."""
    return _named(rooms(), "room", name)


def bin_(name: str) -> Bin:
    """A bin by name; LookupError when there is none."""
    return _named(bins(), "bin", name)


def tray_type(name: str) -> TrayType:
    """A tray type by name; LookupError when there is none."""
    return _named(tray_types(), "tray_type", name)


def _named(things: Iterable[_Thing], field: str, name: str) -> _Thing:
    for thing in things:
        if getattr(thing, field) == name:
            return thing
    raise LookupError(say("The farm has no {kind} {name}.", kind=again(KINDS[field]), name=name))


def choices() -> Choices:
    """What a deed's form can offer now."""
    standing = ledger.live()
    lots = standing.live_lots()
    clutches = standing.open_clutches()
    latest = max(standing.clutches.values(), key=lambda c: (c.laid_at, c.name), default=None)
    newest = max(standing.lots.values(), key=lambda lot: (lot.named_at, lot.name), default=None)
    return Choices(
        rooms=tuple(r.room for r in rooms()),
        bins=tuple(standing.bins),
        lots={lot.name: lot.bin or "" for lot in lots},
        breeders=tuple(lot.name for lot in lots if lot.bin and standing.bins[lot.bin].duty == "breeding"),
        clutches={c.name: c.here.bin or f"{c.here.room}/{c.here.stack}/{c.here.level}" for c in clutches},
        tray_types=tuple(t.tray_type for t in tray_types()),
        substrates=tuple(sorted(standing.substrates, key=lambda n: -standing.substrates[n].first_at)[:40]),
        next_clutch=next_name(latest.name if latest else "C0", standing.clutches),
        next_lot=next_name(newest.name if newest else "L0", standing.lots),
    )


def _changed() -> None:
    """The farm is another now: what was believed of it is worked out afresh."""
    from chirr.desk import belief

    belief.forget()


def next_name(latest: str, taken: Iterable[str]) -> str:
    """The name that follows the latest: its last number one higher, until nobody has it.

    >>> next_name("C09", ["C09", "C10"]), next_name("big", ["big"])
    ('C11', 'big-2')
    """
    used = set(taken)
    stem = latest.rstrip(string.digits)
    digits = latest[len(stem) :]
    if not digits:
        stem, digits = f"{latest}-", "1"
    number = int(digits) + 1
    while (name := f"{stem}{number:0{len(digits)}d}") in used:
        number += 1
    return name


@cache
def zones() -> tuple[str, ...]:
    """Time zones by name."""
    return tuple(
        sorted(
            z
            for z in available_timezones()
            if ("/" in z and not z.startswith(("Etc/", "posix/", "right/", "SystemV/"))) or z == "UTC"
        )
    )


def save_card(values: Mapping[str, str], *, actor: Person) -> None:
    """Change name, species, zone, currency, wage, days and cycles of the farm."""
    old = card()
    sheet = Sheet(values)
    fresh = _card(sheet)
    given = {key: sheet.number(key, 0, 1_000_000) for key in PRICES}
    sheet.done()
    classes = old.size_classes if old else ()
    extra = {k: v for k, v in (old.extra if old else {}).items() if k not in PRICES}
    extra |= {key: value for key, value in given.items() if value is not None}
    actions.set_card(msgspec.structs.replace(fresh, size_classes=classes, extra=extra), actor=actor)
    _changed()


def _card(sheet: Sheet) -> FarmCard:
    name = sheet.text("name", say("Give the farm a name."))
    species = sheet.choice("species", SPECIES, say("Choose the species."))
    zone = sheet.text("timezone", say("Choose the time zone, such as Europe/Lisbon."))
    if zone and zone not in zones():
        sheet.faults["timezone"] = say(
            "“{zone}” is not a time zone. Choose one from the list, such as Europe/Lisbon.", zone=zone
        )
    currency = (sheet.text("currency", say("Give the currency, such as EUR.")) or "").upper()
    if currency and not (len(currency) == 3 and currency.isascii() and currency.isalpha()):
        sheet.faults["currency"] = say("Write the currency as three letters, such as EUR.")
    wage = sheet.number("wage_per_hour", 0, 100_000)
    cycles = sheet.whole("substrate_cycles", 1, 20)
    swap, feed = days_from(sheet, "swap"), days_from(sheet, "feed")
    return FarmCard(
        name=name or "", species=species or SPECIES[0], timezone=zone or "UTC", currency=currency or "EUR",
        wage_per_hour=wage or 0.0, swap_days=swap, feed_days=feed, substrate_cycles=cycles or 3,
    )  # fmt: skip


def days_from(sheet: Sheet, stem: str) -> Days:
    """A rhythm: `<stem>_every` days, or, when `<stem>_by` is 'weekdays', those ticked as `<stem>_mon` and so on."""
    if sheet.values.get(f"{stem}_by") == "weekdays":
        ticked = tuple(d for d in WEEKDAYS if sheet.values.get(f"{stem}_{d}"))
        if not ticked:
            sheet.faults[f"{stem}_by"] = say("Tick at least one weekday.")
        return ticked
    return sheet.whole(f"{stem}_every", 1, 60) or 3


PRICED_BY = {"kg": word("a kilogram"), "thousand": word("a thousand")}
"""What a price of a size class is for."""


def save_size_classes(values: Mapping[str, str], *, actor: Person) -> None:
    """Replace the size classes by the rows `name_1`, `from_mg_1` or `from_mm_1`, `name_2`... ; empty rows are left out.

    A class that begins at a body length keeps it as `from_mm` beside the mass of a cricket of that length. `price_1` is
    for what `price_by_1` says, a kilogram or a thousand.
    """
    sheet = Sheet(values)
    old = card()
    if old is None:
        raise LookupError(say("There is no farm yet."))
    classes: list[SizeClass] = []
    for i in range(1, 21):
        name, from_mg = sheet.text(f"name_{i}"), sheet.number(f"from_mg_{i}", 0, 10_000)
        from_mm = sheet.number(f"from_mm_{i}", 0, 100)
        price = sheet.number(f"price_{i}", 0, 1_000_000)
        by_thousand = sheet.values.get(f"price_by_{i}") == "thousand"
        if from_mm is not None:
            from_mg = round(mass_of_length(from_mm, old.species), 1)
        if name is None and from_mg is None and price is None:
            continue
        if name is None:
            sheet.faults.setdefault(f"name_{i}", say("Give this size class a name."))
        elif from_mg is None:
            sheet.faults.setdefault(f"from_mg_{i}", say("Say from which mass or length it begins."))
        elif any(c.name == name for c in classes):
            sheet.faults[f"name_{i}"] = say("There are two classes called {name}.", name=name)
        elif any(c.from_mg == from_mg for c in classes):
            sheet.faults[f"from_mg_{i}"] = say("Another class begins at this size already.")
        else:
            before = next((c.extra for c in old.size_classes if c.name == name), {})
            classes.append(
                SizeClass(
                    name=name, from_mg=from_mg, from_mm=from_mm, price_per_kg=None if by_thousand else price,
                    price_per_thousand=price if by_thousand else None, extra=before,
                )
            )  # fmt: skip
    sheet.done()
    ordered = tuple(sorted(classes, key=lambda c: c.from_mg))
    actions.set_card(msgspec.structs.replace(old, size_classes=ordered), actor=actor)
    _changed()


def save_room(values: Mapping[str, str], *, actor: Person, old: str | None = None) -> str:
    """Add a room, or change the set points of the room called `old`. Returns its name."""
    sheet = Sheet(values)
    name = old or _new_name(sheet, "room", [r.room for r in rooms()])
    temperature = sheet.number("set_temperature_c", 5, 45, say("Give the temperature it is set to."))
    humidity = sheet.number("set_humidity_pct", 0, 100)
    sheet.done()
    extra = room(old).extra if old else {}
    actions.set_room(
        Room(room=name, set_temperature_c=temperature or 0.0, set_humidity_pct=humidity, extra=extra), actor=actor
    )
    _changed()
    return name


def save_bin(values: Mapping[str, str], *, actor: Person, old: str | None = None) -> str:
    """Add a bin, or change duty and surfaces (and, before its first entry, the place) of the bin called `old`."""
    sheet = Sheet(values)
    before = bin_(old) if old else None
    name = old or _new_name(sheet, "bin", [b.bin for b in bins()])
    stands = before if before is not None and has_entries(name) else None
    where = sheet.choice("room", [r.room for r in rooms()], say("Choose the room.")) if stands is None else stands.room
    stack = sheet.whole("stack", 1, 200, say("Give the stack.")) if stands is None else stands.stack
    level = sheet.whole("level", 1, 30, say("Give the level, 1 being the lowest.")) if stands is None else stands.level
    duty = sheet.choice("duty", DUTIES, say("Choose what the bin is for."))
    floor = sheet.number("floor_cm2", 50, 200_000, say("Give the floor's surface."))
    hides = sheet.number("hides_cm2", 0, 2_000_000)
    sheet.done()
    taken = next((b for b in bins() if b.bin != name and (b.room, b.stack, b.level) == (where, stack, level)), None)
    if taken is not None and stands is None:
        raise FormFaults({"level": say("Bin {bin} stands there already.", bin=taken.bin)})
    actions.set_bin(
        Bin(bin=name, room=where or "", stack=stack or 1, level=level or 1, duty=duty or DUTIES[0],
            floor_cm2=floor or 0.0, hides_cm2=hides or 0.0, extra=before.extra if before else {}),
        actor=actor,
    )  # fmt: skip
    _changed()
    return name


def has_entries(bin_name: str) -> bool:
    """Whether the book speaks of a bin, so that only a 'move' may change where it stands."""
    from chirr.book.models import EntryRow

    return EntryRow.objects.filter(bin=bin_name).exists() or EntryRow.objects.filter(to_bin=bin_name).exists()


def save_tray_type(values: Mapping[str, str], *, actor: Person, old: str | None = None) -> str:
    """Add a tray type or change the sizes of the one called `old`."""
    sheet = Sheet(values)
    name = old or _new_name(sheet, "tray_type", [t.tray_type for t in tray_types()])
    length = sheet.number("length_cm", 1, 300, say("Give the length."))
    width = sheet.number("width_cm", 1, 300, say("Give the width."))
    depth = sheet.number("depth_cm", 0.5, 100, say("Give the depth."))
    clear = sheet.number("clear_side_cm", 0, 300)
    sheet.done()
    extra = tray_type(old).extra if old else {}
    actions.set_tray_type(
        TrayType(tray_type=name, length_cm=length or 0.0, width_cm=width or 0.0, depth_cm=depth or 0.0,
                 clear_side_cm=clear, extra=extra),
        actor=actor,
    )  # fmt: skip
    _changed()
    return name


def _new_name(sheet: Sheet, field: str, taken: Sequence[str]) -> str:
    ask, taken_already = NAMING[field]
    name = sheet.text(field, ask)
    if name and name in taken:
        sheet.faults[field] = say(taken_already, name=name)
    if name and "/" in name:
        sheet.faults[field] = say("Leave the stroke (/) out of the name: it separates room, stack and level.")
    return name or ""


# --- founding ----------------------------------------------------------------------------------------------------


def plan_from_form(values: Mapping[str, str]) -> tuple[FarmFolder, dict[str, str]]:
    """The farm that a half-filled set-up form describes so far, with the faults found in it.

    Rooms are rows `room_1`, `temperature_1`, `stacks_1`, `levels_1`, `duty_1`...; surfaces `floor_breeding`,
    `hides_breeding` and so on. Room names give the bins theirs: north becomes N1-1, N1-2...
    """
    sheet = Sheet(values)
    farm = _card(sheet)
    surfaces: dict[str, tuple[float | None, float | None]] = {
        d: (sheet.number(f"floor_{d}", 50, 200_000), sheet.number(f"hides_{d}", 0, 2_000_000)) for d in DUTIES
    }
    places: list[Room] = []
    vessels: list[Bin] = []
    for i in range(1, MOST_ROOMS + 1):
        name = sheet.text(f"room_{i}")
        if name is None:
            continue
        temperature = sheet.number(f"temperature_{i}", 5, 45, say("Give the temperature it is set to."))
        stacks = sheet.whole(f"stacks_{i}", 1, 40, say("Give the number of stacks."))
        levels = sheet.whole(f"levels_{i}", 1, 12, say("Give the number of levels."))
        duty = sheet.choice(f"duty_{i}", DUTIES, say("Choose what its bins are for.")) or DUTIES[0]
        if "/" in name or any(r.room == name for r in places):
            sheet.faults[f"room_{i}"] = say("Give each room a name of its own, without a stroke (/).")
            continue
        initial = _initial(name, {b.bin.rstrip(string.digits + "-") for b in vessels})
        places.append(Room(room=name, set_temperature_c=temperature or 0.0))
        floor, hides = surfaces.get(duty, (None, None))
        if floor is None:
            sheet.faults.setdefault(f"floor_{duty}", say("Give the floor surface of a bin for this duty."))
        vessels += [
            Bin(bin=f"{initial}{s}-{lv}", room=name, stack=s, level=lv, duty=duty, floor_cm2=floor or 0.0,
                hides_cm2=hides or 0.0)
            for s in range(1, min(stacks or 0, 40) + 1) for lv in range(1, min(levels or 0, 12) + 1)
        ]  # fmt: skip
    if not places:
        sheet.faults["room_1"] = say("Name at least one room.")
    return FarmFolder(farm=farm, rooms=places, bins=vessels), sheet.faults


def _initial(name: str, taken: set[str]) -> str:
    """The shortest beginning of a room's name, in capitals, that no other room's bins have."""
    letters = "".join(c for c in name.upper() if c.isalnum()).rstrip(string.digits) or "R"
    for length in range(1, len(letters) + 1):
        if letters[:length] not in taken:
            return letters[:length]
    extra = next(c for c in string.ascii_uppercase if letters + c not in taken)
    return letters + extra


def found_farm(values: Mapping[str, str]) -> Person:
    """Set up a farm from the filled form: card, rooms, bins, the first owner and their password. Raises FormFaults."""
    folder, faults = plan_from_form(values)
    sheet = Sheet(values)
    owner = sheet.text("owner", say("Give your name."))
    password = values.get("password") or ""
    faults = faults | sheet.faults
    if password != (values.get("password_again") or ""):
        faults |= {"password_again": say("The two passwords differ. Type the same one twice.")}
    try:
        people.check_password(password)
    except FormFaults as weak:
        faults |= weak.faults
    if faults:
        raise FormFaults(faults)
    person = Person(person=owner or "", role="owner")
    with transaction.atomic():
        if card() is not None:
            raise FormFaults({"": say("This book holds a farm already.")})
        actions.found(msgspec.structs.replace(folder, people=[person]), actor=person)
        people.set_password(person.person, password, actor=person)
    return person
