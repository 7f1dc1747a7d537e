"""The answers of the desk: what pages, command line and prints are given to show.

Plain data, with no behaviour beyond reading it.

A figure that is not certain is a `Band`: its quantiles at `QUANTILES`, never a single number.
"""

from __future__ import annotations

from typing import Any

import msgspec

QUANTILES: tuple[float, ...] = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)


class Band(msgspec.Struct, frozen=True):
    """A figure with its uncertainty: values at QUANTILES. For times the values are epoch seconds."""

    q: tuple[float, ...]

    @property
    def mid(self) -> float:
        return self.q[3]

    @property
    def low(self) -> float:
        """Lower end of the 80 % band."""
        return self.q[1]

    @property
    def high(self) -> float:
        """Upper end of the 80 % band."""
        return self.q[5]


# --- belief, as the round, the racks and the trays need it -------------------------------------------------------


class ClutchBelief(msgspec.Struct, frozen=True, kw_only=True):
    """What is believed of one open clutch."""

    clutch: str
    eggs: Band
    first_pinheads: Band
    half_hatched: Band
    pinheads: Band
    expected_first: Band
    """First pinheads as expected before anybody looked in vain: what 'overdue' is measured against."""
    bin: str | None = None
    lot: str | None = None


class LotBelief(msgspec.Struct, frozen=True, kw_only=True):
    """What is believed of one living lot now, and when it is ready. `per_cm2` is crickets per cm2 of floor and hides.

    `progress` is the developed share of the way from hatch to adult (1 = adult); `adult_days` the age as an adult.
    """

    lot: str
    bin: str | None
    alive: Band
    mean_mg: Band
    per_cm2: Band
    progress: float
    adult_days: float
    size_class: str
    harvest_ready: Band | None
    kg_at_ready: Band | None
    waiting: bool = False
    """True while all its clutches are still to hatch."""


class Follower(msgspec.Struct, frozen=True, kw_only=True):
    """A growing lot that could take over from breeders: when it would lay, and the chance that it does so in time."""

    lot: str
    bin: str | None
    lays: Band
    in_time: float


class Retirement(msgspec.Struct, frozen=True, kw_only=True):
    """When a breeding lot has had its day, the earliest of three: eggs below half of their peak, a fresh lot better,
    and its own last trays below half of the best one (`trays_share`). `follower` is the one advised, if any."""

    lot: str
    half_of_peak: Band
    better_renewed: Band
    retire: Band
    trays_share: float | None
    follower: Follower | None


class Beliefs(msgspec.Struct, frozen=True, kw_only=True):
    """Belief in every open clutch and living lot at `as_of`; `remarks` say what it rests on."""

    as_of: int
    clutches: dict[str, ClutchBelief]
    lots: dict[str, LotBelief]
    remarks: tuple[str, ...] = ()
    sharpen: dict[str, str] = {}
    """The few lots of which a weighing today would narrow the forecast most, each with why."""
    retire: dict[str, Retirement] = {}
    """Breeding lots, by when they have had their day."""
    behind: bool = False
    """True while only what the newest entries touch is believed anew, and all else is to follow."""
    waits: bool = False
    """True while not even that: they touch so much at once that it is believed anew with all else."""


# --- the round ---------------------------------------------------------------------------------------------------


