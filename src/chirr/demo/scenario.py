"""The made-up farm: an old cheese dairy in a valley that does not exist. Every name and number here is invented.

`Nature` is what its crickets really do, which nobody on the farm knows; `Habits` is how its people work.
"""

from __future__ import annotations

from dataclasses import dataclass

from chirr.records import Bin, FarmCard, Person, Room, SizeClass, TrayType

ZONE = "Europe/Zurich"
OWNER, HAND, READER = "Marit", "Joss", "Ottilie"


@dataclass(frozen=True, kw_only=True)
class RoomPlan:
    """A room of the dairy: how it is built, and how its air behaves."""

    name: str
    letter: str
    duty: str
    stacks: int
    levels: int
    floor_cm2: float
    hides_cm2: float
    set_c: float
    humidity_pct: float
    per_level_c: float
    """How much warmer each level is than the one below."""
    daily_c: float
    seasonal_c: float


VAT = RoomPlan(
    name="vat room", letter="V", duty="breeding", stacks=3, levels=3, floor_cm2=6400, hides_cm2=14000,
    set_c=30.5, humidity_pct=52, per_level_c=0.5, daily_c=0.5, seasonal_c=0.4,
)  # fmt: skip
PRESS = RoomPlan(
    name="press room", letter="P", duty="nursery", stacks=4, levels=6, floor_cm2=2600, hides_cm2=5600,
    set_c=31.0, humidity_pct=62, per_level_c=0.3, daily_c=0.4, seasonal_c=0.3,
)  # fmt: skip
CELLAR = RoomPlan(
    name="ripening cellar", letter="C", duty="grow-out", stacks=5, levels=5, floor_cm2=5200, hides_cm2=9800,
    set_c=29.0, humidity_pct=55, per_level_c=0.35, daily_c=0.2, seasonal_c=0.3,
)  # fmt: skip
LOFT = RoomPlan(
    name="butter loft", letter="L", duty="grow-out", stacks=4, levels=3, floor_cm2=9600, hides_cm2=17000,
    set_c=29.5, humidity_pct=48, per_level_c=0.7, daily_c=0.9, seasonal_c=0.8,
)  # fmt: skip
ROOMS: tuple[RoomPlan, ...] = (VAT, PRESS, CELLAR, LOFT)


@dataclass(frozen=True, kw_only=True)
class Nature:
    """What the crickets of this farm really do. Speeds are relative to the published clocks."""

    species: str = "acheta-domesticus"
    egg_speed: float = 1 / 1.06
    egg_cv: float = 0.055
    nymph_speed: float = 1.08
    nymph_cv: float = 0.11
    hatch_share: float = 0.71
    hatch_logit_sd: float = 0.35
    later_cycle_share: float = 0.9
    """What a further use of the substrate leaves of the hatch."""
    recovered_share: float = 0.21
    """Of the eggs that a well-kept female would lay, those that come to stand in the tray."""
    laying_log_sd: float = 0.22
    tray_capacity_per_cm2: float = 34.0
    egg_eating_per_day2: float = 0.03
    hatchling_mg: float = 0.85
    adult_mg: float = 335.0
    growth_exponent: float = 0.9
    mass_cv: float = 0.21
    size_slope_per_c: float = 0.05
    to_day14: float = 0.72
    day14_to_adult: float = 0.87
    day14_clock: float = 1 / 3
    early_loss_shape: float = 0.6
    adult_life_days: float = 42.0
    lot_speed_sd: float = 0.025
    lot_size_sd: float = 0.045
    lot_frail_sd: float = 0.3


@dataclass(frozen=True, kw_only=True)
class Habits:
    """How the people of the dairy work. Weekdays count from Monday = 0."""

    swap_days: tuple[int, ...] = (0, 2, 4)
    feed_days: tuple[int, ...] = (1, 4)
    weigh_day: int = 3
    harvest_days: tuple[int, ...] = (1, 3)
    clean_days: tuple[int, ...] = (1, 3, 5)
    substrate_cycles: int = 2
    breeders_per_bin: int = 300
    trays_per_nursery: int = 4
    rack_days: int = 9
    """A tray waits on the rack until it is this old."""
    no_hatch_days: int = 21
    thin_at_days: int = 18
    crickets_per_cm2: float = 0.17
    harvest_from_mg: float = 275.0
    first_tray_days: float = 6.5
    """Adult days before breeders get their first tray."""
    retire_at_adult_days: float = 33.0
    fills_per_batch: int = 22
    tray_types: tuple[str, ...] = ("loaf", "sheet")
    weekend_look: float = 0.7
    diary_weeks: int = 13
    """In the last so many weeks every feed and water is written down."""
    diary_share: float = 0.12
    """Before that, this share of them."""


TRAYS: tuple[TrayType, ...] = (
    TrayType(tray_type="loaf", length_cm=22.0, width_cm=11.0, depth_cm=6.0, clear_side_cm=22.0),
    TrayType(tray_type="sheet", length_cm=36.0, width_cm=20.0, depth_cm=4.5),
)

PEOPLE: tuple[Person, ...] = (
    Person(person=OWNER, role="owner"),
    Person(person=HAND, role="hand"),
    Person(person=READER, role="reader"),
)

_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def farm_card(habits: Habits) -> FarmCard:
    """The card of the farm."""
    return FarmCard(
        name="The Old Dairy, Tarvenna",
        timezone=ZONE,
        currency="CHF",
        wage_per_hour=29.5,
        swap_days=tuple(_WEEKDAYS[d] for d in habits.swap_days),
        feed_days=tuple(_WEEKDAYS[d] for d in habits.feed_days),
        substrate_cycles=habits.substrate_cycles,
        size_classes=(
            SizeClass(name="dust", from_mg=0.0),
            SizeClass(name="crumb", from_mg=6.0),
            SizeClass(name="bean", from_mg=45.0),
            SizeClass(name="half", from_mg=130.0),
            SizeClass(name="full", from_mg=270.0),
        ),
    )


def rooms() -> list[Room]:
    """The rooms with their set points."""
    return [Room(room=r.name, set_temperature_c=r.set_c, set_humidity_pct=r.humidity_pct) for r in ROOMS]


def stacks_of(room: RoomPlan, factor: float) -> int:
    """Stacks of a room on a farm `factor` times as large."""
    return max(1, round(room.stacks * factor))


def bins(factor: float = 1.0) -> list[Bin]:
    """Every bin where it stands at first, named by its room's letter, its stack and its level."""
    return [
        Bin(
            bin=f"{r.letter}{stack}-{level}", room=r.name, stack=stack, level=level, duty=r.duty,
            floor_cm2=r.floor_cm2, hides_cm2=r.hides_cm2,
        )
        for r in ROOMS
        for stack in range(1, stacks_of(r, factor) + 1)
        for level in range(1, r.levels + 1)
    ]  # fmt: skip
