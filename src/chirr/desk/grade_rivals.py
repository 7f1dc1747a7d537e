"""The rivals that a forecast must beat: the calendar, the careful keeper's averages, and published values alone."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from chirr.book.standing import Clutch, Lot, Standing
from chirr.desk.belief import Foresight
from chirr.desk.grade_cases import DAY, first_count, hatch_between
from chirr.desk.shapes import QUANTILES
from chirr.engine.colony.ahead import Ahead, look_ahead
from chirr.engine.colony.belief import believe
from chirr.engine.colony.calendar import Average, Textbook, about_age, per_tray
from chirr.engine.colony.history import FarmHistory, Kind
from chirr.engine.colony.horizon import Horizon
from chirr.records import TrayType

Floats = NDArray[np.float64]

UNSURE = {"hatch": 2.0, "pinheads": 0.7, "mass": 0.4, "kg": 0.6}
"""Spread that a keeper without records of her own gives a calendar's number: days, else logs (judgement)."""


@dataclass(kw_only=True)
class Ledger:
    """What a keeper reads off her own records as of one day; no belief, only facts and sums."""

    standing: Standing
    at: int
    book: Textbook
    trays: list[TrayType]
    born_memo: dict[str, float] = field(default_factory=dict)

    def born(self, lot: Lot) -> float:
        """When a lot's first pinheads came [epoch s], by its hatches, its age when stocked, or its parents."""
        known = self.born_memo.get(lot.name)
        if known is None:
            self.born_memo[lot.name] = lot.named_at  # lots joined to one another in a ring end here
            known = self.born_memo[lot.name] = self._born(lot)
        return known

    def _born(self, lot: Lot) -> float:
        clutches = [self.standing.clutches[n] for n in lot.clutches if n in self.standing.clutches]
        if clutches:
            return min(float(c.hatched_at or c.laid_at + self.book.hatch_days * DAY) for c in clutches)
        parents = [self.standing.lots[n] for n in lot.parents if n in self.standing.lots]
        if parents:
            return min(self.born(p) for p in parents)
        nymph = self.book.nymph_days if lot.stage == "adult" else 0.0
        return (lot.began_at or lot.named_at) - ((lot.age_days or 0.0) + nymph) * DAY

    def kinds(self, clutches: list[Clutch]) -> Floats:
        """How many of some trays are of each type; the last column is 'not known'."""
        index = {t.tray_type: i for i, t in enumerate(self.trays)}
        row = np.zeros(len(self.trays) + 1)
        for c in clutches:
            row[index.get(c.tray_type, len(self.trays))] += 1
        return row

    def by_calendar(self, clutches: list[Clutch]) -> float:
        """Pinheads of some trays by the calendar's numbers."""
        area = {t.tray_type: t.length_cm * t.width_cm for t in self.trays}
        total = 0.0
        for c in clutches:
            lot = self.standing.lots.get(c.lot)
            breeders = self.written(lot, c.laid_at)[0] if lot is not None else None
            days = ((c.pulled_at or self.at) - c.laid_at) / DAY
            total += self.book.pinheads(breeders or 0.0, max(days, 0.5), area.get(c.tray_type, 400.0))
        return max(total, 1.0)

    def written(self, lot: Lot, until: float) -> tuple[float | None, float]:
        """The number of a lot as last written down, with what was taken since, and when that was; None if never."""
        number, since = None, self.born(lot)
        for f in lot.facts:
            if f.at > until:
                break
            q = f.quantity or 0.0
            if f.kind in ("stock", "in"):
                number, since = (number or 0.0) + q, f.at
            elif f.kind == "count":
                number, since = q, f.at
            elif f.kind == "mix":
                other = self.standing.lots.get(f.other or "")
                coming = self.written(other, f.at - 1)[0] if other is not None and other is not lot else None
                number = number + coming if number is not None and coming is not None else number
            elif number is not None and (f.kind == "out" or (f.kind == "take" and f.unit != "kg")):
                number = max(number - q, 1.0)
        return number, since

    def clutches_of(self, lot: Lot) -> list[Clutch]:
        """The clutches that a lot came from."""
        return [self.standing.clutches[n] for n in lot.clutches if n in self.standing.clutches]


