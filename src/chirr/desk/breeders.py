"""Breeders: eggs a day by age, when a lot has had its day, and when its followers must be begun to leave no gap."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import msgspec
import numpy as np

from chirr.charts.laying import eggs_by_age
from chirr.desk.belief import Foresight, band, foresight
from chirr.desk.laying import trays_in_a_bin
from chirr.desk.shapes import Band, Chart
from chirr.desk.spoken import day_words, figure, say, say_n
from chirr.engine.biology.species import Species, species
from chirr.engine.colony.ahead import quantiles
from chirr.engine.colony.clocks import ADULT, EGG, NYMPH
from chirr.engine.planning.breeders import (
    Ages,
    BreedersAhead,
    Replacement,
    breeders_ahead,
    cold_nights,
    replacement,
    temperature_behind,
)
from chirr.engine.planning.lot_draws import LotDraws, lot_draws

DRAWS, DAYS = 800, 60
SHOWN_TO_AGE = 60.0
NIGHT_FROM, NIGHT_TO = 21, 6
"""Hours of the night, local time (judgement)."""
SURE = 0.8
"""From this chance on a lot counts as in time (judgement)."""
LOT_SPEED_SD = 0.06
"""How far one lot may be quicker or slower than the farm's, as belief supposes before it has seen it."""


class Successor(msgspec.Struct, frozen=True, kw_only=True):
    """A growing lot that could take over: when it would lay, and the chance that it does so in time."""

    lot: str
    bin: str | None
    lays: Band
    in_time: float


class Breeders(msgspec.Struct, frozen=True, kw_only=True):
    """One breeding lot. Times are epoch seconds; `eggs_per_day` are those its females would lay into fresh trays.

    followers_adult, followers_hatched, followers_laid: when the next breeders must be so far to lay when this lot goes.
    """

    lot: str
    bin: str | None
    adult_days: float
    eggs_per_day: Band
    half_of_peak: Band
    better_renewed: Band
    retire: Band
    followers_adult: Band
    followers_hatched: Band
    followers_laid: Band
    successors: tuple[Successor, ...]
    says: tuple[str, ...]
    cold: str | None
    chart: Chart


def breeders(*, bin: str | None = None) -> tuple[Breeders, ...]:  # noqa: A002 - the farm's word
    """Every lot in a breeding bin, or those in one bin, the soonest to retire first; empty where there is none."""
    f = foresight()
    scene = _Scene(
        f=f, animal=species(f.card.species), trays=trays_in_a_bin(f.standing, f.as_of), tz=ZoneInfo(f.card.timezone)
    )
    found = [scene.of_lot(k) for k, a in enumerate(f.ahead.lots) if _breeds(f, k, bin) and a.alive[0][3] >= 1]
    return tuple(sorted(found, key=lambda b: b.retire.mid))


