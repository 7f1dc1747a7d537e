"""The walk: stops in hygiene order, the minutes between them, and how far the people of the day get.

Clean before dirty and young before old: hatching, nursery, grow-out, breeding, sick (common practice, no published
source). Within a group room by room in the farm's order, then stack, then level.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

GROUPS: tuple[str, ...] = ("hatching", "nursery", "grow-out", "breeding", "sick")
_NEED = {"overdue": 0, "open": 1, "due": 1, "optional": 2}
"""Which items are given time first. What is only 'soon' needs none."""


@dataclass(frozen=True, kw_only=True)
class Stop:
    """One place on the walk. `room_rank` is the room's place in the farm's order; `work` are (urgency, minutes)."""

    key: str
    group: str
    room: str
    room_rank: int
    stack: int
    level: int
    work: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Pace:
    """Minutes lost between items. All are judgement from common practice, with no published source.

    A room entered: door, hands, shoes, a look at the thermometer. A stack further: a metre or so with the trolley.
    A level above `reach_level` needs a step or platform: bins are handled between knee and shoulder, about
    0.5-1.4 m, and in stacks four high in a room of 2.4-2.6 m that leaves out the top one.
    """

    room_minutes: float = 1.0
    stack_minutes: float = 0.1
    step_minutes: float = 0.5
    reach_level: int = 3


@dataclass(frozen=True)
class Reach:
    """How far people get: for each stop, in walking order, which of its items (by index) are within their time."""

    done: tuple[frozenset[int], ...]
    minutes: float
    """Work and walking of all of them together."""

    def left_over(self, stops: Sequence[Stop]) -> int:
        """Number of items with something to do that they do not get to."""
        return sum(
            1
            for stop, done in zip(stops, self.done, strict=True)
            for i, (urgency, _) in enumerate(stop.work)
            if urgency in _NEED and i not in done
        )


def group_of(duty: str | None, *, sick: bool = False, hatching: bool = False) -> str:
    """The group that a bin is walked in; sickness comes before all else. A place without a bin is a hatch rack."""
    if sick:
        return "sick"
    if hatching or duty is None:
        return "hatching"
    return duty if duty in GROUPS else "grow-out"


def walk(stops: Sequence[Stop]) -> list[Stop]:
    """Stops in walking order."""
    return sorted(stops, key=lambda s: (GROUPS.index(s.group), s.room_rank, s.room, s.stack, s.level, s.key))


def walking_minutes(stops: Sequence[Stop], pace: Pace | None = None) -> float:
    """Minutes between the items of one walk by one person over `stops`, in the order given.

    A stop with nothing to do, only something to be ready for, is not walked to.
    """
    pace = pace or Pace()
    total, here = 0.0, None
    for stop in stops:
        if any(urgency in _NEED for urgency, _ in stop.work):
            total += _leg(here, stop, pace)
            here = stop
    return total


def reach(stops: Sequence[Stop], people: int, minutes_each: float, pace: Pace | None = None) -> Reach:
    """How far `people` with `minutes_each` get on the walk `stops` (in walking order).

    Time goes to the overdue items first, then to those due and to open windows, then to the optional ones; within
    each of the three along the walk, until the time is used up. So nothing overdue is ever left for something
    optional. The walk is shared out in pieces, one after the other, so nobody goes back from dirty to clean.
    """
    pace = pace or Pace()
    given: list[set[int]] = [set() for _ in stops]
    spent = 0.0
    for need in (0, 1, 2):
        wanting = [
            (n, {i for i, (urgency, _) in enumerate(stop.work) if _NEED.get(urgency) == need})
            for n, stop in enumerate(stops)
        ]
        wanting = [(n, items) for n, items in wanting if items]
        low, high = 0, len(wanting)
        while low < high:
            middle = (low + high + 1) // 2
            if _time_for(stops, _with(given, wanting[:middle]), people, minutes_each, pace) is not None:
                low = middle
            else:
                high = middle - 1
        given = _with(given, wanting[:low])
        spent = _time_for(stops, given, people, minutes_each, pace) or 0.0
        if low < len(wanting):
            break
    return Reach(tuple(frozenset(items) for items in given), spent)


def _with(given: list[set[int]], more: Sequence[tuple[int, set[int]]]) -> list[set[int]]:
    out = list(given)
    for n, items in more:
        out[n] = out[n] | items
    return out


def _time_for(
    stops: Sequence[Stop], given: list[set[int]], people: int, minutes_each: float, pace: Pace
) -> float | None:
    """Minutes that the given items take all people together; None when they have not got so many."""
    if people < 1:
        return None if any(given) else 0.0
    total, own, person = 0.0, 0.0, 1
    here: Stop | None = None
    for stop, items in zip(stops, given, strict=True):
        if not items:
            continue
        work = sum(stop.work[i][1] for i in items)
        cost = _leg(here, stop, pace) + work
        if own + cost > minutes_each + 1e-9:
            person, own, here = person + 1, 0.0, None
            cost = _leg(here, stop, pace) + work
            if person > people or cost > minutes_each + 1e-9:
                return None
        own, total, here = own + cost, total + cost, stop
    return total


def _leg(here: Stop | None, stop: Stop, pace: Pace) -> float:
    """Minutes from one stop to the next, or into the first."""
    if here is None or here.room != stop.room:
        minutes = pace.room_minutes
    else:
        minutes = pace.stack_minutes * abs(stop.stack - here.stack)
    return minutes + (pace.step_minutes if stop.level > pace.reach_level else 0.0)
