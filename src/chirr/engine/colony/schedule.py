"""The order in which the happenings of all lots are worked through.

Lots do not wait for one another unless one came from another, so the happenings fall into waves: all of a wave are
done at once, as arrays. What passed on the clocks between two happenings of a lot is read beforehand, once.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import ceil

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.clocks import EGG, KNOT_H, NYMPH, Clocks, invert_rows, path_readings
from chirr.engine.colony.hatching import FIRST_SHARE, reading_at_share, share_hatched
from chirr.engine.colony.history import FarmHistory, Happening, Kind

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CLUTCH_KNOTS = 4 * 120
"""A clutch's own egg clock is kept for so many knots of `KNOT_H` hours."""

TICK_H = 7 * 24.0
"""A lot's density is looked at anew at least this often."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClutchArrays:
    """All clutches as arrays of shape (clutches,) or (clutches, knots); clock readings count from laying.

    in_room: the share of its way to the hatch that each clutch spends in each room, shape (clutches, rooms).
    """

    laid_h: Floats
    rows: Floats
    window: Floats
    reference_h: Floats
    reference_reading: Floats
    nymph_per_egg: Floats
    arrived: NDArray[np.bool_]
    area_cm2: Floats
    days_in: Floats
    tray_type: Ints
    substrate: Ints
    lot: Ints
    breeders: Ints
    in_room: Floats
    later_uses: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Wave:
    """Happenings of as many lots, worked through together: numbers from `first` to before `end`.

    kinds: which of them are of each kind, counted from `first`.
    """

    first: int
    end: int
    kinds: tuple[tuple[Kind, Ints], ...]

    @property
    def rows(self) -> slice:
        """Its happenings among all."""
        return slice(self.first, self.end)


def in_waves(kind: Ints, level: Ints) -> tuple[Wave, ...]:
    """Waves of happenings that are sorted by the number of their wave, `level`; those without any left out."""
    bounds = [*np.flatnonzero(np.diff(level, prepend=-1)).tolist(), len(level)]
    waves = []
    for first, end in pairwise(bounds):
        mine = kind[first:end]
        kinds = tuple((Kind(int(k)), np.flatnonzero(mine == k)) for k in np.unique(mine))
        waves.append(Wave(first=first, end=end, kinds=kinds))
    return tuple(waves)


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """Every happening, numbered wave by wave.

    level (the number of its wave), lot, other, quantity, sample, young, room, x, adult_days, surface_cm2, hatched:
    arrays of shape (happenings,). `passed` of shape (clocks, happenings) is what each clock moved since the lot's
    happening before; `room` and `surface_cm2` are those of that time. `source`: for what came from another lot, the
    happening by which it left there, else -1. `last` is each lot's state after all of them: hour, place, surface.
    """

    waves: tuple[Wave, ...]
    level: Ints
    lot: Ints
    other: Ints
    source: Ints
    quantity: Floats
    sample: Ints
    young: NDArray[np.bool_]
    room: Ints
    x: Floats
    adult_days: Floats
    surface_cm2: Floats
    hatched: Floats
    passed: Floats
    log_sd: Floats
    kind: Ints
    hour: Floats
    entry: tuple[str, ...]
    last_hour: Floats
    last_place: Ints
    last_surface_cm2: Floats


def clutch_arrays(history: FarmHistory, clocks: Clocks, *, egg_cv: float) -> ClutchArrays:
    """Clutches as arrays, each with its own clock and the hour at which its pinheads are taken to join their lot."""
    c = history.clutches
    laid = np.array([k.laid_h for k in c], dtype=np.float64)
    knots = laid[:, None] + KNOT_H * np.arange(CLUTCH_KNOTS + 1)
    rows = path_readings(clocks, EGG, [k.starts_h for k in c], [k.places for k in c], knots)
    pulled = np.array([k.pulled_h for k in c], dtype=np.float64)
    window = egg_readings(rows, laid, pulled)
    usual = reading_at_share(FIRST_SHARE, speed=np.ones(len(c)), window=window, cv=egg_cv)
    expected = np.minimum(invert_rows(rows, laid, KNOT_H, usual), laid + KNOT_H * rows.shape[1])
    reference = expected.copy()
    for i, k in enumerate(c):
        if k.first_between is not None:
            reference[i] = 0.5 * (k.first_between[0] + k.first_between[1])
            continue
        at = expected[i] if k.unseen_until_h is None else max(expected[i], k.unseen_until_h + 6.0)
        reference[i] = at if k.settled_h is None else min(at, k.settled_h)
    last_place = np.array([k.places[-1] for k in c], dtype=np.int64)
    here = clocks.read(last_place, reference)
    later = clocks.read(last_place, reference + 24.0)
    moved = later - here
    ratio = moved[NYMPH] / np.maximum(moved[EGG], 1e-3) if len(c) else np.zeros(0)
    arrived = np.array([not k.dud for k in c], dtype=bool) & (reference <= history.now_h)
    return ClutchArrays(
        laid_h=laid,
        rows=rows,
        window=window,
        reference_h=reference,
        reference_reading=egg_readings(rows, laid, reference),
        nymph_per_egg=ratio,
        arrived=arrived,
        area_cm2=np.array([k.tray_cm2 for k in c], dtype=np.float64),
        days_in=np.maximum((pulled - laid) / 24.0, 0.02),
        tray_type=np.array([k.tray_type for k in c], dtype=np.int64),
        substrate=np.array([k.substrate for k in c], dtype=np.int64),
        lot=np.array([k.lot for k in c], dtype=np.int64),
        breeders=np.array([k.breeders for k in c], dtype=np.int64),
        in_room=_in_room(history, rows, laid, expected),
        later_uses=np.array([max(k.cycle - 1, 0) for k in c], dtype=np.float64),
    )


def _in_room(history: FarmHistory, rows: Floats, laid: Floats, expected: Floats) -> Floats:
    """The share of the egg clock that each clutch spends in each room until its hatch, shape (clutches, rooms).

    Until the hatch that the published clock expects, not the one seen: a slow clutch is longer in its last room, and
    that room must not be blamed for it.
    """
    c = history.clutches
    out = np.zeros((len(c), len(history.measured_rooms)))
    last = np.maximum(expected, laid + 1.0)
    for n in range(max((len(k.starts_h) for k in c), default=0)):
        here = np.flatnonzero([len(k.starts_h) > n for k in c])
        end = np.array([c[i].starts_h[n + 1] if len(c[i].starts_h) > n + 1 else np.inf for i in here])
        end = np.minimum(end, last[here])
        begin = np.minimum(np.maximum([c[i].starts_h[n] for i in here], laid[here]), end)
        passed = egg_readings(rows[here], laid[here], end) - egg_readings(rows[here], laid[here], begin)
        np.add.at(out, (here, history.place_room[[c[i].places[n] for i in here]]), passed)
    total = out.sum(axis=1, keepdims=True)
    return np.asarray(out / np.maximum(total, 1e-9))


def egg_readings(rows: Floats, laid_h: Floats, hour: Floats) -> Floats:
    """A clutch's egg-clock reading at one hour each."""
    k = np.clip((hour - laid_h) / KNOT_H, 0.0, rows.shape[1] - 1 - 1e-9)
    i = k.astype(np.int64)
    each = np.arange(len(rows))
    low = rows[each, i]
    return np.asarray(low + (k - i) * (rows[each, i + 1] - low))


