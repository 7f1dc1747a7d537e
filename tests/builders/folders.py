"""Made-up farms for property tests: any farm folder that keeps the rules, with the oddest names and notes allowed."""

from __future__ import annotations

import string
import unicodedata
from typing import Any

from hypothesis import strategies as st

from chirr.deeds import DEEDS, Deed
from chirr.records import (
    DUTIES,
    ROLES,
    SPECIES,
    STAGES,
    WEEKDAYS,
    Bin,
    Entry,
    FarmCard,
    FarmFolder,
    Person,
    Reading,
    Room,
    SizeClass,
    TrayType,
)  # fmt: skip

ZONES = ("UTC", "America/Lima", "Asia/Kathmandu", "America/New_York", "Europe/Berlin", "Australia/Lord_Howe")
"""Whole hours, a quarter of an hour, clock changes of an hour and of half an hour."""

FIRST, LAST = 631_152_000, 7_258_118_400
"""1990-01-01 and 2200-01-01 UTC."""

_signs = st.characters(exclude_categories=("Cs", "Cc", "Cn", "Zl", "Zp", "Zs", "Cf", "Co"), include_characters=' ,"#/')
_KNOWN = frozenset(
    name for record in (Bin, Entry, FarmCard, Person, Reading, Room, TrayType) for name in record.__struct_fields__
)


def names(*, without: str = "") -> st.SearchStrategy[str]:
    """Names of things: on one line, no blanks around them, accents composed."""
    plain = st.text(string.ascii_letters + string.digits + "-", min_size=1, max_size=6)
    odd = st.text(_signs, min_size=1, max_size=12).map(lambda text: unicodedata.normalize("NFC", text).strip())
    return st.one_of(plain, odd).filter(
        lambda text: 0 < len(text) <= 60 and text.isprintable() and not set(without) & set(text)
    )


notes = st.text(
    st.characters(exclude_categories=("Cs", "Cc", "Cn"), include_characters='\n\t\r,";#='), min_size=1, max_size=40
).filter(str.strip)
"""Free text, with line breaks, commas and quotation marks."""

_columns_of_the_farm = names().filter(lambda name: name.casefold() not in _KNOWN and not name.startswith("#"))


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    """Numbers as people write them, of at most four decimals."""
    return st.floats(low, high).map(lambda x: min(max(round(x, 4), low), high) + 0.0)


