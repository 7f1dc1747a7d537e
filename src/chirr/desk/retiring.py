"""When each breeding lot has had its day, and what could follow it: one answer for the round and for the breeders page.

It is worked out once for each foresight, when that is, so nobody waits for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from chirr.book import shelf
from chirr.book.standing import Clutch
from chirr.desk.laying_habits import trays_in_a_bin
from chirr.desk.shapes import Band, Follower, Retirement
from chirr.engine.biology.species import Species, species
from chirr.engine.colony.ahead import LotAhead, quantiles
from chirr.engine.colony.clocks import ADULT, EGG, NYMPH
from chirr.engine.planning.breeders import (
    Ages,
    BreedersAhead,
    Replacement,
    breeders_ahead,
    replacement,
    temperature_behind,
)
from chirr.engine.planning.lot_draws import LotDraws, lot_draws

if TYPE_CHECKING:
    from chirr.desk.belief import Foresight

DRAWS, DAYS = 400, 60
SURE = 0.8
"""From this chance on a lot counts as in time (judgement)."""
LOT_SPEED_SD = 0.06
"""How far one lot may be quicker or slower than the farm's, as belief supposes before it has seen it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BreedingLot:
    """One breeding lot in draws, with the answer. `ageing`: how fast adults age where followers grow, 1 at 30 degC."""

    lot: int
    draws: LotDraws
    temperature: np.ndarray
    ahead: BreedersAhead
    back: Replacement
    followers: tuple[Follower, ...]
    answer: Retirement


def breeding_lots(f: Foresight) -> tuple[BreedingLot, ...]:
    """Every lot in a breeding bin whose animals are there, the soonest to retire first."""
    found = [k for k, a in enumerate(f.ahead.lots) if breeds(f, a) and not a.waiting and a.alive[0][3] >= 1]
    if not found:
        return ()
    lots = np.array([f.ahead.lots[k].lot for k in found], dtype=np.int64)
    rng = np.random.default_rng(31)
    drawn = lot_draws(f.belief, f.gathered.clocks, lots, days=min(DAYS, f.days), draws=DRAWS, rng=rng)
    animal = species(f.card.species)
    scene = _Scene(
        f=f, animal=animal, ages=Ages.of(drawn[0].farm, animal), farm=drawn[0],
        trays=trays_in_a_bin(f.standing, f.as_of), yields=_yields(f),
    )  # fmt: skip
    told = [scene.of_lot(int(lot), draws) for lot, draws in zip(lots, drawn, strict=True)]
    return tuple(sorted(told, key=lambda b: b.answer.retire.mid))


def breeds(f: Foresight, a: LotAhead) -> bool:
    """Whether a lot lives in a breeding bin."""
    bin_ = f.standing.bins.get(f.standing.lots[f.gathered.lots[a.lot]].bin or "")
    return bin_ is not None and bin_.duty == "breeding"


def _yields(f: Foresight) -> dict[str, tuple[float, ...]]:
    """Eggs, or else pinheads, counted per tray of each lot in order of laying, per cm2 where the surface is known.

    Eggs and pinheads are never mixed, for they are not the same number.
    """
    cm2 = {t.tray_type: t.length_cm * t.width_cm for t in shelf.tray_types()}
    laid_by: dict[str, list[Clutch]] = {}
    for clutch in f.standing.clutches.values():  # replay puts them there in order of laying
        if clutch.facts:
            laid_by.setdefault(clutch.lot, []).append(clutch)

    def counted(clutches: list[Clutch], unit: str) -> tuple[float, ...]:
        numbers = [
            ([x.quantity for x in c.facts if x.kind == "count" and x.unit == unit and x.quantity], c.tray_type)
            for c in clutches
        ]
        return tuple(n[-1] / cm2.get(tray, 1.0) for n, tray in numbers if n)

    return {lot: max((counted(cs, u) for u in ("eggs", "pinheads")), key=len) for lot, cs in laid_by.items()}