def make_schedule(history: FarmHistory, clutches: ClutchArrays, clocks: Clocks, *, egg_cv: float) -> Schedule:
    """Number and order all happenings: each lot's by time, arrivals and density looks put in, in waves."""
    flat: list[tuple[int, Happening]] = []
    level: list[int] = []
    open_link: dict[tuple[str, int], int] = {}
    of_lot: dict[int, list[int]] = {}
    for c in np.flatnonzero(clutches.arrived & (clutches.lot >= 0)):
        of_lot.setdefault(int(clutches.lot[c]), []).append(int(c))
    chains = [_with_arrivals(i, of_lot.get(i, []), history, clutches) for i in range(len(history.lots))]
    position = [0] * len(chains)
    reached = [-1] * len(chains)
    waiting = list(range(len(chains)))
    while waiting:
        before = sum(position[i] for i in waiting)
        for i in waiting:
            while position[i] < len(chains[i]):
                h = chains[i][position[i]]
                need = open_link.get((h.entry, h.other)) if h.kind in _FROM_ANOTHER else -1
                if need is None:
                    break
                reached[i] = max(reached[i], need) + 1
                flat.append((i, h))
                level.append(reached[i])
                if h.kind in _TO_ANOTHER:
                    open_link[(h.entry, i)] = reached[i]
                position[i] += 1
        stuck = [i for i in waiting if position[i] < len(chains[i])]
        if stuck and sum(position[i] for i in waiting) == before:
            position[stuck[0]] += 1  # its other side is not part of this history
        waiting = stuck
    order = np.argsort(np.array(level, dtype=np.int64), kind="stable").tolist()
    return _as_arrays([flat[k] for k in order], np.sort(level).astype(np.int64), history, clutches, clocks, egg_cv)


