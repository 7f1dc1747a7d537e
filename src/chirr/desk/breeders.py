"""Breeders: eggs a day by age, when a lot has had its day, and when its followers must be begun to leave no gap."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
import numpy as np

from chirr.book import ledger
from chirr.charts.laying import eggs_by_age
from chirr.desk import clock
from chirr.desk.belief import Foresight, band, foresight
from chirr.desk.laying_ages import LayingAges, laying_ages
from chirr.desk.plainly import left_out_json, plain_json, without
from chirr.desk.remarks import remarks
from chirr.desk.retiring import BreedingLot, days_from_now
from chirr.desk.shapes import QUANTILES, Band, Chart, Follower, Retirement
from chirr.desk.spoken import day_words, figure, say, say_n
from chirr.engine.biology.species import Species, species
from chirr.engine.colony.ahead import quantiles
from chirr.engine.colony.clocks import ADULT
from chirr.engine.planning.breeders import BreedersAhead, Replacement, cold_nights

SHOWN_TO_AGE = 60.0
NIGHT_FROM, NIGHT_TO = 21, 6
"""Hours of the night, local time (judgement)."""


class Breeders(msgspec.Struct, frozen=True, kw_only=True):
    """One breeding lot. Times are epoch seconds; `eggs_per_day` are those its females would lay into fresh trays.

    trays_share: what its last trays held of its best one, where that is below half.
    followers_adult, followers_hatched, followers_laid: when the next breeders must be so far to lay when this lot goes.
    """

    lot: str
    bin: str | None
    adult_days: float
    eggs_per_day: Band
    half_of_peak: Band
    better_renewed: Band
    retire: Band
    trays_share: float | None
    followers_adult: Band
    followers_hatched: Band
    followers_laid: Band
    successors: tuple[Follower, ...]
    says: tuple[str, ...]
    cold: str | None
    chart: Chart


def breeders(*, bin: str | None = None) -> tuple[Breeders, ...]:  # noqa: A002 - the farm's word
    """Every lot in a breeding bin, or those in one bin, the soonest to retire first; empty where there is none.

    Raises
    ------
    LookupError
        If the book holds no farm, or the farm has no such bin; in plain words.
    """
    f = foresight()
    if bin is not None and bin not in ledger.live().bins:
        raise LookupError(say("There is no bin {name} on this farm.", name=bin))
    scene = _Scene(f=f, animal=species(f.card.species), tz=ZoneInfo(f.card.timezone))
    return tuple(scene.of_lot(b) for b in f.breeding if bin in (None, f.standing.lots[b.answer.lot].bin))


def ages_of_laying() -> LayingAges:
    """At which ages this farm's breeders begin and fade, as believed now. Raises as `breeders`."""
    return laying_ages(foresight())


def breeders_json(found: tuple[Breeders, ...]) -> dict[str, Any]:
    """The answer as `chirr breeders --json` gives it: bands as lists along `quantiles`, times as ISO with offset."""
    times = (
        "half_of_peak", "better_renewed", "retire", "followers_adult", "followers_hatched", "followers_laid", "lays"
    )  # fmt: skip

    f = foresight()

    return {
        "as_of": clock.local(f.as_of).isoformat(timespec="minutes"), "quantiles": list(QUANTILES),
        "lots": [plain_json(without(b, "chart"), times=times) for b in found],
        "ages_of_laying": plain_json(msgspec.to_builtins(laying_ages(f))), "remarks": list(remarks(f)),
        "left_out": left_out_json(f),
    }  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """What the answers for all breeding lots share."""

    f: Foresight
    animal: Species
    tz: ZoneInfo

    def of_lot(self, b: BreedingLot) -> Breeders:
        f, r, back = self.f, b.answer, b.back
        lot = f.standing.lots[r.lot]
        age, days = float(np.mean(b.draws.adult_days)), b.draws.passed.shape[1] - 1
        per_day = float(b.draws.passed[ADULT, -1] / days)
        return Breeders(
            lot=lot.name, bin=lot.bin, adult_days=age, eggs_per_day=band(quantiles(b.ahead.eggs_per_day[0])),
            half_of_peak=r.half_of_peak, better_renewed=r.better_renewed, retire=r.retire, trays_share=r.trays_share,
            followers_adult=days_from_now(f, back.adult), followers_hatched=days_from_now(f, back.hatched),
            followers_laid=days_from_now(f, back.laid), successors=b.followers, says=self._says(r, back),
            cold=self._cold(b.temperature), chart=_chart(lot.name, b.ahead, age, per_day),
        )  # fmt: skip

    def _says(self, r: Retirement, back: Replacement) -> tuple[str, ...]:
        out = [] if r.trays_share is None else [
            say(
                "Its last two trays held {share:.0%} of its best one, less than half: it has had its day, whatever its"
                " age says.",
                share=r.trays_share,
            )
        ]  # fmt: skip
        out.append(
            say(
                "Eggs fall below half of their peak {when}; a fresh lot in its bin gives more {fresh}.",
                when=self._about(r.half_of_peak), fresh=self._about(r.better_renewed, "from"),
            )
        )  # fmt: skip
        hatched, laid = days_from_now(self.f, back.hatched), days_from_now(self.f, back.laid)
        if hatched.mid > self.f.as_of:
            out.append(
                say(
                    "For laying without a gap, its followers must hatch {hatch}, from trays laid {laid}; to be nine in"
                    " ten sure, {sure}.",
                    hatch=self._about(hatched, "by"), laid=self._about(laid, "by"), sure=self._day(laid.low),
                )
            )  # fmt: skip
        else:
            adult = days_from_now(self.f, back.adult)
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
        best = r.follower
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
            gap = (best.lays.mid - r.retire.mid) / 86400
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