@dataclass(frozen=True, kw_only=True)
class _Scene:
    """What the answers for all breeding lots share; `farm` is any lot's draws, for the farm's level in them."""

    f: Foresight
    animal: Species
    ages: Ages
    farm: LotDraws
    trays: float
    yields: dict[str, tuple[float, ...]]

    def of_lot(self, i: int, draws: LotDraws) -> BreedingLot:
        name = self.f.gathered.lots[i]
        temperature = self._temperature(i)
        warm = self.animal.laying_at_temperature
        warmth = float(np.interp(temperature[-7 * 24 :].mean() if len(temperature) else 30.0, warm.at, warm.value))
        b = breeders_ahead(
            draws, self.animal, self.ages, warmth=warmth, trays=self.trays, yields=self.yields.get(name, ())
        )
        nymph_days, egg_days, ageing = self._rearing
        back = replacement(b.retire_day, self.ages, nymph_days=nymph_days, egg_days=egg_days, adult_days_per_day=ageing)
        followers = self._followers(b.retire_day)
        answer = Retirement(
            lot=name, half_of_peak=self._band(b.spent_day), better_renewed=self._band(b.renew_day),
            retire=self._band(b.retire_day), trays_share=b.trays_share, follower=_best(followers),
        )  # fmt: skip
        return BreedingLot(
            lot=i, draws=draws, temperature=temperature, ahead=b, back=back, followers=followers, answer=answer
        )

    def _band(self, day: np.ndarray) -> Band:
        """Days from now as a band of times."""
        return days_from_now(self.f, day)

    @cached_property
    def _rearing(self) -> tuple[np.ndarray, np.ndarray, float]:
        """Days from hatch to adult and from laying to hatch where this farm's lots grow, and how fast adults age."""
        f, farm = self.f, self.farm.farm
        growing = [a.lot for a in f.ahead.lots if not breeds(f, a)] or [a.lot for a in f.ahead.lots]
        at = np.asarray(f.belief.schedule.last_place[growing], dtype=np.int64)
        now = np.full(len(at), f.belief.history.now_h)
        per_day = np.median(f.gathered.clocks.read(at, now + 30 * 24.0) - f.gathered.clocks.read(at, now), axis=1) / 30
        own = np.exp(LOT_SPEED_SD * np.random.default_rng(33).standard_normal(DRAWS))
        nymph = 1 / (max(per_day[NYMPH], 1e-4) * np.exp(farm.nymph_log_speed) * own)
        egg = 1 / (max(per_day[EGG], 1e-4) * np.exp(farm.egg_log_speed))
        return nymph, egg, float(max(per_day[ADULT], 1e-3))

    @cached_property
    def _lays(self) -> tuple[tuple[str, np.ndarray, float], ...]:
        """Growing lots, each with the days from now at which it would lay, in draws, and the middle of them."""
        f, ageing = self.f, self._rearing[2]
        wait = self.ages.lays_from / ageing
        own = np.exp(LOT_SPEED_SD * np.random.default_rng(34).standard_normal(DRAWS))
        growing = [a for a in f.ahead.lots if not a.waiting and not breeds(f, a) and a.alive[0][3] >= 1]
        at = np.asarray(f.belief.schedule.last_place[[a.lot for a in growing]], dtype=np.int64)
        now = np.full(len(at), f.belief.history.now_h)
        rate = (f.gathered.clocks.read(at, now + 30 * 24.0) - f.gathered.clocks.read(at, now))[NYMPH] / 30
        speed = np.exp(self.farm.farm.nymph_log_speed) * own
        found = []
        for a, r in zip(growing, rate, strict=True):
            lays = max(1.0 - a.x, 0.0) / (max(float(r), 1e-4) * speed) + wait - a.adult_days / ageing
            found.append((f.gathered.lots[a.lot], lays, float(np.median(lays))))
        return tuple(found)

    def _followers(self, retire_day: np.ndarray) -> tuple[Follower, ...]:
        """Growing lots by when they would lay: those nearest before a lot goes, and the first after."""
        found = [(float((lays <= retire_day).mean()), middle, name) for name, lays, middle in self._lays]
        in_time = sorted((one for one in found if one[0] >= 0.5), key=lambda one: -one[1])
        late = sorted((one for one in found if one[0] < 0.5), key=lambda one: one[1])
        return tuple(
            Follower(lot=name, bin=self.f.standing.lots[name].bin, lays=self._lays_of(name), in_time=share)
            for share, _, name in (*in_time[:3], *late[:1])
        )

    def _lays_of(self, lot: str) -> Band:
        """When a growing lot would lay."""
        if lot not in self._bands:
            self._bands[lot] = self._band(next(lays for name, lays, _ in self._lays if name == lot))
        return self._bands[lot]

    @cached_property
    def _bands(self) -> dict[str, Band]:
        return {}

    def _temperature(self, lot: int) -> np.ndarray:
        """Hourly temperature of the last weeks where a lot stands now, up to this hour [degC]."""
        f, place = self.f, int(self.f.belief.schedule.last_place[lot])
        now = int(f.belief.history.now_h)
        first = max(now - (int(self.animal.cold_recovery_days.high) + 2) * 24, 0)
        return temperature_behind(np.diff(f.gathered.clocks.sums[ADULT, place, first : now + 1]), self.animal)


def days_from_now(f: Foresight, day: np.ndarray) -> Band:
    """Draws of days from now as a band of times."""
    return Band(q=tuple(float(v) for v in f.as_of + 86400 * quantiles(day)))


def _best(followers: tuple[Follower, ...]) -> Follower | None:
    """The latest lot that is surely enough in time, so that it is young when it is needed; else the surest."""
    sure = [s for s in followers if s.in_time >= SURE]
    if sure:
        return max(sure, key=lambda s: s.lays.mid)
    return max(followers, key=lambda s: (s.in_time, -s.lays.mid), default=None)