def _with_arrivals(lot: int, arrived: list[int], history: FarmHistory, clutches: ClutchArrays) -> list[Happening]:
    """A lot's happenings with its arrived clutches and looks at its density put in where they belong."""
    chain = list(history.lots[lot].happenings)
    ended = history.lots[lot].ended_h
    for c in arrived:
        hour = float(clutches.reference_h[c])
        if ended is not None:
            hour = min(hour, ended - 1e-3)
        facts = [h.hour for h in chain if h.kind in _TELLING]
        before = [h for h in chain if h.hour <= hour and h.kind != _GONE]
        where = before[-1] if before else chain[0]
        others = any(h.kind in _COMING for h in before)
        if facts and not others and facts[0] < hour:
            hour = facts[0] - 1e-3
        chain.append(Happening(hour=hour, kind=Kind.ARRIVE, place=where.place, surface_cm2=where.surface_cm2, other=c))
    chain.sort(key=lambda h: (h.hour, _ORDER[h.kind]))
    end = history.now_h if ended is None else ended
    out: list[Happening] = []
    for h, after in zip(chain, [*chain[1:], None], strict=True):
        out.append(h)
        gap_end = min(after.hour if after is not None else end, end)
        if h.kind in _ENDING:
            continue
        ticks = max(ceil((gap_end - 1.0 - h.hour) / TICK_H) - 1, 0)
        out += [
            Happening(hour=h.hour + TICK_H * (k + 1), kind=Kind.TICK, place=h.place, surface_cm2=h.surface_cm2)
            for k in range(ticks)
        ]
    if ended is None and out and history.now_h > out[-1].hour:
        out.append(Happening(hour=history.now_h, kind=Kind.TICK, place=out[-1].place, surface_cm2=out[-1].surface_cm2))
    return out


_TELLING = frozenset((Kind.COUNT, Kind.WEIGH, Kind.OUT, Kind.HARVEST, Kind.TAKE))
_COMING = frozenset((Kind.STOCK, Kind.ARRIVE, Kind.IN, Kind.MIX))
_ENDING = frozenset((Kind.GONE, Kind.HARVEST))
_GONE, _FROM_ANOTHER, _TO_ANOTHER = Kind.GONE, frozenset((Kind.IN, Kind.MIX)), frozenset((Kind.OUT, Kind.GONE))

_ORDER = {
    k: i
    for i, k in enumerate(
        (
            Kind.STOCK,
            Kind.ARRIVE,
            Kind.IN,
            Kind.MIX,
            Kind.PLACE,
            Kind.LAY,
            Kind.COUNT,
            Kind.WEIGH,
            Kind.DEATHS,
            Kind.TAKE,
            Kind.TAKE_KG,
            Kind.OUT,
            Kind.TICK,
            Kind.HARVEST,
            Kind.GONE,
        )
    )
}