def _always(value: float) -> Floats:
    return np.full(len(QUANTILES), value)


@dataclass(kw_only=True)
class CalendarRule:
    """Fixed days from laying and fixed numbers: always one number, never a band."""

    ledger: Ledger

    def first_pinheads(self, clutch: Clutch) -> Floats:
        """Days from now to first pinheads; never less than none."""
        due = clutch.laid_at + self.ledger.book.hatch_days * DAY
        return _always(max(due - self.ledger.at, 0.0) / DAY)

    def pinheads(self, clutches: list[Clutch]) -> Floats:
        """Pinheads of some clutches together."""
        return _always(self.ledger.by_calendar(clutches))

    def mean_mg(self, lot: Lot, at: float) -> Floats:
        """Mean mass of a lot at a time."""
        return _always(float(self.ledger.book.mass_mg((at - self.ledger.born(lot)) / DAY)))

    def kg(self, lot: Lot, at: float) -> Floats:
        """Kilograms of a lot at a time: the number last written down, or its trays', less the calendar's losses."""
        ledger = self.ledger
        born = ledger.born(lot)
        number, since = ledger.written(lot, ledger.at)
        if number is None:
            number, since = ledger.by_calendar(ledger.clutches_of(lot)), born
        left = number * ledger.book.surviving((since - born) / DAY, (at - born) / DAY)
        return _always(left * float(ledger.book.mass_mg((at - born) / DAY)) / 1e6)