class RoundItem(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to do. `key` is stable through the day; `prefill` are the columns of the entry that doing it writes.

    `asks` names columns that a person must still fill (then it opens a form instead of being done by one tap).
    `urgency` is one of due, open (a window has begun), overdue, soon, optional.
    """

    key: str
    deed: str
    what: str
    why: str
    minutes: float
    urgency: str
    bin: str | None = None
    lot: str | None = None
    clutch: str | None = None
    prefill: dict[str, str] = {}
    asks: tuple[str, ...] = ()


class RoundStop(msgspec.Struct, frozen=True, kw_only=True):
    """One place on the walk: a bin, or a rack place, with all there is to do at it."""

    key: str
    group: str
    """hatching, nursery, grow-out, breeding or sick: clean before dirty"""
    room: str
    stack: int
    level: int
    bin: str | None
    duty: str | None
    items: tuple[RoundItem, ...]
    minutes: float
    within_reach: bool = True
    """Whether the people of today get to it in their time."""


class RoundSheet(msgspec.Struct, frozen=True, kw_only=True):
    """The round of one day, in walking order."""

    day: str
    """ISO date in the farm's zone."""
    as_of: int
    stops: tuple[RoundStop, ...]
    minutes: float
    """All items and the walking between them."""
    walking_minutes: float
    hands: int
    minutes_each: float
    finished_minutes: float
    """Minutes of the part that the people of today finish."""
    left_over: int
    """Number of items that they do not get to."""
    done_today: int
    """Entries already written today."""
    remarks: tuple[str, ...] = ()


# --- racks -------------------------------------------------------------------------------------------------------


class BinTile(msgspec.Struct, frozen=True, kw_only=True):
    """A bin as it is drawn in its stack."""

    bin: str
    duty: str
    room: str
    stack: int
    level: int
    state: str
    """empty, to clean, breeding, hatching, growing, ready"""
    lot: str | None
    says: str
    """One short line: how many, how far along."""
    progress: float | None
    """0..1 of the way through this stay"""
    next_due: str | None
    trouble: str | None
    trays: int = 0


class RackLevel(msgspec.Struct, frozen=True, kw_only=True):
    """One height in a stack (1 = lowest); several bins only when they are recorded at the same place."""

    level: int
    bins: tuple[BinTile, ...]
    temperature_c: float | None
    """Latest measured there, if any."""


class RackStack(msgspec.Struct, frozen=True, kw_only=True):
    """One column of a room, levels from the highest to the lowest, as it is drawn."""

    stack: int
    levels: tuple[RackLevel, ...]


class RackRoom(msgspec.Struct, frozen=True, kw_only=True):
    """A room as it stands."""

    room: str
    set_temperature_c: float
    temperature_c: float | None
    temperature_says: str
    stacks: tuple[RackStack, ...]
    racked_clutches: tuple[str, ...] = ()
    """Clutches waiting on a hatch rack in this room."""


# --- one bin, lot, clutch ----------------------------------------------------------------------------------------


class StoryLine(msgspec.Struct, frozen=True, kw_only=True):
    """One entry as a sentence."""

    id: str
    at: int
    person: str | None
    deed: str
    says: str
    standing: str = ""
    """'' for a fact that stands; otherwise 'replaced', 'withdrawn' or 'does not fit: ...'"""
    bin: str | None = None
    lot: str | None = None
    clutch: str | None = None
    by: str | None = None
    """The entry that replaced or withdrew this one."""
    doubt: str = ""
    """Why it counts for little in what is believed, where the search was for such entries."""


class Coming(msgspec.Struct, frozen=True, kw_only=True):
    """Something expected: when, with its band, and what."""

    what: str
    when: Band
    amount: Band | None = None
    unit: str = ""


class Chart(msgspec.Struct, frozen=True, kw_only=True):
    """A chart: its title, its specification (Vega-Lite as a plain dictionary) and the same figures as a table."""

    key: str
    title: str
    spec: dict[str, Any]
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


class ThingPage(msgspec.Struct, frozen=True, kw_only=True):
    """The page of a bin, a lot or a clutch."""

    kind: str
    """bin, lot or clutch"""
    name: str
    tile: BinTile | None
    facts: tuple[tuple[str, str], ...]
    """Plain facts as (label, value)."""
    lots: tuple[LotBelief, ...]
    clutches: tuple[ClutchBelief, ...]
    coming: tuple[Coming, ...]
    charts: tuple[Chart, ...]
    story: tuple[StoryLine, ...]
    story_total: int
    cautions: tuple[str, ...] = ()
    behind: bool = False
    """True while charts and sums are a few entries behind what is believed now."""
    overdue: dict[str, str] = {}
    """Of its clutches, those that should have hatched by now, each with the words for it."""


# --- trays -------------------------------------------------------------------------------------------------------


class ClutchRow(msgspec.Struct, frozen=True, kw_only=True):
    """A clutch on the Trays page. state: laying, waiting, window open, hatching, overdue, hatched, emptied."""

    clutch: str
    state: str
    tray_type: str
    laid_at: int
    days_in: float | None
    place: str
    bin: str | None
    breeders: str
    lot: str | None
    substrate: str | None
    cycle: int | None
    belief: ClutchBelief | None
    hatched_at: int | None
    emptied_at: int | None
    overdue: str | None = None
    """That it should have hatched by now, in words."""


class SubstrateRow(msgspec.Struct, frozen=True, kw_only=True):
    """A substrate batch: trays in each cycle of use, and whether its uses are spent."""

    substrate: str
    first_at: int
    trays_by_cycle: tuple[tuple[int, int], ...]
    in_use: int
    uses_left: int
    says: str


class TraysView(msgspec.Struct, frozen=True, kw_only=True):
    """The Trays page."""

    clutches: tuple[ClutchRow, ...]
    substrates: tuple[SubstrateRow, ...]
    as_of: int


# --- ahead -------------------------------------------------------------------------------------------------------


class AheadView(msgspec.Struct, frozen=True, kw_only=True):
    """The Ahead page."""

    as_of: int
    size_classes: tuple[str, ...]
    charts: tuple[Chart, ...]
    hatches: tuple[ClutchBelief, ...]
    overdue: dict[str, str]
    """Of these, the clutches that should have hatched by now, each with the words for it."""
    harvests: tuple[LotBelief, ...]
    behind: bool
    """True while entries have come that are not looked ahead from yet."""
    remarks: tuple[str, ...]
    """What the figures rest on, and what they leave out."""


class Promise(msgspec.Struct, frozen=True, kw_only=True):
    """The answer to 'can I promise this?': a chance, never a yes."""

    amount: float
    unit: str
    size_class: str
    day: str
    chance: float
    there: Band
    """How much of that class (or larger, if so asked) there will be that day."""
    says: str
    safe_amount: float
    """What can be promised with nine chances in ten."""


# --- the book ----------------------------------------------------------------------------------------------------


class BookPage(msgspec.Struct, frozen=True, kw_only=True):
    """A page of entries that meet a search, newest first."""

    lines: tuple[StoryLine, ...]
    total: int
    page: int
    pages: int
