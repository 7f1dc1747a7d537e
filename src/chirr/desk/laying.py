"""How long to leave a tray in, and how many trays of which size a bin deserves: what the farm's own trays say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np

from chirr.book import shelf
from chirr.desk import clock
from chirr.desk.belief import Foresight, band, foresight, swap_days_of
from chirr.desk.laying_ages import laying_ages
from chirr.desk.laying_habits import RECENT_DAYS, trays_in_a_bin
from chirr.desk.laying_words import (
    DayRow,
    LayingView,
    TypeLaying,
    best_type,
    chart_of,
    days_caution,
    days_choices,
    number_caution,
    number_says,
    tray_numbers,
)
from chirr.desk.minutes import learnt
from chirr.desk.plainly import left_out_json, plain_json
from chirr.desk.shapes import QUANTILES, Chart
from chirr.desk.spoken import say, say_n
from chirr.engine.biology.species import species
from chirr.engine.colony.ahead import quantiles
from chirr.engine.planning.laying import (
    CountedTrays,
    counted_trays,
    eggs_left,
    laying_draws,
    longest_days,
    usual_vigour,
)
from chirr.engine.planning.tray_choice import Labour, LayingBin, judge_days, judge_trays
from chirr.engine.rounds.minutes import Minutes
from chirr.records import TrayType
from chirr.says import word

HATCH_LOOKS = 4
"""A tray is looked at for pinheads about so many times before they are seen: once a day in its window (judgement)."""
USUAL_LONGEST_DAYS = 3.0
"""Trays usually stay in for 24-72 hours: common practice, no published source."""
TRIED_BY = 3
"""A stay counts as tried once so many trays had it (judgement)."""
MOST_TRAYS = 6
FLOOR_SHARE = 0.5
"""Trays take at most this share of a bin's floor: the rest is feed, water and hides (judgement)."""
SUPPOSED_ADULTS = 1000.0
SUBSTRATE_DEPTH_CM = 4.0
"""Filled 2-4 cm deep; more only stores water (common practice)."""
MOST_ADULTS = 1_000_000
MOST_SHOWN = 300
LEFT_OUT = word(
    "Left out: a longer stay spreads the ages in the hatch bin by as much, brings more frass and mould, and must end"
    " before the first hatch."
)


def laying(*, tray_type: str | None = None, adults: float | None = None) -> LayingView:
    """How long to leave a tray in and how many to give, for one tray type or all of them.

    adults: in the bin; without it, the middle of the breeding bins now.

    Raises
    ------
    LookupError
        If the book holds no farm, or the farm has no such tray type; in plain words.
    ValueError
        If `adults` is not above 0, in plain words.
    """
    return _answer(tray_type, adults)[0]


def laying_page(*, adults: float | None = None) -> tuple[LayingView, tuple[Chart, ...]]:
    """The page: the answer for every tray type, each with its chart. Raises as `laying`."""
    view, scene = _answer(None, adults)
    return view, tuple(chart_of(t, scene.counted_here(t)) for t in view.types)


def laying_json(view: LayingView) -> dict[str, Any]:
    """The answer as `chirr laying --json` gives it: bands as lists along `quantiles`, times as ISO with offset."""
    plain = msgspec.to_builtins(view)
    plain.pop("as_of")
    as_of = clock.local(view.as_of).isoformat(timespec="minutes")
    return {
        "as_of": as_of, "quantiles": list(QUANTILES), **plain_json(plain), "left_out": left_out_json(foresight()),
    }  # fmt: skip