def _breeds(f: Foresight, k: int, only: str | None) -> bool:
    a = f.ahead.lots[k]
    name = f.standing.lots[f.gathered.lots[a.lot]].bin
    bin_ = f.standing.bins.get(name or "")
    return bin_ is not None and bin_.duty == "breeding" and not a.waiting and only in (None, name)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """What the answers for all breeding lots share."""

    f: Foresight
    animal: Species
    trays: float
    tz: ZoneInfo

    def of_lot(self, k: int) -> Breeders:
        f, i = self.f, self.f.ahead.lots[k].lot
        lot = f.standing.lots[f.gathered.lots[i]]
        days = min(DAYS, f.days)
        draws = lot_draws(f.belief, f.gathered.clocks, i, days=days, draws=DRAWS, rng=np.random.default_rng(31))
        ages = Ages.of(self.animal, DRAWS, np.random.default_rng(32))
        temp = self._temperature(i)
        warm = self.animal.laying_at_temperature
        warmth = float(np.interp(temp[-7 * 24 :].mean() if len(temp) else 30.0, warm.at, warm.value))
        b = breeders_ahead(draws, self.animal, ages, warmth=warmth, trays=self.trays)
        nymph_days, egg_days, ageing = self._rearing(draws)
        back = replacement(b.retire_day, ages, nymph_days=nymph_days, egg_days=egg_days, adult_days_per_day=ageing)
        successors = self._successors(b, ages, draws, ageing)
        age = float(np.mean(draws.adult_days))
        return Breeders(
            lot=lot.name, bin=lot.bin, adult_days=age, eggs_per_day=band(quantiles(b.eggs_per_day[0])),
            half_of_peak=self._band(b.spent_day), better_renewed=self._band(b.renew_day),
            retire=self._band(b.retire_day), followers_adult=self._band(back.adult),
            followers_hatched=self._band(back.hatched), followers_laid=self._band(back.laid),
            successors=successors, says=self._says(b, back, successors), cold=self._cold(temp),
            chart=_chart(lot.name, b, age, float(draws.passed[ADULT, -1] / days)),
        )  # fmt: skip

    def _band(self, day: np.ndarray) -> Band:
        """Days from now as a band of times."""
        return band(self.f.as_of + 86400 * quantiles(day))

    def _rearing(self, d: LotDraws) -> tuple[np.ndarray, np.ndarray, float]:
        """Days from hatch to adult and from laying to hatch where this farm's lots grow, and how fast adults age."""
        f = self.f
        places = [
            int(f.belief.schedule.last_place[a.lot]) for k, a in enumerate(f.ahead.lots) if not _breeds(f, k, None)
        ] or [int(p) for p in f.belief.schedule.last_place[[a.lot for a in f.ahead.lots]]]
        now = np.full(len(places), f.belief.history.now_h)
        at = np.array(places, dtype=np.int64)
        per_day = np.median(f.gathered.clocks.read(at, now + 30 * 24.0) - f.gathered.clocks.read(at, now), axis=1) / 30
        own = np.exp(LOT_SPEED_SD * np.random.default_rng(33).standard_normal(DRAWS))
        nymph = 1 / (max(per_day[NYMPH], 1e-4) * np.exp(d.farm.nymph_log_speed) * own)
        egg = 1 / (max(per_day[EGG], 1e-4) * np.exp(d.farm.egg_log_speed))
        return nymph, egg, float(max(per_day[ADULT], 1e-3))

    def _successors(self, b: BreedersAhead, ages: Ages, d: LotDraws, ageing: float) -> tuple[Successor, ...]:
        """Growing lots by when they would lay: those nearest before this lot goes, and the first after."""
        f, found = self.f, []
        wait = (ages.first_day + 0.5 * ages.ramp_days) / ageing
        own = np.exp(LOT_SPEED_SD * np.random.default_rng(34).standard_normal(DRAWS))
        for k, a in enumerate(f.ahead.lots):
            if a.waiting or _breeds(f, k, None) or a.alive[0][3] < 1:
                continue
            place = np.array([f.belief.schedule.last_place[a.lot]], dtype=np.int64)
            now = np.array([f.belief.history.now_h])
            clocks = f.gathered.clocks
            rate = float((clocks.read(place, now + 30 * 24.0) - clocks.read(place, now))[NYMPH, 0]) / 30
            speed = max(rate, 1e-4) * np.exp(d.farm.nymph_log_speed) * own
            lays = np.maximum(1.0 - a.x, 0.0) / speed + wait - a.adult_days / ageing
            name = f.gathered.lots[a.lot]
            found.append(
                Successor(
                    lot=name, bin=f.standing.lots[name].bin, lays=self._band(lays),
                    in_time=float((lays <= b.retire_day).mean()),
                )
            )  # fmt: skip
        in_time = sorted((s for s in found if s.in_time >= 0.5), key=lambda s: -s.lays.mid)
        late = sorted((s for s in found if s.in_time < 0.5), key=lambda s: s.lays.mid)
        return (*in_time[:3], *late[:1])

    def _says(self, b: BreedersAhead, back: Replacement, successors: tuple[Successor, ...]) -> tuple[str, ...]:
        spent, renew = self._band(b.spent_day), self._band(b.renew_day)
        fresh = self._about(renew, "from")
        out = [
            say(
                "Eggs fall below half of their peak {when}; a fresh lot in its bin gives more {fresh}.",
                when=self._about(spent), fresh=fresh,
            )
        ]  # fmt: skip
        hatched, laid = self._band(back.hatched), self._band(back.laid)
        if hatched.mid > self.f.as_of:
            out.append(
                say(
                    "For laying without a gap, its followers must hatch {hatch}, from trays laid {laid}; to be nine in"
                    " ten sure, {sure}.",
                    hatch=self._about(hatched, "by"), laid=self._about(laid, "by"), sure=self._day(laid.low),
                )
            )  # fmt: skip
        else:
            adult = self._band(back.adult)
            days = {"mid": self._day(adult.mid), "low": self._day(adult.low), "high": self._day(adult.high)}
            out.append(
                say(
                    "Its followers should have been adult by about {mid} ({low} to {high}): only crickets that have"
                    " hatched already can be.",
                    **days,
                )
                if adult.mid < self.f.as_of
                else say(
                    "Its followers must be adult by about {mid} ({low} to {high}): only crickets that have hatched"
                    " already can be.",
                    **days,
                )
            )
        best = _best(successors)
        if best is None:
            gap = float(np.median(np.maximum(-back.laid, 0.0)))
            out.append(
                say("No growing lot could follow it: a tray laid today leaves a gap of about {gap:.0f} days.", gap=gap)
                if gap >= 1
                else say("No growing lot could follow it.")
            )
        elif best.in_time >= 0.5:
            out.append(
                say(
                    "Hold back breeders from lot {lot}: it would lay {when}, {n} chances in 100 in time.",
                    lot=best.lot, when=self._about(best.lays, "from"), n=round(100 * best.in_time),
                )
            )  # fmt: skip
        else:
            gap = (best.lays.mid - self._band(b.retire_day).mid) / 86400
            out.append(
                say(
                    "No lot is in time: the next, {lot}, would lay {when}, a gap of about {gap:.0f} days. Keep these"
                    " breeders longer, or buy some in.",
                    lot=best.lot, when=self._about(best.lays, "from"), gap=gap,
                )
            )  # fmt: skip
        return tuple(out)

    def _about(self, when: Band, word: str = "") -> str:
        """A time as a day with its band; what is past is said to be past."""
        if when.high < self.f.as_of:
            return say("since about {day}", day=self._day(when.mid))
        days = {"mid": self._day(when.mid), "low": self._day(when.low), "high": self._day(when.high)}
        if word == "by":
            return say("by about {mid} ({low} to {high})", **days)
        return (
            say("from about {mid} ({low} to {high})", **days) if word else say("about {mid} ({low} to {high})", **days)
        )

    def _day(self, at: float) -> str:
        return day_words(datetime.fromtimestamp(at, self.tz), weekday_too=False)

    def _temperature(self, lot: int) -> np.ndarray:
        """Hourly temperature of the last weeks where a lot stands now, up to this hour [degC]."""
        f, place = self.f, int(self.f.belief.schedule.last_place[lot])
        now = int(f.belief.history.now_h)
        first = max(now - (int(self.animal.cold_recovery_days.high) + 2) * 24, 0)
        return temperature_behind(np.diff(f.gathered.clocks.sums[ADULT, place, first : now + 1]), self.animal)

    def _cold(self, temp: np.ndarray) -> str | None:
        """What growers say of cold nights like the last ones, if there were any within the time of recovery."""
        f, days = self.f, self.animal.cold_recovery_days
        end = f.gathered.start + int(f.belief.history.now_h) * 3600
        nights: dict[str, list[float]] = {}
        for k, t in enumerate(temp):
            at = datetime.fromtimestamp(end - (len(temp) - k) * 3600, self.tz)
            if at.hour >= NIGHT_FROM or at.hour < NIGHT_TO:
                evening = at.date() - timedelta(days=1) if at.hour < NIGHT_TO else at.date()
                nights.setdefault(evening.isoformat(), []).append(float(t))
        names = sorted(nights)
        means = np.array([np.mean(nights[n]) for n in names])
        cold = np.flatnonzero(cold_nights(means, self.animal)) if names else np.zeros(0, dtype=np.int64)
        if not cold.size:
            return None
        last = datetime.fromisoformat(names[int(cold[-1])])
        back = last + timedelta(days=days.value)
        return say_n(
            "One night was cold here, the last on {last} with {mean:.1f} °C. Growers see mating stop with"
            " nights near 18 °C and laying come back about two weeks later (common practice): until about"
            " {back} count on fewer eggs than these figures say, and then on a surge.",
            "{n} nights were cold here, the last on {last} with {mean:.1f} °C. Growers see mating stop with"
            " nights near 18 °C and laying come back about two weeks later (common practice): until about"
            " {back} count on fewer eggs than these figures say, and then on a surge.",
            int(cold.size), last=day_words(last, weekday_too=False), mean=float(means[cold[-1]]),
            back=day_words(back, weekday_too=False),
        )  # fmt: skip


