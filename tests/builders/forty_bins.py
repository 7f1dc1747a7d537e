"""A made-up farm whose round today goes to forty bins: feed and water everywhere, trays to swap in six of them."""

from __future__ import annotations

from chirr.book import actions, ledger
from chirr.desk import people
from chirr.records import Bin, Entry, FarmCard, FarmFolder, Person, Room, TrayType

OWNER = Person(person="Tove", role="owner")
HAND = Person(person="Ilmari", role="hand")
PASSWORD = "moss-under-snow"  # noqa: S105 - of nobody
DAY = 86400
BREEDING, GROWING, FREE = 6, 34, 8
TAPPED = BREEDING + GROWING


def bins() -> list[Bin]:
    """Six breeding bins, 34 grow-out bins, eight empty nursery bins."""
    rows = [(f"S{n + 1}", "birch", n // 3 + 1, n % 3 + 1, "breeding") for n in range(BREEDING)]
    rows += [(f"K{n + 1}", "alder", n // 3 + 1, n % 3 + 1, "grow-out") for n in range(GROWING)]
    rows += [(f"N{n + 1}", "birch", 4 + n // 3, n % 3 + 1, "nursery") for n in range(FREE)]
    return [
        Bin(bin=name, room=room, stack=stack, level=level, duty=duty, floor_cm2=5200.0, hides_cm2=16000.0)
        for name, room, stack, level, duty in rows
    ]


def entries(now: int) -> list[Entry]:
    """Stocked ten days ago, fed and watered three days ago, a tray in each breeding bin for three days."""
    told: list[tuple[float, str, dict[str, object]]] = []
    for n in range(BREEDING):
        name, lot = f"S{n + 1}", f"B{n + 1}"
        told.append(
            (
                9.0,
                "stock",
                {"bin": name, "lot": lot, "quantity": 800.0, "unit": "crickets", "stage": "adult", "age_days": 3.0},
            )
        )
        told.append((3.0, "lay", {"bin": name, "lot": lot, "clutch": f"C{n + 1}", "tray_type": "long"}))
    for n in range(GROWING):
        stocked = {"bin": f"K{n + 1}", "lot": f"G{n + 1}", "quantity": 900.0, "unit": "crickets", "stage": "nymph"}
        told.append((9.0, "stock", {**stocked, "age_days": 12.0}))
    for name in (*(f"S{n + 1}" for n in range(BREEDING)), *(f"K{n + 1}" for n in range(GROWING))):
        told += [(3.0, "feed", {"bin": name}), (3.0, "water", {"bin": name})]
    return [
        Entry(
            id=f"01957000-0000-7000-8001-{i:012d}", at=int(now - days * DAY) + i, person=HAND.person, deed=deed,
            **columns,  # type: ignore[arg-type]
        )
        for i, (days, deed, columns) in enumerate(told)
    ]  # fmt: skip


def found(now: int) -> None:
    """Bring the farm into the book and give both people a sign-in."""
    ledger.forget()
    folder = FarmFolder(
        farm=FarmCard(name="Long Shed", timezone="UTC", swap_days=3, feed_days=3),
        rooms=[Room(room="birch", set_temperature_c=30.0), Room(room="alder", set_temperature_c=30.0)],
        bins=bins(), tray_types=[TrayType(tray_type="long", length_cm=30.0, width_cm=14.0, depth_cm=5.0)],
        people=[OWNER, HAND], entries=entries(now),
    )  # fmt: skip
    actions.found(folder, actor=OWNER)
    for person in (OWNER, HAND):
        people.set_password(person.person, PASSWORD, actor=OWNER)
