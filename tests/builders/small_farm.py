"""A small made-up farm for the tests of the pages: two rooms, six bins, breeders, a clutch of each state, two lots."""

from __future__ import annotations

from datetime import UTC, datetime

from chirr.book import actions, ledger
from chirr.desk import people
from chirr.records import Bin, Entry, FarmCard, FarmFolder, Person, Reading, Room, SizeClass, TrayType

OWNER = Person(person="Aoife", role="owner")
HAND = Person(person="Bram", role="hand")
READER = Person(person="Chidi", role="reader")
PASSWORD = "wings-at-dusk"  # noqa: S105 - of nobody
HOUR, DAY = 3600, 86400
START = int(datetime(2027, 3, 1, 7, 0, tzinfo=UTC).timestamp())
"""A Monday, seven in the morning in Dublin."""
NOW = START + 30 * DAY + 2 * HOUR


def entry_id(number: int) -> str:
    """A UUIDv7-shaped id that is the same in every run."""
    return f"01957000-0000-7000-8000-{number:012d}"


def day(number: float, hour: float = 0.0) -> int:
    """Epoch seconds, days and hours after START."""
    return int(START + number * DAY + hour * HOUR)


def entries(later_s: int = 0) -> list[Entry]:
    """Thirty days of work, all of it `later_s` seconds later if so asked."""
    rows: list[tuple[float, str, str, dict[str, object]]] = [
        (
            0,
            "Aoife",
            "stock",
            {"bin": "E1-1", "lot": "B1", "quantity": 900.0, "unit": "crickets", "stage": "adult", "age_days": 4.0},
        ),
        (
            0.01,
            "Bram",
            "lay",
            {"bin": "E1-1", "lot": "B1", "clutch": "C1", "tray_type": "slim", "substrate": "peat-1", "cycle": 1},
        ),
        (3, "Bram", "pull", {"clutch": "C1", "to_bin": "W1-1", "to_lot": "G1", "minutes": 3.0}),
        (
            3.01,
            "Bram",
            "lay",
            {"bin": "E1-1", "lot": "B1", "clutch": "C2", "tray_type": "slim", "substrate": "peat-1", "cycle": 1},
        ),
        (3.02, "Bram", "count", {"clutch": "C1", "quantity": 2100.0, "unit": "eggs", "cv": 0.2}),
        (6, "Bram", "pull", {"clutch": "C2", "to_place": "west/2/2"}),
        (15, "Aoife", "hatch", {"clutch": "C1", "bin": "W1-1"}),
        (20, "Aoife", "empty", {"clutch": "C1", "bin": "W1-1", "note": "reused"}),
        (20.1, "Bram", "feed", {"bin": "W1-1", "quantity": 120.0, "unit": "g", "minutes": 1.5}),
        (27, "Bram", "lay", {"bin": "E1-1", "lot": "B1", "clutch": "C3", "tray_type": "slim"}),
        (28, "Bram", "weigh", {"lot": "G1", "bin": "W1-1", "sample": 60, "quantity": 1.3, "unit": "g"}),
        (28.1, "Bram", "note", {"bin": "E1-2", "note": "latch is loose"}),
    ]
    return [
        Entry(id=entry_id(i + 1), at=day(at) + later_s, person=person, deed=deed, **columns)  # type: ignore[arg-type]
        for i, (at, person, deed, columns) in enumerate(rows)
    ]


def folder(later_s: int = 0) -> FarmFolder:
    """The farm as plain records."""
    return FarmFolder(
        farm=FarmCard(
            name="Low Barn",
            timezone="Europe/Dublin",
            currency="EUR",
            wage_per_hour=9173.61,
            swap_days=3,
            feed_days=3,
            size_classes=(
                SizeClass(name="tiny", from_mg=0.0),
                SizeClass(name="middling", from_mg=80.0),
                SizeClass(name="big", from_mg=250.0),
            ),
        ),
        rooms=[
            Room(room="east", set_temperature_c=30.0, set_humidity_pct=55.0),
            Room(room="west", set_temperature_c=31.0),
        ],
        bins=[
            Bin(bin="E1-1", room="east", stack=1, level=1, duty="breeding", floor_cm2=5200.0, hides_cm2=16000.0),
            Bin(bin="E1-2", room="east", stack=1, level=2, duty="breeding", floor_cm2=5200.0, hides_cm2=16000.0),
            Bin(bin="W1-1", room="west", stack=1, level=1, duty="nursery", floor_cm2=5200.0, hides_cm2=8000.0),
            Bin(bin="W1-2", room="west", stack=1, level=2, duty="nursery", floor_cm2=5200.0, hides_cm2=8000.0),
            Bin(bin="W2-1", room="west", stack=2, level=1, duty="grow-out", floor_cm2=5200.0, hides_cm2=20000.0),
        ],
        tray_types=[TrayType(tray_type="slim", length_cm=28.0, width_cm=12.0, depth_cm=5.0)],
        people=[OWNER, HAND, READER],
        entries=entries(later_s),
        readings=[Reading(at=day(29, h) + later_s, room="east", level=1, temperature_c=29.8) for h in range(0, 24, 6)],
    )


def found(*, passwords: bool = False, later_s: int = 0) -> None:
    """Bring the farm into the book and give each person a sign-in."""
    ledger.forget()
    actions.found(folder(later_s), actor=OWNER)
    for person in (OWNER, HAND, READER):
        if passwords:
            people.set_password(person.person, PASSWORD, actor=OWNER)
        else:
            people.ensure_user(person.person)
