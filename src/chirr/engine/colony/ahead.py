"""Belief run forward: joint draws of every lot and clutch through the clocks of the days to come.

Each lot is a few cohorts (its crickets now, and each clutch still to hatch into it). A cohort's whole future is
written in closed form on the clock readings of its place, for all draws and days at once, in single precision.
Nothing turns sharply in weeks that are far off, so there only every third day is worked out.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.ancestry import with_parents
from chirr.engine.colony.belief import Belief, Drawn, families_of
from chirr.engine.colony.clocks import EGG, KNOT_H, NYMPH, Clocks, invert_rows
from chirr.engine.colony.cohort_ahead import CohortAhead, Setting, run_on, shares_above
from chirr.engine.colony.hatching import FIRST_SHARE, offset_of_share, reading_at_share, share_hatched
from chirr.engine.colony.history import UsualMove
from chirr.engine.colony.latents import EGG_SENSITIVITY, LOT_SD, NYMPH_SENSITIVITY, log_loss
from chirr.engine.colony.schedule import egg_readings
from chirr.engine.colony.walk import Cohorts, Told, walk

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Ints = NDArray[np.int64]

QUANTILES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)

FAILED_SHARE = 0.03
"""Share of clutches that never hatch: mould, drying out (judgement)."""

NEVER_H = 100 * 365 * 24.0
"""A clutch that stands too cold for its clock to go on is said to hatch so many hours from now."""

HATCHING_DAYS = 8
"""So many days after its first pinheads a clutch may still be hatching."""

WEATHER_C, WEATHER_UNMEASURED_C = 0.2, 0.5
"""How far a room's mean temperature in the weeks ahead may differ from its recent one [degC, sd], with and without a
thermometer in it (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Horizon:
    """What is looked ahead for: days from now, size classes [mg] from light to heavy, the mass to harvest at [mg]."""

    days: int
    from_mg: tuple[float, ...]
    target_mg: float

    @property
    def looked_at(self) -> Ints:
        """The days worked out, from 0 for now: each of the near ones, then every third, and the last."""
        near = np.arange(min(self.days, NEAR_DAYS) + 1)
        return np.unique(np.concatenate([near, np.arange(NEAR_DAYS, self.days, STRIDE), [self.days]]))

    def every_day(self, values: NDArray[Any], axis: int = 0) -> NDArray[Any]:
        """Values on the days looked at, along `axis`, put on every day: on straight lines between two of them."""
        v = np.moveaxis(values, axis, 0)
        low, high, part = self._between(v.ndim)
        return np.moveaxis(v[low] + part.astype(v.dtype) * (v[high] - v[low]), 0, axis)

    def every_day_by_ratio(self, values: Floats) -> Floats:
        """The same on straight lines of their logarithms, where neither of the two is 0: what grows or dwindles."""
        low, high, part = self._between(values.ndim)
        with np.errstate(divide="ignore", invalid="ignore"):
            by_ratio = np.exp((1 - part) * np.log(values[low]) + part * np.log(values[high]))
        return np.where((values[low] > 0) & (values[high] > 0), by_ratio, self.every_day(values))

    def _between(self, dimensions: int) -> tuple[Ints, Ints, Floats]:
        """For every day, the days looked at before and after it, by number, and how far between them it lies."""
        at, day = self.looked_at, np.arange(self.days + 1)
        low = np.clip(np.searchsorted(at, day, side="right") - 1, 0, len(at) - 1)
        high = np.minimum(low + 1, len(at) - 1)
        part = (day - at[low]) / np.maximum(at[high] - at[low], 1)
        return low, high, part.reshape(-1, *(1,) * (dimensions - 1))


NEAR_DAYS, STRIDE = 21, 3
"""Every one of so many days from now is worked out, for eggs hatch in them, and every third after that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClutchAhead:
    """Quantiles, each of shape (7,): hours for the times.

    expected_first_h: what was expected of the first pinheads before anybody looked for them in vain.
    """

    clutch: int
    eggs: Floats
    first_pinheads_h: Floats
    expected_first_h: Floats
    half_hatched_h: Floats
    pinheads: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class LotAhead:
    """Quantiles of one lot: `alive`, `mean_mg`, `kg` of shape (days + 1, 7); the others (7,).

    x, adult_days: means now. waiting: no animals yet.
    """

    lot: int
    alive: Floats
    mean_mg: Floats
    kg: Floats
    ready_h: Floats
    kg_at_ready: Floats
    x: float
    adult_days: float
    waiting: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StockDraws:
    """Crickets and kg of the whole farm, shape (size classes, days + 1, draws): joint draws, for any question."""

    crickets: Floats32
    kg: Floats32


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """Crickets and kg above the lower bound of each size class, shape (size classes, days looked at, draws), so far."""

    horizon: Horizon
    crickets: Floats32
    kg: Floats32

    @classmethod
    def none(cls, horizon: Horizon, draws: int) -> Stock:
        """No crickets."""
        shape = (len(horizon.from_mg), len(horizon.looked_at), draws)
        return cls(horizon=horizon, crickets=np.zeros(shape, np.float32), kg=np.zeros(shape, np.float32))

    def add(self, cohort: CohortAhead) -> None:
        """Add a cohort's crickets and kilograms."""
        kilograms = cohort.number * cohort.mean_mg / np.float32(1e6)
        for k, bound in enumerate(self.horizon.from_mg):
            if bound <= 0:
                self.crickets[k] += cohort.number
                self.kg[k] += kilograms
                continue
            share, share_kg = shares_above(cohort, bound)
            self.crickets[k] += cohort.number * share
            self.kg[k] += kilograms * share_kg

    @staticmethod
    def together(parts: Sequence[Stock]) -> StockDraws:
        """What some threads have added up, by size class and for every day."""
        horizon = parts[0].horizon

        def by_class(above: list[Floats32]) -> Floats32:
            total = np.sum(above, axis=0)
            total[:-1] -= total[1:]
            return horizon.every_day(np.maximum(total, np.float32(0)), axis=1)

        return StockDraws(crickets=by_class([p.crickets for p in parts]), kg=by_class([p.kg for p in parts]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """Everything that is foreseen."""

    clutches: tuple[ClutchAhead, ...]
    lots: tuple[LotAhead, ...]
    stock: StockDraws


def quantiles(draws: NDArray[np.floating], axis: int = -1) -> Floats:
    """Values at QUANTILES along the draws, which come last in the result."""
    ordered = np.sort(draws, axis=axis)
    ordered = np.moveaxis(ordered, axis, -1)
    n = ordered.shape[-1]
    at = np.asarray(QUANTILES) * (n - 1)
    low = np.floor(at).astype(np.int64)
    high = np.minimum(low + 1, n - 1)
    part = (at - low).astype(ordered.dtype)
    with np.errstate(invalid="ignore"):
        out = ordered[..., low] + part * (ordered[..., high] - ordered[..., low])
    return np.asarray(np.where(np.isfinite(ordered[..., low]), out, ordered[..., low]), dtype=np.float64)


def look_ahead(
    belief: Belief,
    clocks: Clocks,
    horizon: Horizon,
    *,
    place_room: Ints,
    living: Ints,
    open_clutches: Ints,
    draws: int,
    rng: np.random.Generator,
) -> Ahead:
    """Foresee every living lot and open clutch.

    Parameters
    ----------
    belief : Belief
    clocks : Clocks
        Must reach at least `horizon.days` beyond the belief's present.
    horizon : Horizon
    place_room : ndarray of int, shape (places,)
        Room of each place: bins of a room share its weather.
    living, open_clutches : ndarray of int
        Lots and clutches to foresee.
    draws : int
    rng : numpy Generator

    Returns
    -------
    Ahead
    """
    drawn = Drawn(belief, draws, rng)
    rooms = int(place_room.max(initial=0)) + 1
    known = np.resize(belief.history.measured_rooms, rooms)
    weather = np.where(known, WEATHER_C, WEATHER_UNMEASURED_C)[:, None] * rng.standard_normal((rooms, draws))
    parts = _parts(belief, living, open_clutches)
    totals = [Stock.none(horizon, draws) for _ in range(THREADS)]

    def work(part: tuple[Ints, Ints], chance: np.random.Generator, total: Stock) -> tuple[list[Any], list[Any]]:
        lots, clutches = part
        only = with_parents(belief.schedule, lots)
        z = drawn.families(families_of(belief, np.flatnonzero(only), clutches), chance).astype(np.float32)
        b = belief
        told = walk(z, b.latents, b.schedule, b.arrays, b.laid, b.bio, only=only, clutches=clutches, watch=False)
        run = DrawnFarm(
            belief=b, clocks=clocks, horizon=horizon, told=told, weather=weather, place_room=place_room, rng=chance
        )
        hatches = {c: run.hatch(c) for c in clutches.tolist()}
        for c in hatches:
            run.to_hatch.setdefault(int(b.arrays.lot[c]), []).append(c)
        for c in (c for c in hatches if int(b.arrays.lot[c]) not in set(lots.tolist()) and run.will_hatch(c)):
            total.add(run.unhatched(c, hatches[c], -1, chance))
        found = [run.lot(i, hatches, total, chance) for i in lots.tolist()]
        return found, [h.quantiles(c) for c, h in hatches.items()]

    def several(first: int) -> list[tuple[list[Any], list[Any]]]:
        mine = zip(parts[first::THREADS], chances[first::THREADS], strict=True)
        return [work(part, chance, totals[first]) for part, chance in mine]

    chances = rng.spawn(len(parts))
    with ThreadPoolExecutor(THREADS) as pool:
        done = [one for some in pool.map(several, range(THREADS)) for one in some]
    lots = {one.lot: one for some, _ in done for one in some}
    clutches = {one.clutch: one for _, some in done for one in some}
    return Ahead(
        clutches=tuple(clutches[int(c)] for c in open_clutches),
        lots=tuple(lots[int(i)] for i in living),
        stock=Stock.together(totals),
    )


def _parts(belief: Belief, living: Ints, open_clutches: Ints) -> list[tuple[Ints, Ints]]:
    """Living lots and open clutches in handfuls that share no crickets: no family is torn apart, and a clutch goes with
    the lot that it will join."""
    bearing = belief.latents.families.bearing
    of_lot = np.array([belief.family[bearing[i][0]] if len(bearing[i]) else -2 - i for i in living], dtype=np.int64)
    known = dict(zip(living.tolist(), of_lot.tolist(), strict=True))
    own = belief.family[belief.latents.clutch[0, open_clutches]].tolist()
    joins = belief.arrays.lot[open_clutches].tolist()
    of_clutch = np.array([known.get(lot, mine) for lot, mine in zip(joins, own, strict=True)], dtype=np.int64)
    names = np.unique(np.concatenate([of_lot, of_clutch]))
    handfuls = np.array_split(names, max(-(-len(names) // AT_ONCE), THREADS))
    return [(living[np.isin(of_lot, some)], open_clutches[np.isin(of_clutch, some)]) for some in handfuls if len(some)]


AT_ONCE = 100
"""So many families at once keep the memory that is needed small, whatever the size of the farm."""

THREADS = 2
"""Lots are independent and NumPy works outside the interpreter's lock, so two processors share them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HatchDraws:
    """Draws of one clutch's hatch; hours of shape (draws,)."""

    eggs: Floats
    pinheads: Floats
    speed: Floats
    first_h: Floats
    expected_h: Floats
    middle_h: Floats

    def quantiles(self, clutch: int) -> ClutchAhead:
        return ClutchAhead(
            clutch=clutch,
            eggs=quantiles(self.eggs),
            first_pinheads_h=quantiles(self.first_h),
            half_hatched_h=quantiles(self.middle_h),
            pinheads=quantiles(self.pinheads),
            expected_first_h=quantiles(self.expected_h),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnFarm:
    """The farm in joint draws as it stands now, with the weather to come: what every lot and clutch is run on from."""

    belief: Belief
    clocks: Clocks
    horizon: Horizon
    told: Told
    weather: Floats
    place_room: Ints
    rng: np.random.Generator
    to_hatch: dict[int, list[int]] = field(default_factory=dict)

    @property
    def setting(self) -> Setting:
        return Setting(
            bio=self.belief.bio,
            log_hatchling_mg=self.told.farm.log_hatchling_mg,
            target_mg=self.horizon.target_mg,
            now_h=self.now_h,
        )

    @property
    def now_h(self) -> float:
        return self.belief.history.now_h

    def hatch(self, c: int) -> HatchDraws:
        """When a clutch hatches, in every draw."""
        a, k = self.belief.arrays, self.belief.history.clutches[c]
        speed = np.exp(self.told.clutches.log_speed[c])
        window, cv = np.full_like(speed, a.window[c]), self.belief.bio.species.egg_cv.value
        middle = 1.0 / speed + window / 2
        first = middle + offset_of_share(FIRST_SHARE, speed=speed, window=window, cv=cv)
        weather = np.exp(EGG_SENSITIVITY * self.weather[self.place_room[k.places[-1]]])
        passed = float(egg_readings(a.rows[c : c + 1], a.laid_h[c : c + 1], np.array([self.now_h]))[0])

        def hour(reading: Floats) -> Floats:
            ahead = np.where(reading > passed, passed + (reading - passed) / weather, reading)
            found = invert_rows(a.rows[c : c + 1], a.laid_h[c : c + 1], KNOT_H, ahead[:, None])[:, 0]
            return np.minimum(found, self.now_h + NEVER_H)

        first_h, middle_h = hour(first), hour(middle)
        pinheads = self.told.clutches.pinheads[c] * (not k.dud)
        expected_h = first_h
        if k.first_between is not None:
            first_h = np.clip(first_h, *k.first_between)
        elif k.unseen_until_h is not None and not a.arrived[c]:
            expected_h = hour(self._expected_first(c, window))
            first_h, middle_h, pinheads = self._still_unseen(k.unseen_until_h, first_h, middle_h, expected_h, pinheads)
        return HatchDraws(
            eggs=self.told.clutches.eggs[c],
            pinheads=pinheads,
            speed=speed,
            first_h=first_h,
            expected_h=expected_h,
            middle_h=middle_h,
        )

    def _expected_first(self, c: int, window: Floats) -> Floats:
        """Egg-clock reading of first pinheads as expected of any clutch of this farm."""
        spread = self.belief.latents.clutch_sd[0, c] * self.rng.standard_normal(len(window))
        warmer = EGG_SENSITIVITY * self.belief.arrays.in_room[c] @ self.told.farm.room_c
        speed = np.exp(self.told.farm.egg_log_speed + warmer + spread)
        cv = self.belief.bio.species.egg_cv.value
        return reading_at_share(FIRST_SHARE, speed=speed, window=window, cv=cv)

    def _still_unseen(
        self, unseen_h: float, first_h: Floats, middle_h: Floats, expected_h: Floats, pinheads: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """A clutch that should have hatched: later than thought in every draw, and more and more likely a failure."""
        n = len(first_h)
        behind = first_h < unseen_h
        tail = np.abs(self.rng.standard_normal(n)) * np.clip(expected_h.std(), 6.0, 10 * 24.0)
        late = np.where(behind, unseen_h + tail - first_h, 0.0)
        still = float((expected_h > unseen_h).mean())
        failed = FAILED_SHARE / (FAILED_SHARE + (1 - FAILED_SHARE) * max(still, 1e-3))
        fails = self.rng.random(n) < (failed if unseen_h > np.median(expected_h) else 0.0)
        return first_h + late, middle_h + late, np.where(fails, 0.0, pinheads)

    def days_at(self, place: int, move: tuple[int, UsualMove] | None = None) -> Floats:
        """Clock readings from now on, at a place and then at that of a move, shape (clocks, days + 1)."""
        hours: Floats = self.now_h + 24.0 * np.arange(self.horizon.days + 1, dtype=np.float64)
        readings = self.clocks.read(np.full(len(hours), place, dtype=np.int64), hours)
        passed = np.asarray(readings - readings[:, :1])
        if move is not None:
            day, then = move
            after = self.clocks.read(np.full(len(hours), then.place, dtype=np.int64), hours)
            passed[:, day:] = passed[:, day : day + 1] + after[:, day:] - after[:, day : day + 1]
        return passed

    def move_of(self, lot: int, began_h: float | None) -> tuple[int, UsualMove] | None:
        """The day on which a nursery lot will be tipped over, as this farm does, and where to; None if it will not."""
        then = self.belief.history.usual_move
        if then is None or lot < 0 or began_h is None or not self.belief.history.lots[lot].nursery:
            return None
        day = int(max(np.ceil((began_h + then.age_h - self.now_h) / 24.0), 1))
        return (day, then) if day < self.horizon.days else None

    def will_hatch(self, clutch: int) -> bool:
        """Whether a clutch is still to hatch."""
        return not self.belief.arrays.arrived[clutch] and not self.belief.history.clutches[clutch].dud

    def unhatched(self, clutch: int, hatch: HatchDraws, lot: int, rng: np.random.Generator) -> CohortAhead:
        """The cohort that an open clutch will become."""
        b, a = self.belief, self.belief.arrays
        draws = len(hatch.eggs)
        place = int(b.schedule.last_place[lot]) if lot >= 0 else int(b.history.clutches[clutch].places[-1])
        surface = float(b.schedule.last_surface_cm2[lot]) if lot >= 0 else 20_000.0
        own = self._usual_lot_sd(lot)[:, None] * rng.standard_normal((4, draws))
        zero = np.zeros((1, draws))
        farm = self.told.farm
        log_speed = farm.nymph_log_speed + own[0] + self.warmer_at(place)
        move = self.move_of(lot, float(np.median(hatch.middle_h)))
        passed = self.days_at(place, move)
        hours = self.now_h + 24.0 * np.arange(passed.shape[1])
        grid = hours[self.horizon.looked_at]
        back = self.clocks.read(np.full(2, place), np.array([self.now_h - 24.0, self.now_h]))[NYMPH]
        start = np.interp(hatch.middle_h, hours, passed[NYMPH])
        start = np.where(hatch.middle_h < self.now_h, (hatch.middle_h - self.now_h) / 24.0 * (back[1] - back[0]), start)
        window, cv = a.window[clutch], b.bio.species.egg_cv.value
        egg_rate = self.clocks.read(np.full(2, place), np.array([self.now_h, self.now_h + 24.0]))[EGG]
        per_day = max(float(egg_rate[1] - egg_rate[0]), 1e-3)
        since = (grid[:, None] - hatch.middle_h) / 24.0 * per_day + 1.0 / hatch.speed + window / 2
        shown = share_hatched(since, speed=hatch.speed, window=np.full(draws, window), cv=cv).astype(np.float32)
        shown[grid[:, None] > hatch.middle_h + 24 * 30] = 1.0
        ratio = (passed[NYMPH][1] - passed[NYMPH][0]) / per_day * np.exp(log_speed)
        state = Cohorts(
            number=hatch.pinheads[None, :],
            x=zero,
            x_variance=((window**2 / 12 + cv**2 / hatch.speed**2) * ratio**2)[None, :],
            clock=zero,
            warmth=zero,
            adult_days=zero,
            log_speed=log_speed[None, :],
            early=log_loss(farm.early_logit, own[1])[None, :],
            late=log_loss(farm.late_logit, own[2])[None, :],
            log_adult_mg=(farm.log_adult_mg + own[3])[None, :],
            log_longevity=farm.log_longevity_days[None, :],
            unmarked=zero,
        )
        at = self.horizon.looked_at
        return run_on(state, passed, surface, self.setting, shown=shown, start=start, move=move, at=at)

    def warmer_at(self, place: int) -> Floats:
        """Log speed of nymphs at a place above what its clock says: the room's own offset and the weather to come."""
        room = int(self.place_room[place])
        return np.asarray(NYMPH_SENSITIVITY * (self.told.farm.room_c[room] + self.weather[room]))

    def _out_of_the_egg(self, lot: int, number: Floats) -> Floats32 | None:
        """Share of a lot that is out of the egg by each day looked at, while newest clutches still hatch."""
        a, cv = self.belief.arrays, self.belief.bio.species.egg_cv.value
        young = np.flatnonzero((a.lot == lot) & a.arrived & (a.reference_h > self.now_h - 24 * HATCHING_DAYS))
        if not young.size:
            return None
        hours = self.now_h + 24.0 * self.horizon.looked_at
        shown = np.ones((len(hours), len(number)))
        total = np.maximum(number, self.told.clutches.pinheads[young].sum(axis=0))
        for c in young:
            speed = np.exp(self.told.clutches.log_speed[c])
            window = np.full_like(speed, a.window[c])
            place = int(self.belief.history.clutches[c].places[-1])
            day = self.clocks.read(np.full(2, place), np.array([self.now_h - 24.0, self.now_h]))[EGG]
            since_first = (hours - a.reference_h[c]) / 24.0 * max(float(day[1] - day[0]), 1e-3)
            first = reading_at_share(FIRST_SHARE, speed=speed, window=window, cv=cv)
            out = share_hatched(first + since_first[:, None], speed=speed, window=window, cv=cv)
            shown -= self.told.clutches.pinheads[c] / total * (1.0 - out)
        return np.asarray(np.clip(shown, 0.0, 1.0), dtype=np.float32)

    def _usual_lot_sd(self, lot: int) -> Floats:
        """Spreads of a lot that is still to come: its own where it has a name, else the farm's usual ones."""
        sd = self.belief.latents.lot_sd
        return np.asarray(sd[:, lot] if lot >= 0 else np.median(sd, axis=1) if sd.shape[1] else LOT_SD)

    def lot(self, i: int, hatches: dict[int, HatchDraws], stock: Stock, rng: np.random.Generator) -> LotAhead:
        """One lot: its crickets now and the clutches that will hatch into it."""
        b = self.belief
        state = self.told.lots.take(np.array([i]))
        place, surface = int(b.schedule.last_place[i]), float(b.schedule.last_surface_cm2[i])
        cohorts: list[CohortAhead] = []
        if state.number.max() > 0:
            state.log_speed = state.log_speed + self.warmer_at(place)
            shown = self._out_of_the_egg(i, state.number[0])
            move = self.move_of(i, b.history.lots[i].began_h)
            passed, at = self.days_at(place, move), self.horizon.looked_at
            cohorts.append(run_on(state, passed, surface, self.setting, shown=shown, move=move, at=at))
        waiting = not cohorts
        for c in self.to_hatch.get(i, ()):
            hatch = hatches[c]
            if self.will_hatch(c):
                cohorts.append(self.unhatched(c, hatch, i, rng))
        if not cohorts:
            return self._nothing(i)
        for cohort in cohorts:
            stock.add(cohort)
        alive = sum((c.number for c in cohorts[1:]), cohorts[0].number)
        grams = sum((c.number * c.mean_mg for c in cohorts[1:]), cohorts[0].number * cohorts[0].mean_mg)
        mean_mg = grams / np.maximum(alive, np.float32(1e-3)) if len(cohorts) > 1 else cohorts[0].mean_mg
        main = max(cohorts, key=lambda c: float(c.number.max(axis=0).mean()))
        return LotAhead(
            lot=i,
            alive=self.horizon.every_day_by_ratio(quantiles(alive)),
            mean_mg=self.horizon.every_day_by_ratio(quantiles(mean_mg)),
            kg=self.horizon.every_day_by_ratio(quantiles(grams / np.float32(1e6))),
            ready_h=quantiles(main.ready_h),
            kg_at_ready=quantiles(np.sum([c.kg_at_ready for c in cohorts], axis=0)),
            x=main.x_now,
            adult_days=main.adult_days_now,
            waiting=waiting,
        )

    def _nothing(self, i: int) -> LotAhead:
        none = np.zeros((self.horizon.days + 1, len(QUANTILES)))
        never = np.full(len(QUANTILES), np.nan)
        return LotAhead(
            lot=i,
            alive=none,
            mean_mg=none,
            kg=none,
            ready_h=never,
            kg_at_ready=none[0],
            x=0.0,
            adult_days=0.0,
            waiting=True,
        )