def _some(strategy: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | strategy


@st.composite
def farm_cards(draw: st.DrawFn, *, deep: bool = True) -> FarmCard:
    """Farm cards; `deep` ones have lists and tables among the farm's own keys."""
    simple = st.booleans() | st.integers(-(10**9), 10**9) | notes
    own = (
        st.recursive(simple, lambda s: st.lists(s, max_size=3) | st.dictionaries(names(), s, max_size=3))
        if deep
        else simple
    )
    days = st.integers(1, 30) | st.lists(st.sampled_from(WEEKDAYS), min_size=1, unique=True).map(tuple)
    masses = sorted(draw(st.lists(st.integers(0, 5000), max_size=4, unique=True)))
    classes = draw(st.lists(names(), min_size=len(masses), max_size=len(masses), unique=True))
    return FarmCard(
        name=draw(names()),
        species=draw(st.sampled_from(SPECIES)),
        timezone=draw(st.sampled_from(ZONES)),
        currency=draw(st.sampled_from(("EUR", "PEN", "NPR"))),
        wage_per_hour=draw(numbers(0, 500)),
        swap_days=draw(days),
        feed_days=draw(days),
        substrate_cycles=draw(st.integers(1, 9)),
        size_classes=tuple(SizeClass(name=n, from_mg=m / 4) for n, m in zip(classes, masses, strict=True)),
        extra=draw(st.dictionaries(_columns_of_the_farm, own, max_size=3)),
    )


@st.composite
def farm_folders(draw: st.DrawFn, *, deep: bool = True) -> FarmFolder:
    """Whole farms whose every row keeps the rules of the files; the entries need not tell a true story."""
    own = draw(st.lists(_columns_of_the_farm, max_size=2, unique=True))
    extra = st.dictionaries(st.sampled_from(own), notes, max_size=2) if own else st.just({})
    rooms = [
        Room(
            room=name,
            set_temperature_c=draw(numbers(-30, 60)),
            set_humidity_pct=draw(_some(numbers(0, 100))),
            extra=draw(extra),
        )
        for name in draw(st.lists(names(), min_size=1, max_size=3, unique=True))
    ]
    room = st.sampled_from([r.room for r in rooms])
    bins = [
        Bin(
            bin=name,
            room=draw(room),
            stack=draw(st.integers(1, 9)),
            level=draw(st.integers(1, 9)),
            duty=draw(st.sampled_from(DUTIES)),
            floor_cm2=draw(numbers(1, 20_000)),
            hides_cm2=draw(numbers(0, 90_000)),
            extra=draw(extra),
        )
        for name in draw(st.lists(names(), min_size=1, max_size=3, unique=True))
    ]
    trays = [
        TrayType(
            tray_type=name,
            length_cm=draw(numbers(1, 90)),
            width_cm=9.5,
            depth_cm=6.0,
            clear_side_cm=draw(_some(numbers(0, 90))),
        )
        for name in draw(st.lists(names(), min_size=1, max_size=2, unique=True))
    ]
    people = [
        Person(person=name, role=draw(st.sampled_from(ROLES)), extra=draw(extra))
        for name in draw(st.lists(names(), max_size=3, unique=True))
    ]
    pick = {
        "bin": st.sampled_from([b.bin for b in bins]),
        "room": room,
        "tray_type": st.sampled_from([t.tray_type for t in trays]),
        "person": st.sampled_from([p.person for p in people]) if people else names(),
    }
    readings = st.builds(
        Reading, at=st.integers(FIRST, LAST - 1), room=room, level=_some(st.integers(1, 9)),
        temperature_c=numbers(-30, 60), humidity_pct=_some(numbers(0, 100)), extra=extra,
    )  # fmt: skip
    return FarmFolder(
        farm=draw(farm_cards(deep=deep)),
        rooms=rooms,
        bins=bins,
        tray_types=trays,
        people=people,
        entries=draw(_entries(pick, extra)),
        readings=draw(st.lists(readings, max_size=6, unique_by=lambda r: (r.at, r.room, r.level))),
    )


@st.composite
def _entries(
    draw: st.DrawFn, pick: dict[str, st.SearchStrategy[str]], extra: st.SearchStrategy[dict[str, str]]
) -> list[Entry]:
    entries: list[Entry] = []
    for number in draw(st.lists(st.uuids(), max_size=8, unique=True)):
        deed = draw(st.sampled_from(list(DEEDS.values())))
        if deed.name == "correct" and not entries:
            deed = DEEDS["note"]
        columns = set(draw(st.sampled_from(deed.needs))) | set(draw(st.lists(st.sampled_from(deed.may or ("note",)))))
        cells = {column: draw(_cell(column, deed, pick)) for column in columns if column != "replaces"}
        if "quantity" in cells and "" not in deed.units:
            cells["unit"] = draw(_cell("unit", deed, pick))
        if entries and (deed.name == "correct" or draw(st.booleans())):
            cells |= {"replaces": draw(st.sampled_from(entries)).id, "note": draw(notes)}
        at = draw(
            st.integers(FIRST, LAST - 1) | st.integers(FIRST // 60, LAST // 60 - 1).map(lambda minute: minute * 60)
        )
        person = draw(_some(pick["person"]))
        minutes = draw(_some(numbers(0, 1440)))
        entries.append(
            Entry(id=str(number), at=at, deed=deed.name, person=person, minutes=minutes, extra=draw(extra), **cells)
        )
    return entries


def _cell(column: str, deed: Deed, pick: dict[str, st.SearchStrategy[str]]) -> st.SearchStrategy[Any]:
    small = st.integers(1, 20)
    lot = names(without=";")
    kinds: dict[str, st.SearchStrategy[Any]] = {
        "bin": pick["bin"], "to_bin": pick["bin"], "tray_type": pick["tray_type"],
        "lot": lot, "to_lot": lot, "clutch": names(), "substrate": names(), "cycle": small,
        "to_place": st.builds(lambda room, stack, level: f"{room}/{stack}/{level}", pick["room"], small, small),
        "from_lots": st.lists(lot, min_size=2, max_size=3, unique=True).map(tuple),
        "stage": st.sampled_from(STAGES), "age_days": numbers(0, 400), "quantity": numbers(0.001, 4000),
        "unit": st.sampled_from([unit for unit in deed.units if unit] or ["g"]), "cv": numbers(0.001, 3),
        "sample": st.integers(1, 500), "note": notes,
    }  # fmt: skip
    return kinds[column]
