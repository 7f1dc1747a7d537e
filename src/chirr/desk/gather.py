"""From the facts of the book to the plain numbers that the engine learns from."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from chirr.book.shelf import Temperature
from chirr.book.standing import Clutch, Fact, Lot, Standing, Stay
from chirr.desk.usual_moves import Spot, Step, duty, usual_way, usually_tipped, way_ahead
from chirr.engine.biology.rates import nymph_rate_per_day
from chirr.engine.biology.species import Species
from chirr.engine.climate.places import PlaceClimate, Readings, cold_hours, hourly_temperature
from chirr.engine.colony.clocks import Clocks, make_clocks
from chirr.engine.colony.history import ClutchFacts, FarmHistory, Happening, Kind, LotFacts, UsualMove
from chirr.records import Room, TrayType

HOUR = 3600
MEMORY_DAYS, MEMORY_LOTS = 240, 400
"""Lots that ended longer ago no longer teach, nor more than so many ended ones: strain, feed and keepers change, and a
few hundred lots say all there is to learn (judgement)."""

REACH_DAYS = 60
"""The grid of hours reaches so far beyond the days looked ahead, for eggs that are slow."""

COUNT_CV = {"eggs": 0.35, "pinheads": 0.3, "crickets": 0.2}
"""Relative error of a count whose own is not given: common practice, no published source."""

STOCK_CV, SPLIT_CV, TAKE_CV, WEIGH_CV, HARVEST_CV = 0.1, 0.12, 0.06, 0.02, 0.02
"""The same for numbers stocked, split off or taken, for a sample weighing and for a harvest weighing."""

NEWEST_BATCHES = 8
"""So many batches of substrate may have something of their own: older ones fill no tray that has still to hatch."""

FEW_FINISHED = 4

MOSTLY_WRITTEN, ALWAYS_WRITTEN = 0.7, 0.97
"""Where at least the first share of hatches was written down, none written so far means none seen so far; where at
least the second, a tray emptied without one did not hatch (judgement)."""

LONGEST_LOOK_S, USUAL_LOOK_S = 4 * 86400, 2 * 86400
"""Where the book shows no visit within the first of these before a hatch was seen, somebody is taken to have looked
within the second: nobody writes down a first hatch without looking for it (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """A farm as the engine takes it, with the names behind its indices."""

    history: FarmHistory
    clocks: Clocks
    clutch_temp_c: NDArray[np.float64]
    lots: list[str]
    clutches: list[str]
    place_room: NDArray[np.int64]
    start: int
    measured: bool
    """Whether any temperature was measured in the last fortnight."""
    temp_c: NDArray[np.float64]
    places: dict[Spot, int]
    """Hourly temperature of each place, and the number of each room and level."""


def gather(
    s: Standing,
    *,
    at: int,
    rooms: list[Room],
    tray_types: list[TrayType],
    species: Species,
    readings: list[Temperature],
    days: int,
    swap_days: float,
) -> Gathered:
    """Put a standing into numbers, as believed at time `at` [epoch s].

    readings: in order of time. days: how far the clocks must reach.
    """
    lots, clutches = _remembered(s, at)
    began = [c.laid_at for c in clutches] + [lot.stays[0].at for lot in lots if lot.stays]
    start = (min([*began, at]) // HOUR - 24) * HOUR
    end = at + (days + REACH_DAYS) * 24 * HOUR
    scene = _scene(s, at, start, rooms, tray_types, species, swap_days, lots, clutches)
    places = scene.number_places(lots, clutches)
    room_names = list(dict.fromkeys([*scene.set_c, *(room for room, _ in places)]))
    room_index = {room: i for i, room in enumerate(room_names)}
    place_room = np.array([room_index[room] for room, _ in places], dtype=np.int64)
    typical = float(np.mean(list(scene.set_c.values()))) if scene.set_c else 30.0
    climate = hourly_temperature(
        _readings(readings, room_index, start),
        room=place_room,
        level=np.array([level for _, level in places], dtype=np.int64),
        set_c=np.array([scene.set_c.get(room, typical) for room, _ in places]),
        hours=(end - start) // HOUR,
        now_h=(at - start) / HOUR,
    )
    scene.temp_c = climate.temp_c
    now = (at - start) // HOUR
    measured_rooms = _measured_rooms(climate, place_room, len(room_names), now)
    history = scene.history(lots, clutches, place_room=place_room, measured_rooms=measured_rooms)
    return Gathered(
        history=history,
        clocks=make_clocks(climate.temp_c, species),
        lots=[lot.name for lot in lots],
        clutches=[c.name for c in clutches],
        place_room=place_room,
        start=start,
        clutch_temp_c=scene.while_laying(history),
        measured=bool(climate.measured[:, max(now - 14 * 24, 0) : now].any()),
        temp_c=climate.temp_c,
        places=scene.places,
    )


def gather_some(
    s: Standing,
    known: Gathered,
    *,
    at: int,
    rooms: list[Room],
    tray_types: list[TrayType],
    species: Species,
    swap_days: float,
    lots: set[str],
    clutches: set[str],
) -> Gathered | None:
    """Some lots and clutches of a standing, and the clutches that joined those lots, on the clocks of an earlier whole.

    None where one stands at a place or is of a tray type that the whole did not know.
    """
    here = [lot for lot in _in_order_of_naming(s.lots[name] for name in lots if name in s.lots) if lot.stays]
    names = {lot.name for lot in here}
    eggs = [c for c in s.clutches.values() if c.name in clutches or c.to_lot in names]
    eggs.sort(key=lambda c: (c.laid_at, c.name))
    scene = _scene(s, at, known.start, rooms, tray_types, species, swap_days, here, eggs)
    scene.places, scene.temp_c, scene.substrates = known.places, known.temp_c, known.history.substrates
    scene.way = usual_way(s, set(known.places))
    stays = [stay for lot in here for stay in lot.stays] + [stay for c in eggs for stay in c.stays]
    strange = any((stay.room, stay.level) not in known.places for stay in stays)
    if strange or len(tray_types) != known.history.tray_types or scene.hour(at) >= known.clocks.hours:
        return None
    whole = known.history
    history = scene.history(here, eggs, place_room=whole.place_room, measured_rooms=whole.measured_rooms)
    return replace(
        known,
        history=history,
        lots=[lot.name for lot in here],
        clutches=[c.name for c in eggs],
        clutch_temp_c=scene.while_laying(history),
    )


def _scene(
    s: Standing,
    at: int,
    start: int,
    rooms: list[Room],
    tray_types: list[TrayType],
    species: Species,
    swap_days: float,
    lots: list[Lot],
    clutches: list[Clutch],
) -> _Scene:
    return _Scene(
        s=s,
        at=at,
        start=start,
        species=species,
        lot_index={lot.name: i for i, lot in enumerate(lots)},
        clutch_index={c.name: i for i, c in enumerate(clutches)},
        substrates=_batches(clutches),
        set_c={r.room: r.set_temperature_c for r in rooms},
        trays={t.tray_type: (i, t.length_cm * t.width_cm) for i, t in enumerate(tray_types)},
        swap_days=swap_days,
        written_hatches=_written_hatches(s),
        laid_by=_by_breeders(clutches),
    )


def _measured_rooms(climate: PlaceClimate, place_room: NDArray[np.int64], rooms: int, now: int) -> NDArray[np.bool_]:
    """Rooms whose temperature rested on a reading in a fifth of the last two months' hours or more."""
    lately = climate.measured[:, max(now - 60 * 24, 0) : max(now, 1)].mean(axis=1) >= 0.2
    return np.array([bool(lately[place_room == r].any()) for r in range(rooms)], dtype=bool)


def _mean_between(row: NDArray[np.float64], a: float, b: float) -> float:
    part = row[max(int(a), 0) : max(int(b), int(a) + 1)]
    return float(part.mean()) if len(part) else float(row[-1])


def _readings(rows: list[Temperature], room: dict[str, int], start: int) -> Readings:
    known = [r for r in rows if r[1] in room]
    return Readings(
        hour=(np.array([r[0] for r in known], dtype=np.float64) - start) / HOUR,
        room=np.array([room[r[1]] for r in known], dtype=np.int64),
        level=np.array([r[2] for r in known], dtype=np.int64),
        temp_c=np.array([r[3] for r in known], dtype=np.float64),
    )


def _remembered(s: Standing, at: int) -> tuple[list[Lot], list[Clutch]]:
    """Lots that live or ended not long ago, those they came from, and the clutches that bear on them."""
    ended = sorted((lot.ended_at for lot in s.lots.values() if lot.ended_at is not None), reverse=True)
    since = max(at - MEMORY_DAYS * 24 * HOUR, ended[MEMORY_LOTS] if len(ended) > MEMORY_LOTS else 0)
    names = {lot.name for lot in s.lots.values() if lot.ended_at is None or lot.ended_at >= since}
    todo = list(names)
    while todo:
        for parent in s.lots[todo.pop()].parents:
            if parent not in names and parent in s.lots:
                names.add(parent)
                todo.append(parent)
    clutches = [c for c in s.clutches.values() if c.emptied_at is None or c.to_lot in names]
    lots = _in_order_of_naming(s.lots[name] for name in names)
    return [lot for lot in lots if lot.stays], sorted(clutches, key=lambda c: (c.laid_at, c.name))


def _in_order_of_naming(lots: Iterable[Lot]) -> list[Lot]:
    return sorted(lots, key=lambda lot: (lot.named_at, lot.name))


def _by_breeders(clutches: list[Clutch]) -> dict[str, list[Clutch]]:
    found: dict[str, list[Clutch]] = {}
    for c in clutches:
        found.setdefault(c.lot, []).append(c)
    return found


def _batches(clutches: list[Clutch]) -> tuple[str, ...]:
    """The newest batches of substrate that fill several trays, in order of their first."""
    fills = Counter(c.substrate for c in clutches if c.substrate)
    first = {c.substrate: None for c in clutches if c.substrate and fills[c.substrate] > 1}
    return tuple(name for name in list(first)[-NEWEST_BATCHES:] if name is not None)


def _written_hatches(s: Standing) -> float:
    """Share of the finished clutches whose first pinheads were written down; 1 while there are only a few."""
    finished = [c for c in s.clutches.values() if c.emptied_at is not None or c.hatched_at is not None]
    seen = sum(c.hatched_at is not None for c in finished)
    return seen / len(finished) if len(finished) >= FEW_FINISHED else 1.0


@dataclass(slots=True, kw_only=True)
class _Scene:
    """What turning facts into numbers needs to know of the farm."""

    s: Standing
    at: int
    start: int
    species: Species
    lot_index: dict[str, int]
    clutch_index: dict[str, int]
    substrates: tuple[str, ...]
    set_c: dict[str, float]
    trays: dict[str, tuple[int, float]]
    swap_days: float
    written_hatches: float
    laid_by: dict[str, list[Clutch]]
    places: dict[Spot, int] = field(default_factory=dict)
    way: tuple[Step, ...] = ()
    temp_c: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 0)))
    cold: dict[int, NDArray[np.int64]] = field(default_factory=dict)

    def hour(self, at: float) -> float:
        return (at - self.start) / HOUR

    def history(
        self,
        lots: list[Lot],
        clutches: list[Clutch],
        *,
        place_room: NDArray[np.int64],
        measured_rooms: NDArray[np.bool_],
    ) -> FarmHistory:
        return FarmHistory(
            clutches=tuple(self.clutch(c) for c in clutches),
            lots=tuple(self.lot(lot) for lot in lots),
            now_h=self.hour(self.at),
            tray_types=len(self.trays),
            substrates=self.substrates,
            place_room=place_room,
            usual_move=self.usual_move(),
            measured_rooms=measured_rooms,
        )

    def while_laying(self, history: FarmHistory) -> NDArray[np.float64]:
        """Mean temperature while each tray was in its breeding bin [degC]."""
        laid = [(self.temp_c[c.places[0]], c.laid_h, c.pulled_h) for c in history.clutches]
        return np.array([_mean_between(*one) for one in laid])

    def number_places(self, lots: list[Lot], clutches: list[Clutch]) -> list[tuple[str, int]]:
        stays = [(p.room, p.level) for lot in lots for p in lot.stays] + [
            (p.room, p.level) for c in clutches for p in c.stays
        ]
        self.places = {place: i for i, place in enumerate(dict.fromkeys(stays))}
        self.way = usual_way(self.s, set(self.places))
        return list(self.places) or [("", 1)]

    def place(self, stay: Stay) -> int:
        return self.places[stay.room, stay.level]

    def surface(self, stay: Stay) -> float:
        bin_ = self.s.bins.get(stay.bin or "")
        return max(bin_.floor_cm2 + bin_.hides_cm2, 1.0) if bin_ else 20_000.0

    def clutch(self, c: Clutch) -> ClutchFacts:
        tray_type, area = self.trays.get(c.tray_type, (-1, 400.0))
        pulled = c.pulled_at if c.pulled_at is not None else max(c.laid_at + self.swap_days * 86400, self.at)
        counts = [f for f in c.facts if f.quantity is not None]
        first = None
        if c.hatched_at is not None:
            look = c.looked_at or 0
            if look < c.hatched_at - LONGEST_LOOK_S:
                look = c.hatched_at - USUAL_LOOK_S
            first = (self.hour(max(look, c.laid_at)), self.hour(c.hatched_at))
        pinheads = tuple(self._count(f) for f in counts if f.unit != "eggs")
        path = way_ahead(c, self.way, self.at)
        known = c.hatched_at is not None or bool(pinheads)
        return ClutchFacts(
            name=c.name,
            lot=self.lot_index.get(c.to_lot or "", -1),
            breeders=self.lot_index.get(c.lot, -1),
            laid_h=self.hour(c.laid_at),
            pulled_h=self.hour(pulled),
            tray_cm2=max(area, 1.0),
            tray_type=tray_type,
            starts_h=np.array([self.hour(at) for at, _ in path]),
            places=np.array([self.places[spot] for _, spot in path]),
            cycle=c.cycle or 1,
            substrate=self.substrates.index(c.substrate) if c.substrate in self.substrates else -1,
            first_between=first,
            unseen_until_h=self._unseen_until(c) if not known else None,
            settled_h=self.hour(c.emptied_at) if c.emptied_at is not None else None,
            dud=c.emptied_at is not None
            and not known
            and (self.written_hatches >= ALWAYS_WRITTEN or c.pulled_at is None),
            egg_counts=tuple(self._count(f) for f in counts if f.unit == "eggs"),
            pinhead_counts=pinheads,
            first_entry=c.laid_entry,
            since_cold_days=self._since_cold_days(self.place(c.stays[0]), self.hour((c.laid_at + pulled) / 2)),
        )

    def _since_cold_days(self, place: int, hour: float) -> float:
        """Days since the last cold night of a place; infinite where there was none."""
        if place not in self.cold:
            self.cold[place] = cold_hours(self.temp_c[place], self.species.cold_night_c.value)
        before = self.cold[place][: np.searchsorted(self.cold[place], hour)]
        return (hour - float(before[-1])) / 24 if before.size else np.inf

    def _unseen_until(self, c: Clutch) -> float | None:
        """Last visit at which no pinheads were written down, on a farm that writes them down."""
        if self.written_hatches < MOSTLY_WRITTEN or c.emptied_at is not None or c.pulled_at is None:
            return None
        bin_ = self.s.bins.get(c.here.bin or "")
        seen = bin_.seen_at if bin_ else self.s.rooms_seen.get(c.here.room, (0, 0))[0]
        return self.hour(seen) if seen is not None and seen > c.pulled_at else None

    def _count(self, f: Fact) -> tuple[float, float, float, str]:
        cv = f.cv if f.cv is not None else COUNT_CV.get(f.unit or "crickets", 0.3)
        return self.hour(f.at), float(f.quantity or 0.0), float(np.sqrt(np.log1p(cv**2))), f.entry

    def usual_move(self) -> UsualMove | None:
        """The age at which this farm tips nursery lots over, and where they go."""
        tipped = usually_tipped(self.s, set(self.places))
        if tipped is None:
            return None
        surface_cm2 = float(np.median([self.surface(stay) for stay in tipped.stays]))
        return UsualMove(age_h=tipped.age_s / HOUR, place=self.places[tipped.spot], surface_cm2=surface_cm2)

    def lot(self, lot: Lot) -> LotFacts:
        times = [p.at for p in lot.stays]

        def stay_at(at: int) -> Stay:
            return lot.stays[max(bisect_right(times, at) - 1, 0)]

        def happen(at: int, kind: Kind, **more: float | int | str) -> Happening:
            stay = stay_at(at)
            return Happening(
                hour=self.hour(at),
                kind=kind,
                place=self.place(stay),
                surface_cm2=self.surface(stay),
                **more,  # type: ignore[arg-type]
            )

        chain = [h for f in lot.facts if (h := self._happening(f, happen, stay_at(f.at))) is not None]
        if lot.origin == "clutches":
            chain.append(happen(lot.named_at, Kind.PLACE))
        chain += [happen(c.laid_at, Kind.LAY, other=self.clutch_index[c.name]) for c in self.laid_by.get(lot.name, ())]
        chain.sort(key=lambda h: h.hour)
        return LotFacts(
            name=lot.name,
            happenings=tuple(chain),
            nursery=duty(self.s, lot.stays[-1]) == "nursery",
            began_h=self.hour(max(lot.began_at, lot.stays[-1].at)) if lot.began_at is not None else None,
            ended_h=self.hour(lot.ended_at) if lot.ended_at is not None else None,
        )

    def _happening(self, f: Fact, happen: object, stay: Stay) -> Happening | None:
        q, call = float(f.quantity or 0.0), happen
        assert callable(call)  # noqa: S101 - for the type checker
        sd = float(np.sqrt(np.log1p((f.cv or 0.0) ** 2)))
        other = self.lot_index.get(f.other or "", -1)
        kind = {
            "place": Kind.PLACE,
            "deaths": Kind.DEATHS,
            "gone": Kind.GONE,
            "in": Kind.IN,
            "mix": Kind.MIX,
        }.get(f.kind)
        if f.kind in ("in", "mix") and other < 0:
            return None
        if kind is not None:
            made = call(f.at, kind, quantity=q, other=other, entry=f.entry)
        elif f.kind == "stock":
            stage, _, age = (f.other or "adult:0").partition(":")
            made = self._stocked(call, f, stage, float(age) if age not in ("", "None") else 0.0, stay)
        elif f.kind == "count":
            made = call(
                f.at, Kind.COUNT, quantity=q, log_sd=self._count(f)[2], young=f.unit == "pinheads", entry=f.entry
            )
        elif f.kind == "weigh" and f.sample:
            mg = q * 1000.0 / f.sample
            made = call(f.at, Kind.WEIGH, quantity=mg, log_sd=sd or WEIGH_CV, sample=f.sample, entry=f.entry)
        elif f.kind == "take":
            kind = Kind.TAKE_KG if f.unit == "kg" else Kind.TAKE
            made = call(f.at, kind, quantity=q, log_sd=sd or TAKE_CV, entry=f.entry)
        elif f.kind == "out":
            made = call(f.at, Kind.OUT, quantity=q, log_sd=sd or SPLIT_CV, other=other, entry=f.entry)
        elif f.kind == "harvest" and q > 0:
            made = call(f.at, Kind.HARVEST, quantity=q, log_sd=sd or HARVEST_CV, entry=f.entry)
        else:
            return None
        assert isinstance(made, Happening)  # noqa: S101
        return made

    def _stocked(self, call: object, f: Fact, stage: str, age_days: float, stay: Stay) -> Happening:
        """Crickets of known stage and age: nymphs' age counts from the hatch, adults' from the adult moult."""
        assert callable(call)  # noqa: S101
        rate = float(nymph_rate_per_day(np.array(self.set_c.get(stay.room, 30.0)), self.species))
        adult = stage == "adult"
        made = call(
            f.at,
            Kind.STOCK,
            quantity=max(float(f.quantity or 0.0), 0.5),
            entry=f.entry,
            log_sd=float(np.sqrt(np.log1p((f.cv if f.cv is not None else STOCK_CV) ** 2))),
            x=1.0 if adult else min(age_days * rate, 0.99),
            adult_days=age_days if adult else 0.0,
        )
        assert isinstance(made, Happening)  # noqa: S101
        return made