def _as_arrays(
    flat: list[tuple[int, Happening]],
    level: Ints,
    history: FarmHistory,
    clutches: ClutchArrays,
    clocks: Clocks,
    egg_cv: float,
) -> Schedule:
    n = len(flat)
    lot = np.array([i for i, _ in flat], dtype=np.int64)
    hour = np.array([h.hour for _, h in flat], dtype=np.float64)
    place = np.array([h.place for _, h in flat], dtype=np.int64)
    surface = np.array([h.surface_cm2 for _, h in flat], dtype=np.float64)
    before, source = np.full(n, -1, dtype=np.int64), np.full(n, -1, dtype=np.int64)
    newest: dict[int, int] = {}
    leaving: dict[tuple[str, int], int] = {}
    for row, (i, h) in enumerate(flat):
        before[row] = newest.get(i, -1)
        newest[i] = row
        if h.kind in _TO_ANOTHER:
            leaving[h.entry, i] = row
        elif h.kind in _FROM_ANOTHER:
            source[row] = leaving[h.entry, h.other]
    first = before < 0
    prior = np.where(first, np.arange(n), before)
    passed = clocks.read(place[prior], hour) - clocks.read(place[prior], hour[prior]) if n else np.zeros((5, 0))
    kind = np.array([int(h.kind) for _, h in flat], dtype=np.int64)
    rows = [newest.get(i, -1) for i in range(len(history.lots))]
    return Schedule(
        waves=in_waves(kind, level),
        level=level,
        lot=lot,
        source=source,
        other=np.array([h.other for _, h in flat], dtype=np.int64),
        quantity=np.array([h.quantity for _, h in flat], dtype=np.float64),
        sample=np.array([h.sample for _, h in flat], dtype=np.int64),
        young=np.array([h.young for _, h in flat], dtype=bool),
        room=history.place_room[place[prior]] if n else np.zeros(0, dtype=np.int64),
        x=np.array([h.x for _, h in flat]),
        adult_days=np.array([h.adult_days for _, h in flat]),
        surface_cm2=surface[prior] if n else surface,
        hatched=_hatched_so_far(flat, clutches, egg_cv),
        passed=np.maximum(passed, np.where(np.arange(5) == 3, -np.inf, 0.0)[:, None]),
        log_sd=np.array([h.log_sd for _, h in flat]),
        kind=kind,
        hour=hour,
        entry=tuple(h.entry for _, h in flat),
        last_hour=np.array([hour[r] if r >= 0 else history.now_h for r in rows]),
        last_place=np.array([place[r] if r >= 0 else 0 for r in rows], dtype=np.int64),
        last_surface_cm2=np.array([surface[r] if r >= 0 else 1.0 for r in rows]),
    )


def _hatched_so_far(flat: list[tuple[int, Happening]], clutches: ClutchArrays, egg_cv: float) -> Floats:
    """Share of a lot's pinheads that were out at each count, while its newest clutch is still hatching."""
    newest: dict[int, int] = {}
    hatching: list[tuple[int, int, float]] = []
    for row, (i, h) in enumerate(flat):
        if h.kind == Kind.ARRIVE:
            newest[i] = h.other
        elif h.kind == Kind.COUNT and i in newest and h.hour - clutches.reference_h[newest[i]] <= 10 * 24:
            hatching.append((row, newest[i], h.hour))
    out = np.ones(len(flat))
    if hatching:
        rows, c, hour = (np.array(column) for column in zip(*hatching, strict=True))
        speed, window = np.ones(len(c)), clutches.window[c]
        first = reading_at_share(FIRST_SHARE, speed=speed, window=window, cv=egg_cv)
        since = first + egg_readings(clutches.rows[c], clutches.laid_h[c], hour) - clutches.reference_reading[c]
        out[rows] = np.maximum(share_hatched(since, speed=speed, window=window, cv=egg_cv), 0.02)
    return out
