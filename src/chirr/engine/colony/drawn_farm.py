"""The farm in joint draws, as it stands now and with the weather to come: when clutches hatch, and what each lot and
clutch is as a cohort that can be run on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.belief import Belief
from chirr.engine.colony.clocks import EGG, KNOT_H, NYMPH, Clocks, invert_rows
from chirr.engine.colony.cohort_ahead import CohortAhead, Setting, run_on
from chirr.engine.colony.hatching import FIRST_SHARE, offset_of_share, reading_at_share, share_hatched_by_day
from chirr.engine.colony.history import UsualMove
from chirr.engine.colony.horizon import Horizon
from chirr.engine.colony.latents import EGG_SENSITIVITY, LOT_SD, NYMPH_SENSITIVITY, log_loss
from chirr.engine.colony.schedule import egg_readings
from chirr.engine.colony.walk import Cohorts, Told

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Ints = NDArray[np.int64]

FAILED_SHARE = 0.03
"""Share of clutches that never hatch: mould, drying out (judgement)."""

NEVER_H = 100 * 365 * 24.0
"""A clutch that stands too cold for its clock to go on is said to hatch so many hours from now."""

HATCHING_DAYS = 8
"""So many days after its first pinheads a clutch may still be hatching."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HatchDraws:
    """Draws of when clutches hatch; hours of shape (clutches, draws), or (draws,) for one."""

    eggs: Floats
    pinheads: Floats
    speed: Floats
    first_h: Floats
    expected_h: Floats
    middle_h: Floats

    def of(self, k: int) -> HatchDraws:
        """Those of one clutch, by its place among them."""
        return HatchDraws(**{name: getattr(self, name)[k] for name in self.__dataclass_fields__})


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

    def hatch(self, clutches: Ints) -> HatchDraws:
        """When clutches hatch, in every draw."""
        a, facts = self.belief.arrays, [self.belief.history.clutches[c] for c in clutches]
        speed = np.exp(self.told.clutches.log_speed[clutches])
        window, cv = a.window[clutches, None], self.belief.bio.species.egg_cv.value
        middle = 1.0 / speed + window / 2
        first = middle + offset_of_share(FIRST_SHARE, speed=speed, window=window, cv=cv)
        room = self.place_room[np.array([k.places[-1] for k in facts], dtype=np.int64)]
        weather = np.exp(EGG_SENSITIVITY * self.weather[room])
        rows, laid_h = a.rows[clutches], a.laid_h[clutches]
        passed = egg_readings(rows, laid_h, np.full(len(clutches), self.now_h))[:, None]

        def hour(reading: Floats) -> Floats:
            ahead = np.where(reading > passed, passed + (reading - passed) / weather, reading)
            return np.minimum(invert_rows(rows, laid_h, KNOT_H, ahead.T).T, self.now_h + NEVER_H)

        first_h, middle_h = hour(first), hour(middle)
        expected_h = first_h.copy()
        pinheads = self.told.clutches.pinheads[clutches] * np.array([not k.dud for k in facts])[:, None]
        unseen = np.array([k.first_between is None and k.unseen_until_h is not None for k in facts], dtype=bool)
        unseen &= ~a.arrived[clutches]
        if unseen.any():
            expected_h[unseen] = hour(self._expected_first(clutches))[unseen]
        for k, one in enumerate(facts):
            if one.first_between is not None:
                first_h[k] = np.clip(first_h[k], *one.first_between)
            elif unseen[k] and one.unseen_until_h is not None:
                first_h[k], middle_h[k], pinheads[k] = self._still_unseen(
                    one.unseen_until_h, first_h[k], middle_h[k], expected_h[k], pinheads[k]
                )
        return HatchDraws(
            eggs=self.told.clutches.eggs[clutches],
            pinheads=pinheads,
            speed=speed,
            first_h=first_h,
            expected_h=expected_h,
            middle_h=middle_h,
        )

    def _expected_first(self, clutches: Ints) -> Floats:
        """Egg-clock readings of first pinheads as expected of any clutch of this farm, shape (clutches, draws)."""
        b, farm = self.belief, self.told.farm
        spread = b.latents.clutch_sd[0, clutches, None] * self.rng.standard_normal((len(clutches), len(farm.seen[0])))
        warmer = EGG_SENSITIVITY * b.arrays.in_room[clutches] @ farm.room_c
        speed, window = np.exp(farm.egg_log_speed + warmer + spread), b.arrays.window[clutches, None]
        return reading_at_share(FIRST_SHARE, speed=speed, window=window, cv=b.bio.species.egg_cv.value)

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

    def lot_now(self, i: int) -> CohortAhead | None:
        """The crickets of a lot that are there now; None if there are none."""
        b = self.belief
        state = self.told.lots.take(np.array([i]))
        if not state.number.max() > 0:
            return None
        place, move = int(b.schedule.last_place[i]), self.move_of(i, b.history.lots[i].began_h)
        state.log_speed = state.log_speed + self.warmer_at(place)
        return run_on(
            state,
            self.days_at(place, move),
            float(b.schedule.last_surface_cm2[i]),
            self.setting,
            shown=self._out_of_the_egg(i, state.number[0]),
            move=move,
            at=self.horizon.looked_at,
        )

    def unhatched(self, clutch: int, hatch: HatchDraws, lot: int, rng: np.random.Generator) -> CohortAhead:
        """The cohort that an open clutch will become; `hatch` is its own, `lot` -1 where it has none to join yet."""
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
        near = self.clocks.read(np.full(3, place), self.now_h + np.array([-24.0, 0.0, 24.0]))
        start = np.interp(hatch.middle_h, hours, passed[NYMPH])
        back = near[NYMPH, 1] - near[NYMPH, 0]
        start = np.where(hatch.middle_h < self.now_h, (hatch.middle_h - self.now_h) / 24.0 * back, start)
        window, cv = a.window[clutch], b.bio.species.egg_cv.value
        per_day, at = max(float(near[EGG, 2] - near[EGG, 1]), 1e-3), self.horizon.looked_at
        shown = share_hatched_by_day(
            np.asarray(hours[at]), hatch.middle_h, per_hour=per_day / 24.0, speed=hatch.speed, window=window, cv=cv
        )
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
        hours = np.asarray(self.now_h + 24.0 * self.horizon.looked_at, dtype=np.float64)
        shown = np.ones((len(hours), len(number)), dtype=np.float32)
        total = np.maximum(number, self.told.clutches.pinheads[young].sum(axis=0))
        for c in young:
            speed, window = np.exp(self.told.clutches.log_speed[c]), a.window[c]
            place = int(self.belief.history.clutches[c].places[-1])
            day = self.clocks.read(np.full(2, place), np.array([self.now_h - 24.0, self.now_h]))[EGG]
            per_hour = max(float(day[1] - day[0]), 1e-3) / 24.0
            first = offset_of_share(FIRST_SHARE, speed=speed, window=np.full_like(speed, window), cv=cv)
            middle_h = a.reference_h[c] - first / per_hour
            out = share_hatched_by_day(hours, middle_h, per_hour=per_hour, speed=speed, window=window, cv=cv)
            shown -= (self.told.clutches.pinheads[c] / total).astype(np.float32) * (1 - out)
        return np.asarray(np.clip(shown, 0.0, 1.0))

    def _usual_lot_sd(self, lot: int) -> Floats:
        """Spreads of a lot that is still to come: its own where it has a name, else the farm's usual ones."""
        sd = self.belief.latents.lot_sd
        return np.asarray(sd[:, lot] if lot >= 0 else np.median(sd, axis=1) if sd.shape[1] else LOT_SD)