def _best(successors: tuple[Successor, ...]) -> Successor | None:
    """The latest lot that is surely enough in time, so that it is young when it is needed; else the surest."""
    sure = [s for s in successors if s.in_time >= SURE]
    if sure:
        return max(sure, key=lambda s: s.lays.mid)
    return max(successors, key=lambda s: (s.in_time, -s.lays.mid), default=None)


def _chart(lot: str, b: BreedersAhead, age: float, per_day: float) -> Chart:
    """Eggs a day over the life of one lot, by age."""
    step = max(round(1.0 / float(b.ages[1] - b.ages[0])), 1)
    shown = [k for k in range(0, len(b.ages), step) if b.ages[k] <= SHOWN_TO_AGE]
    rows = [(float(b.ages[k]), q.tolist()) for k, q in zip(shown, quantiles(b.eggs_at_age[shown]), strict=True)]
    retire = np.quantile(b.retire_day, (0.1, 0.5, 0.9)) * per_day + age
    title = say("Lot {lot}: eggs a day by age", lot=lot)
    return Chart(
        key=f"breeders-{lot}", title=title,
        spec=eggs_by_age(rows, title=title, age_now=age, retire=(float(retire[0]), float(retire[1]), float(retire[2]))),
        columns=(say("days as adults"), say("middle"), say("8 chances in 10 between"), say("and")),
        rows=tuple((f"{a:.0f}", figure(q[3]), figure(q[1]), figure(q[5])) for a, q in rows[::5]),
        note=say(
            "Eggs that its females would lay into trays that never fill, deaths counted in. Shaded: when to retire it,"
            " eight chances in ten."
        ),
    )  # fmt: skip
