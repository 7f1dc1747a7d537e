"""An invented small farm for the tests of the round, built from records through the book's own actions."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from uuid_utils.compat import uuid7

from chirr.book import actions, ledger
from chirr.book.standing import Standing
from chirr.desk.shapes import Band, Beliefs, ClutchBelief, LotBelief
from chirr.records import Bin, Entry, FarmCard, FarmFolder, Person, Room, TrayType

TZ = ZoneInfo("Europe/Lisbon")
OWNER = Person(person="ines", role="owner")
HAND = Person(person="davi", role="hand")
READER = Person(person="olga", role="reader")
MONDAY = date(2031, 3, 3)
DAY_S = 86400.0


def at(day: date | int, hour: float = 8.0) -> int:
    """A time on a day at the farm; a number counts days from the first Monday."""
    day = MONDAY + timedelta(days=day) if isinstance(day, int) else day
    return int((datetime(day.year, day.month, day.day, tzinfo=TZ) + timedelta(hours=hour)).timestamp())


def entry(day: date | int, deed: str, hour: float = 8.0, **columns: object) -> Entry:
    """An entry by the hand of the farm."""
    return Entry(id=str(uuid7()), at=at(day, hour), deed=deed, person=HAND.person, **columns)  # type: ignore[arg-type]


def card(**more: object) -> FarmCard:
    """The farm's card, with other days where asked for."""
    return FarmCard(name="Vale Torto", timezone=TZ.key, **{"swap_days": 3, "feed_days": 3, **more})  # type: ignore[arg-type]


BINS = [
    Bin(bin="P1", room="pine", stack=1, level=1, duty="breeding", floor_cm2=8000, hides_cm2=20000),
    Bin(bin="P2", room="pine", stack=1, level=2, duty="breeding", floor_cm2=8000, hides_cm2=20000),
    Bin(bin="P3", room="pine", stack=2, level=1, duty="nursery", floor_cm2=5000, hides_cm2=9000),
    Bin(bin="P4", room="pine", stack=2, level=4, duty="nursery", floor_cm2=5000, hides_cm2=9000),
    Bin(bin="A1", room="ash", stack=1, level=1, duty="grow-out", floor_cm2=9000, hides_cm2=26000),
    Bin(bin="A2", room="ash", stack=2, level=1, duty="grow-out", floor_cm2=9000, hides_cm2=26000),
    Bin(bin="A3", room="ash", stack=2, level=2, duty="nursery", floor_cm2=5000, hides_cm2=9000),
]  # fmt: skip

FIRST_WEEK = [
    entry(-3, "stock", bin="P1", lot="B1", quantity=3000.0, unit="crickets", stage="adult", age_days=9.0),
    entry(-3, "stock", 8.1, bin="P2", lot="B2", quantity=2500.0, unit="crickets", stage="adult", age_days=9.0),
    entry(-3, "stock", 8.2, bin="A1", lot="G1", quantity=4000.0, unit="crickets", stage="nymph", age_days=20.0),
    *(entry(-3, "feed", 9 + n / 10, bin=b) for n, b in enumerate(("P1", "P2", "A1"))),
    *(entry(-3, "water", 9.5 + n / 10, bin=b) for n, b in enumerate(("P1", "P2", "A1"))),
    entry(-3, "lay", 10, bin="P1", lot="B1", clutch="T1", tray_type="flat", substrate="mix-1", cycle=1),
    entry(-3, "lay", 10.1, bin="P2", lot="B2", clutch="T2", tray_type="deep", substrate="mix-1", cycle=1),
]


def build(entries: list[Entry] | None = None, *, bins: list[Bin] | None = None, **days: object) -> None:
    """Bring the farm into the book."""
    folder = FarmFolder(
        farm=card(**days),
        rooms=[Room(room="pine", set_temperature_c=30.0), Room(room="ash", set_temperature_c=29.0)],
        bins=BINS if bins is None else bins,
        tray_types=[
            TrayType(tray_type="flat", length_cm=30, width_cm=20, depth_cm=4),
            TrayType(tray_type="deep", length_cm=20, width_cm=20, depth_cm=8),
        ],
        people=[OWNER, HAND, READER],
        entries=FIRST_WEEK if entries is None else entries,
    )
    actions.found(folder, actor=OWNER)


def band(middle: float, spread: float) -> Band:
    """A band about a middle, `spread` to its 5 and 95 % ends."""
    return Band(tuple(middle + spread * z for z in (-1.0, -0.8, -0.4, 0.0, 0.4, 0.8, 1.0)))


def believe(standing: Standing | None = None, now: int | None = None) -> Beliefs:
    """A belief made by hand: first pinheads 13 +- 1.5 days after laying, half hatched a day later, adult at 45 days."""
    s = standing or ledger.live()
    now = s.at if now is None else now
    clutches = {
        c.name: ClutchBelief(
            clutch=c.name, eggs=band(4000, 1500), pinheads=band(2500, 1200),
            first_pinheads=band(c.laid_at + 13 * DAY_S, 1.5 * DAY_S),
            expected_first=band(c.laid_at + 13 * DAY_S, 1.5 * DAY_S),
            half_hatched=band((c.hatched_at or c.laid_at + 13 * DAY_S) + DAY_S, 1.5 * DAY_S),
            bin=c.here.bin, lot=c.to_lot,
        )
        for c in s.open_clutches()
    }  # fmt: skip
    lots = {}
    for lot in s.live_lots():
        alive = next((f.quantity for f in reversed(lot.facts) if f.kind in ("stock", "count")), None) or 2500.0
        surface = s.bins[lot.bin].floor_cm2 + s.bins[lot.bin].hides_cm2 if lot.bin else 1.0
        began = lot.began_at or now
        age = (lot.age_days or 0.0) + (45.0 if lot.stage == "adult" else 0.0) + (now - began) / DAY_S
        lots[lot.name] = LotBelief(
            lot=lot.name, bin=lot.bin, alive=band(alive, alive / 5), mean_mg=band(200, 60),
            per_cm2=band(alive / surface, alive / surface / 5), progress=min(age / 45, 1.0),
            adult_days=max(age - 45, 0.0), size_class="", harvest_ready=band(began + (50 - age) * DAY_S, 3 * DAY_S),
            kg_at_ready=None, waiting=lot.began_at is None,
        )  # fmt: skip
    return Beliefs(as_of=now, clutches=clutches, lots=lots)
