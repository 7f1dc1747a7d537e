"""The trade's round: about an hour for two rooms, three times a week.

All figures here are common practice with no published source: two rooms in container-sized boxes 2.4-2.6 m tall,
stacks four high; trays swapped on the third day; about 5,000 adults to a breeding bin with a floor of about one
square metre; feeding every third day; three uses of coir. A round of feed, water and trays for the two rooms takes
one person about an hour, three times a week. The number of bins is not among those facts: three stacks to a room,
a third of the bins breeding, is what such a room holds. The farm is built from records through the book, believed
by the desk's own belief, and its rounds are done by tapping them.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from uuid_utils.compat import uuid7

from chirr.book import actions, ledger
from chirr.desk import belief, clock
from chirr.desk import round as desk_round
from chirr.desk.shapes import Beliefs, RoundSheet
from chirr.records import Bin, Entry, FarmCard, FarmFolder, Person, Room, TrayType

pytestmark = pytest.mark.django_db

OWNER = Person(person="mira", role="owner")
TZ = ZoneInfo("Europe/Oslo")
MONDAY = date(2031, 9, 1)
ROUND_DEEDS = ("feed", "water", "pull", "lay")
ADULTS = 5000.0
FLOOR_CM2 = 10_000.0
ABOUT_AN_HOUR = (45.0, 75.0)


@pytest.fixture(autouse=True)
def _forget(db: None) -> Iterator[None]:
    ledger.forget()
    yield
    ledger.forget()


def at(day: int, hour: float = 8.0) -> int:
    midnight = datetime.combine(MONDAY + timedelta(days=day), datetime.min.time(), TZ)
    return int((midnight + timedelta(hours=hour)).timestamp())


def entry(day: int, deed: str, hour: float = 8.0, **columns: object) -> Entry:
    return Entry(id=str(uuid7()), at=at(day, hour), deed=deed, person="mira", **columns)  # type: ignore[arg-type]


def bins() -> list[Bin]:
    """Two rooms of three stacks, four high: eight bins breeding, eight nursery, eight grow-out."""
    duties = ("breeding", "nursery", "grow-out")
    return [
        Bin(bin=f"{room[0]}{stack}{level}", room=room, stack=stack, level=level, duty=duties[(stack + level) % 3],
            floor_cm2=FLOOR_CM2, hides_cm2=26_000)
        for room in ("outer", "inner") for stack in (1, 2, 3) for level in (1, 2, 3, 4)
    ]  # fmt: skip


def first_entries(things: list[Bin]) -> list[Entry]:
    """The Friday before: breeders lay, crickets grow in all other bins but two nurseries, all were just cared for."""
    entries = []
    stages = {
        "breeding": ("adult", 9.0, ADULTS),
        "nursery": ("pinhead", 4.0, 6000.0),
        "grow-out": ("nymph", 20.0, 3500.0),
    }
    spare = [b.bin for b in things if b.duty == "nursery"][:2]
    for b in (b for b in things if b.bin not in spare):
        stage, age_days, crickets = stages[b.duty]
        entries.append(entry(-6, "stock", bin=b.bin, lot=f"L-{b.bin}", quantity=crickets, unit="crickets", stage=stage,
                             age_days=age_days))  # fmt: skip
        entries += [entry(-3, "feed", 9, bin=b.bin), entry(-3, "water", 9.1, bin=b.bin)]
        if b.duty == "breeding":
            old = {"bin": b.bin, "lot": f"L-{b.bin}", "tray_type": "wide", "substrate": "coir-1"}
            entries += [
                entry(-6, "lay", 9, clutch=f"c-{b.bin}-1", cycle=1, **old),
                entry(-3, "pull", 8, clutch=f"c-{b.bin}-1", to_place=f"{b.room}/4/2"),
                entry(-3, "lay", 8.1, clutch=f"c-{b.bin}-2", cycle=2, **old),
            ]
    return entries


def build(days: int | tuple[str, ...]) -> None:
    things = bins()
    card = FarmCard(name="Two boxes", timezone=TZ.key, swap_days=days, feed_days=days, substrate_cycles=3)
    folder = FarmFolder(
        farm=card, bins=things, people=[OWNER], entries=first_entries(things),
        rooms=[Room(room="outer", set_temperature_c=30.0), Room(room="inner", set_temperature_c=30.0)],
        tray_types=[TrayType(tray_type="wide", length_cm=40, width_cm=30, depth_cm=6)],
    )  # fmt: skip
    actions.found(folder, actor=OWNER)


def believed() -> Beliefs:
    """The desk's belief now; few draws, for only the likely dates matter here."""
    return belief.foresee(days=30, draws=60).beliefs


def tap(sheet: RoundSheet, beliefs: Beliefs) -> tuple[float, int]:
    """Do the feed, water and trays of a sheet; the minutes they take with the walk between them, and how many."""
    items = [i for s in sheet.stops for i in s.items if i.deed in ROUND_DEEDS and i.urgency != "soon"]
    assert all(not i.asks for i in items)
    if not items:
        return 0.0, 0
    assert desk_round.do([i.key for i in items], actor=OWNER, beliefs=beliefs)
    return sum(i.minutes for i in items) + sheet.walking_minutes, len(items)


@pytest.mark.parametrize(
    ("days", "expected"),
    [(("mon", "wed", "fri"), {0, 2, 4, 7, 9, 11}), (3, {0, 3, 6, 9, 12})],
    ids=["mwf", "third-day"],
)
def test_a_round_of_feed_water_and_trays_for_two_rooms_takes_about_an_hour(
    days: int | tuple[str, ...], expected: set[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    build(days)
    took = {}
    for day in range(14):
        monkeypatch.setattr(clock, "now", lambda day=day: at(day))
        beliefs = believed()
        minutes, n = tap(desk_round.round_sheet(beliefs=beliefs), beliefs)
        if n:
            took[day] = minutes
    assert set(took) == expected
    low, high = ABOUT_AN_HOUR
    assert all(low <= minutes <= high for minutes in took.values()), took


def test_that_hour_is_within_a_persons_reach_and_half_an_hour_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    build(3)
    monkeypatch.setattr(clock, "now", lambda: at(0))
    beliefs = believed()
    sheet = desk_round.round_sheet(minutes_each=75.0, beliefs=beliefs)
    cares = {i.key for s in sheet.stops for i in s.items if i.deed in ROUND_DEEDS}
    assert len(cares) == 22 * 2 + 8 * 2
    assert not [i for s in sheet.stops for i in s.items if i.key in cares and not s.within_reach]
    assert desk_round.round_sheet(minutes_each=30.0, beliefs=beliefs).left_over > 0