@dataclass(kw_only=True)
class Keeper:
    """The careful keeper with a spreadsheet: averages and spreads of her own records so far, as quantiles."""

    ledger: Ledger

    @cached_property
    def days_to_hatch(self) -> Average:
        """From laying to first pinheads, over the clutches that have hatched."""
        done = [c for c in self.ledger.standing.clutches.values() if c.hatched_at is not None]
        days = [(0.5 * sum(hatch_between(c)) - c.laid_at) / DAY for c in done]
        return Average.of(days, mean=self.ledger.book.hatch_days, sd=UNSURE["hatch"])

    def first_pinheads(self, clutch: Clutch) -> Floats:
        """Days from now to first pinheads; never less than none."""
        shift = (clutch.laid_at - self.ledger.at) / DAY
        return np.maximum(self.days_to_hatch.quantiles(QUANTILES, shift=shift), 0.0)

    @cached_property
    def _counts(self) -> tuple[list[float], list[Floats]]:
        """Pinheads counted so far, with the trays that they came from."""
        counts: list[float] = []
        kinds: list[Floats] = []
        for lot in self.ledger.standing.lots.values():
            first = first_count(lot, self.ledger.standing)
            if first is not None:
                counts.append(float(first.quantity or 1.0))
                kinds.append(self.ledger.kinds(self.ledger.clutches_of(lot)))
        for clutch in self.ledger.standing.clutches.values():
            one = [f for f in clutch.facts if f.unit == "pinheads" and f.quantity]
            if one:
                counts.append(float(one[0].quantity or 1.0))
                kinds.append(self.ledger.kinds([clutch]))
        return counts, kinds

    @cached_property
    def _per_tray(self) -> Floats | None:
        return per_tray(*self._counts)

    @cached_property
    def _tray_spread(self) -> Average:
        """Log of what was counted over what the averages would have said."""
        each = self._per_tray
        pairs = zip(*self._counts, strict=True)
        logs = [] if each is None else [np.log(n / max(float(k @ each), 1.0)) for n, k in pairs]
        return Average.of(logs, mean=0.0, sd=UNSURE["pinheads"])

    def _of_trays(self, clutches: list[Clutch]) -> float:
        each = self._per_tray
        if each is None:
            return self.ledger.by_calendar(clutches)
        return max(float(self.ledger.kinds(clutches) @ each), 1.0)

    def pinheads(self, clutches: list[Clutch]) -> Floats:
        """Pinheads of some clutches together."""
        return np.exp(self._tray_spread.quantiles(QUANTILES, shift=float(np.log(self._of_trays(clutches)))))

    @cached_property
    def _weighed(self) -> tuple[Floats, Floats]:
        """Age [days] and log of mean mass [mg] of every sample weighed so far."""
        rows = [
            ((f.at - self.ledger.born(lot)) / DAY, np.log(f.quantity * 1000 / f.sample))
            for lot in self.ledger.standing.lots.values() for f in lot.facts
            if f.kind == "weigh" and f.sample and f.quantity
        ]  # fmt: skip
        both = np.array(rows, dtype=np.float64).reshape(-1, 2)
        return both[:, 0], both[:, 1]

    def _mass(self, age_days: float) -> Average:
        book = float(np.log(self.ledger.book.mass_mg(age_days)))
        return Average.of(about_age(age_days, *self._weighed), mean=book, sd=UNSURE["mass"])

    def mean_mg(self, lot: Lot, at: float) -> Floats:
        """Mean mass of a lot at a time: the farm's weighings at about that age."""
        return np.exp(self._mass((at - self.ledger.born(lot)) / DAY).quantiles(QUANTILES))

    def _number(self, lot: Lot, until: float) -> float:
        number, _ = self.ledger.written(lot, until)
        return max(number if number is not None else self._of_trays(self.ledger.clutches_of(lot)), 1.0)

    @cached_property
    def _yield(self) -> Average:
        """Log of harvested kilograms over number last written down times the usual mass at that age."""
        logs = []
        for lot in self.ledger.standing.lots.values():
            if lot.ended_by == "harvest" and lot.end_kg and lot.ended_at is not None:
                usual = self._mass((lot.ended_at - self.ledger.born(lot)) / DAY).mean
                logs.append(np.log(lot.end_kg * 1e6 / self._number(lot, lot.ended_at - 1)) - usual)
        return Average.of(logs, mean=float(np.log(self.ledger.book.surviving(14, 99))), sd=UNSURE["kg"])

    def kg(self, lot: Lot, at: float) -> Floats:
        """Kilograms of a lot at a time: its number, the usual mass at that age, the usual share that is harvested."""
        number = self._number(lot, self.ledger.at)
        age = (at - self.ledger.born(lot)) / DAY
        return np.exp(self._yield.quantiles(QUANTILES, shift=float(np.log(number / 1e6) + self._mass(age).mean)))


def forget_facts(history: FarmHistory) -> FarmHistory:
    """The same farm with nothing measured: what was done stays, what was counted, weighed or seen to hatch goes."""
    measured = (Kind.COUNT, Kind.WEIGH)
    lots = tuple(
        replace(lot, happenings=tuple(
            replace(h, quantity=0.0) if h.kind == Kind.HARVEST else h for h in lot.happenings if h.kind not in measured
        ))
        for lot in history.lots
    )  # fmt: skip
    clutches = tuple(
        replace(c, first_between=None, unseen_until_h=None, egg_counts=(), pinhead_counts=()) for c in history.clutches
    )
    return replace(history, lots=lots, clutches=clutches)


def published_alone(f: Foresight, *, draws: int) -> Ahead:
    """The same look ahead with nothing learnt from the farm."""
    g = f.gathered
    belief = believe(forget_facts(g.history), g.clocks, g.clutch_temp_c, f.belief.bio.species)
    classes = f.classes
    return look_ahead(
        belief, g.clocks,
        Horizon(days=f.days, from_mg=tuple(c.from_mg for c in classes), target_mg=max(classes[-1].from_mg, 1.0)),
        place_room=g.place_room, draws=draws, rng=np.random.default_rng(20_30),
        living=np.array([a.lot for a in f.ahead.lots], dtype=np.int64),
        open_clutches=np.array([c.clutch for c in f.ahead.clutches], dtype=np.int64),
    )  # fmt: skip
