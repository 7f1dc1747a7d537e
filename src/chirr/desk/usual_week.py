"""The usual week as it was walked, and what it would take with other trays, stacks, order of walking or bins."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from chirr.book.standing import Standing
from chirr.desk.trial_answers import Answer
from chirr.desk.trial_tables import TableFault
from chirr.desk.visits import Spot, gaps
from chirr.engine.rounds import order
from chirr.engine.rounds.minutes import DEFAULT_MINUTES
from chirr.engine.trials.durations import Duration
from chirr.engine.trials.walking import Ways, ways_learnt

Deeds = Mapping[str, Duration]
Trays = Mapping[tuple[str, str], Duration]
HIGHEST = 6
"""Stacks are looked at up to so high (judgement)."""


@dataclass(frozen=True, slots=True)
class Week:
    """Hours of a week: at the bins, and on the way between them."""

    work: float
    walking: float

    @property
    def hours(self) -> float:
        """Both together."""
        return self.work + self.walking


@dataclass(frozen=True, slots=True)
class Walk:
    """What one person did on one day, stop by stop in the order in which they came there."""

    stops: tuple[order.Stop, ...]
    minutes: float


def usual_minutes(x: Spot, deeds: Deeds, trays: Trays, tray_type: str | None = None) -> float:
    """Minutes that a deed takes on the mean, with its own tray or with another."""
    tray = (tray_type or x.tray_type) if x.tray_type else None
    known = (trays.get((x.deed, tray)) if tray else None) or deeds.get(x.deed)
    return known.mean if known else DEFAULT_MINUTES.get(x.deed, 1.0)


def ways_on(found: Sequence[Spot], usual: Mapping[str, float]) -> Ways:
    """Minutes on the way, from the gaps between entries."""
    usual = {x.deed: usual.get(x.deed, DEFAULT_MINUTES.get(x.deed, 1.0)) for x in found}
    pace = order.Pace()
    return ways_learnt(gaps(found), usual, room=pace.room_minutes, stack=pace.stack_minutes)


def pace_of(ways: Ways) -> order.Pace:
    """The walk's pace with what was learnt; the step up to a high level stays as it is usual."""
    return replace(order.Pace(), room_minutes=ways.room.middle, stack_minutes=ways.stack.middle)


def walks_of(found: Sequence[Spot], deeds: Deeds, trays: Trays, tray_type: str | None = None) -> list[Walk]:
    """The walks of each person and day, each deed with its usual minutes; `tray_type` in place of every other."""
    days: dict[tuple[str, date], dict[str, list[Spot]]] = defaultdict(lambda: defaultdict(list))
    for x in found:
        days[x.person, x.day][x.key].append(x)
    rooms = {room: n for n, room in enumerate(dict.fromkeys(x.room for x in found))}
    out = []
    for here in days.values():
        stops, minutes = [], 0.0
        for key, deeds_here in here.items():
            first = deeds_here[0]
            work = sum(usual_minutes(x, deeds, trays, tray_type) for x in deeds_here)
            stops.append(order.Stop(
                key=key, group=order.group_of(first.duty), room=first.room, room_rank=rooms[first.room],
                stack=first.stack, level=first.level, work=(("due", work),),
            ))  # fmt: skip
            minutes += work
        out.append(Walk(tuple(stops), minutes))
    return out


Arrange = Callable[[Sequence[order.Stop]], Sequence[order.Stop]]


def week_of(walks: Sequence[Walk], pace: order.Pace, *, weeks: float, arrange: Arrange = list) -> Week:
    """Hours a week of walks, their stops arranged as asked."""
    on_the_way = sum(order.walking_minutes(arrange(w.stops), pace) for w in walks)
    return Week(sum(w.minutes for w in walks) / 60 / weeks, on_the_way / 60 / weeks)


ORDERS: dict[str, Arrange] = {
    "as it was walked": list,
    "clean before dirty": order.walk,
    "room by room": lambda stops: sorted(stops, key=lambda s: (s.room_rank, s.stack, s.level)),
}


def otherwise(
    s: Standing, found: Sequence[Spot], deeds: Deeds, trays: Trays, pace: order.Pace, *, weeks: float,
    levels: int | None = None, bins: int | None = None,
) -> list[Answer]:  # fmt: skip
    """The week's hours as it is, and with one thing changed: rows of what, value, work, walking and all hours.

    Raises TableFault for a stack or a number of bins that cannot be.
    """
    if (levels is not None and not 1 <= levels <= 20) or (bins is not None and not 1 <= bins <= 100_000):
        raise TableFault("Stacks are 1 to 20 bins high, and a farm has 1 to 100,000 bins.")
    walks = walks_of(found, deeds, trays)
    now = week_of(walks, pace, weeks=weeks)
    rows = [_row("as it is", "", now, now)]
    for tray in sorted({t for _, t in trays}):
        rows.append(_row("tray type", tray, week_of(walks_of(found, deeds, trays, tray), pace, weeks=weeks), now))
    rows += [
        _row("order", name, week_of(walks, pace, weeks=weeks, arrange=how), now)
        for name, how in ORDERS.items() if name != "as it was walked"
    ]  # fmt: skip
    highest = max((b.level for b in s.bins.values()), default=1)
    heights = [levels] if levels else [n for n in (highest - 1, highest + 1) if 1 <= n <= HIGHEST]
    for n in heights:
        places = _restacked(s, n)
        rows.append(_row("stack height", str(n), week_of(walks, pace, weeks=weeks, arrange=places), now))
    have = len(s.bins)
    for many in [bins] if bins else [round(have * f) for f in (0.75, 1.25, 1.5, 2.0)]:
        rows.append(_row("bins", str(many), _scaled(walks, pace, now, many / max(have, 1), weeks), now))
    return rows


def _row(what: str, value: str, week: Week, now: Week) -> Answer:
    return {
        "what": what, "value": value, "work_hours": week.work, "walking_hours": week.walking, "hours": week.hours,
        "more_hours": week.hours - now.hours,
    }  # fmt: skip


def _restacked(s: Standing, height: int) -> Arrange:
    """The same bins room by room in stacks of another height."""
    place: dict[str, tuple[int, int]] = {}
    for room in dict.fromkeys(b.room for b in s.bins.values()):
        here = sorted((b for b in s.bins.values() if b.room == room), key=lambda b: (b.stack, b.level, b.name))
        place |= {b.name: (1 + i // height, 1 + i % height) for i, b in enumerate(here)}

    def moved(stops: Sequence[order.Stop]) -> list[order.Stop]:
        return [
            replace(x, stack=place[x.key][0], level=place[x.key][1]) if x.key in place else x for x in stops
        ]  # fmt: skip

    return moved


def _scaled(walks: Sequence[Walk], pace: order.Pace, now: Week, times: float, weeks: float) -> Week:
    """More or fewer bins in the same rooms: work and steps go with their number, entering a room does not."""
    only_rooms = replace(pace, stack_minutes=0.0, step_minutes=0.0)
    rooms = week_of(walks, only_rooms, weeks=weeks).walking
    return Week(now.work * times, rooms + (now.walking - rooms) * times)