def _answer(tray_type: str | None, adults: float | None) -> tuple[LayingView, _Scene]:
    f = foresight()
    known = shelf.tray_types()
    chosen = [(i, t) for i, t in enumerate(known) if tray_type in (None, t.tray_type)]
    if tray_type is not None and not chosen:
        have = ", ".join(t.tray_type for t in known) or "none yet"
        raise LookupError(say("The farm has no tray type {tray}; it has {have}.", tray=tray_type, have=have))
    if adults is not None and not 0 < adults < MOST_ADULTS:
        raise ValueError(say("Give a number of adults from 1 to {most:,}.", most=MOST_ADULTS))
    scene = _Scene.of(f, adults, {t.tray_type: i for i, t in enumerate(known)})
    types = tuple(scene.of_type(i, t) for i, t in chosen)
    view = LayingView(
        as_of=f.as_of, adults=scene.bin_.adults, adults_say=scene.adults_say, trays_in_a_bin=scene.trays,
        types=types, best_says=best_type(types), remarks=scene.remarks(types),
    )  # fmt: skip
    return view, scene


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """What the answers of all tray types share."""

    f: Foresight
    trays: float
    bin_: LayingBin
    adults_say: str
    minutes: Minutes
    care_per_day: float
    longest: int
    floor_cm2: float
    names: dict[str, int]
    counted: CountedTrays

    @classmethod
    def of(cls, f: Foresight, adults: float | None, names: dict[str, int]) -> _Scene:
        animal = species(f.card.species)
        number, says = (adults, say("as asked")) if adults is not None else _adults_now(f)
        minutes = learnt(f.standing, f.as_of)
        care = (minutes.of("feed") + minutes.of("water")) / max(swap_days_of(f.card.feed_days), 1.0)
        warm = float(np.median(f.gathered.clutch_temp_c[-RECENT_DAYS:])) if len(f.gathered.clutch_temp_c) else 30.0
        floors = [b.floor_cm2 for b in f.standing.bins.values() if b.duty == "breeding" and b.floor_cm2 > 0]
        return cls(
            f=f, trays=trays_in_a_bin(f.standing, f.as_of), adults_say=says, minutes=minutes, care_per_day=care,
            bin_=LayingBin(
                adults=number, females=number * animal.female_share.value, vigour=usual_vigour(f.belief, f.farm_level)
            ),
            longest=longest_days(warm, f.farm_level.egg_log_speed, animal),
            floor_cm2=float(np.median(floors)) if floors else 6000.0, names=names, counted=counted_trays(f.belief),
        )  # fmt: skip

    def of_type(self, index: int, t: TrayType) -> TypeLaying:
        area = max(t.length_cm * t.width_cm, 1.0)
        d = laying_draws(self.f.farm_level, trays=self.trays, tray_type=index)
        habit, tried = self._habit(index), self._tried(index)
        labour = Labour(per_tray=minutes_per_tray(self.minutes, t.tray_type), per_bin_day=self.care_per_day)
        allowed = np.arange(1.0, min(tried, self.longest) + 1)
        judged = judge_days(
            d, self.bin_, area_cm2=area, trays=self.trays, days=allowed, habit_days=habit, labour=labour
        )
        every = np.arange(1.0, self.longest + 1)
        curve = eggs_left(
            d, females=self.bin_.females, vigour=self.bin_.vigour, area_cm2=area, trays=self.trays, days=every
        )
        most = int(np.clip(FLOOR_SHARE * self.floor_cm2 // area, 1, MOST_TRAYS))
        numbers = judge_trays(d, self.bin_, area_cm2=area, days=habit, most=most, habit=self.trays, labour=labour)
        litres = area * min(t.depth_cm, SUBSTRATE_DEPTH_CM) / 1000
        return TypeLaying(
            tray_type=t.tray_type, area_cm2=area, habit_days=habit, tried_days=float(allowed[-1]),
            counted=int((self.f.belief.arrays.tray_type[self.counted.clutch] == index).sum()),
            minutes_per_tray=labour.per_tray,
            days=tuple(
                DayRow(days=float(x), eggs=band(q), tried=bool(x <= allowed[-1]))
                for x, q in zip(every, quantiles(curve), strict=True)
            ),
            best_days=days_choices(judged, habit), numbers=tray_numbers(numbers, litres),
            best_number=int(numbers.best.at), best_number_chance=numbers.best.chance,
            number_says=number_says(numbers, self.trays), days_caution=days_caution(judged),
            number_caution=number_caution(numbers, self.trays),
        )  # fmt: skip

    def _stays(self, index: int) -> np.ndarray:
        """Days in of the pulled trays of one type, in order of laying."""
        found = [
            (c.laid_at, (c.pulled_at - c.laid_at) / 86400)
            for c in self.f.standing.clutches.values()
            if c.pulled_at is not None and self.names.get(c.tray_type, -1) == index
        ]
        return np.array([days for _, days in sorted(found)], dtype=np.float64)

    def _habit(self, index: int) -> float:
        stays = self._stays(index)[-40:]
        return float(max(np.median(stays), 0.25)) if len(stays) >= TRIED_BY else swap_days_of(self.f.card.swap_days)

    def _tried(self, index: int) -> float:
        stays = np.sort(self._stays(index))
        longest = float(np.floor(stays[-TRIED_BY] + 0.25)) if len(stays) >= TRIED_BY else 0.0
        return max(longest, USUAL_LONGEST_DAYS)

    def counted_here(self, t: TypeLaying) -> list[tuple[float, float, str]]:
        """Counted trays of a type, as (days in, eggs, which), along the curve of this bin."""
        arrays, curve = self.f.belief.arrays, {r.days: r.eggs.mid for r in t.days}
        index = self.names[t.tray_type]
        found = []
        for c, ratio in zip(self.counted.clutch, self.counted.ratio, strict=True):
            days = float(arrays.days_in[c])
            if arrays.tray_type[c] == index and days <= t.days[-1].days:
                usual = float(np.interp(days, [0.0, *curve], [0.0, *curve.values()]))
                found.append((days, float(usual * ratio), self.f.gathered.clutches[c]))
        return found[-MOST_SHOWN:]

    def remarks(self, types: tuple[TypeLaying, ...]) -> tuple[str, ...]:
        """What the figures rest on, and what they leave out."""
        counted = sum(t.counted for t in types)
        rests = (
            say_n(
                "Published values, corrected by {n} counted tray of this farm.",
                "Published values, corrected by {n} counted trays of this farm.",
                counted,
            )
            if counted
            else say(
                "No tray has been counted yet: these are published values, so the bands are wide. Counting the eggs or"
                " pinheads of a few trays makes them the farm's own."
            )
        )
        further = [t for t in types if t.tried_days < self.longest and t.best_days[1].days == t.tried_days]
        out = [rests, *laying_ages(self.f).says]
        if further:
            out.append(
                say(
                    "Beyond {days:.0f} days nobody here has tried, so no longer stay is advised; a trial of one day"
                    " more would tell (see Trials).",
                    days=further[0].tried_days,
                )
            )
        out.append(
            say("How fast adults eat eggs is known poorly; trays left in for different times, and counted, narrow it.")
        )
        out.append(say(LEFT_OUT))
        return tuple(out)


def minutes_per_tray(minutes: Minutes, tray_type: str) -> float:
    """Minutes of one tray from laying to emptying: lay, pull, a few looks for pinheads, empty."""
    return (
        minutes.of("lay", tray_type)
        + minutes.of("pull", tray_type)
        + HATCH_LOOKS * minutes.of("hatch")
        + minutes.of("empty")
    )


def _adults_now(f: Foresight) -> tuple[float, str]:
    """The middle of the breeding bins now."""
    alive = [
        float(a.alive[0][3])
        for a in f.ahead.lots
        if a.x >= 1 and a.alive[0][3] >= 1 and _breeds(f, f.gathered.lots[a.lot])
    ]
    if alive:
        return float(np.median(alive)), say("the middle of the breeding bins now")
    return SUPPOSED_ADULTS, say("supposed, since no adults are in a breeding bin now")


def _breeds(f: Foresight, lot: str) -> bool:
    bin_ = f.standing.bins.get(f.standing.lots[lot].bin or "")
    return bin_ is not None and bin_.duty == "breeding"
